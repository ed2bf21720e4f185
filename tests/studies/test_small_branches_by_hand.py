"""Branches of studies that few sets go through: no aerial, phones at the plate, a law of its own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import cards_for
from receiver_sim.circuit.phases import PHASES
from receiver_sim.circuit.roles import Role
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.schema import Build
from receiver_sim.studies import aerial, amplitude, transformer_energy
from tests.helpers.filling import filled


@pytest.mark.parametrize(("focus", "samples"), [(None, PHASES), (object(), None)])
def test_of_a_law_whose_samples_hold_no_factors_of_their_own_no_harmonics_are_read(
    focus: Any, samples: int | None
) -> None:
    cards: Any = SimpleNamespace(detector=SimpleNamespace(law=lambda: SimpleNamespace(focus=focus)))
    assert amplitude._sampling(cards) == samples


def test_without_an_aerial_the_dial_stays_and_the_onset_is_sought_anew(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """Resonance with the capacitor as it was, 41 kHz above the calm one; the onset tuned again."""
    said: list[Any] = []
    onset = filled(Onset, dial_hz=7.1e6, tuning_farad=77e-12)
    again = filled(Onset, status=Status.OSCILLATES, onset=ControlSetting(0.29, 17.4))

    def changed(build: Build) -> Any:
        assert build.aerial is None
        return SimpleNamespace(
            at=lambda band, dial: said.append((band, dial)) or SimpleNamespace(onset=again)
        )

    @contextmanager
    def loaded(*_: Any) -> Iterator[Any]:
        yield SimpleNamespace(tune=said.append)

    def tank(*_: Any, **__: Any) -> Any:
        return SimpleNamespace(mode=lambda dial, q: SimpleNamespace(resonance_hz=dial + 44e3, q=1.1 * q))

    monkeypatch.setattr(aerial, "loaded", loaded)
    monkeypatch.setattr(aerial, "plan", lambda build, *_, **__: said.append(build.aerial))
    monkeypatch.setattr(aerial, "Tank", tank)
    monkeypatch.setattr(aerial, "coil_q", lambda *_: 150.0)
    tuned: Any = SimpleNamespace(
        build=demo, band=demo.bands[2], dial_hz=7.0e6, onset=onset, cards=None, bench=None,
        receiver=SimpleNamespace(changed=changed),
    )  # fmt: skip
    found = aerial._without(tuned, calm=7.103e6)
    assert said == [(demo.bands[2], 7.0e6), None, 77e-12]
    assert (found.state, found.capacitance_farad, found.status, found.onset) == (
        "none", None, Status.OSCILLATES, again.onset,
    )  # fmt: skip
    assert found.resonance_hz == pytest.approx(7.144e6)
    assert (found.shift_hz, found.q) == (pytest.approx(41e3), pytest.approx(165.0))


def test_phones_ahead_of_the_transformer_take_nothing_from_it(cabin: Build) -> None:
    """Watts in loads are those behind the windings: of the rest V^2 Re(1/Z), Z of R and L at 1 kHz; a winding
    without resistance loses nothing.
    """
    circuit = transformer_energy.plan(cabin, cards_for(cabin), rotation=0.5)
    field = circuit.part(Role.OUTPUT_FIELD)
    volts = {node: 0.2 + 0.13 * n + 0.01j * n for n, node in enumerate(sorted(circuit.nodes), 1)}
    answer: Any = {name: np.array([value]) for name, value in {**volts, "0": 0j}.items()}
    answer[circuit.branch(field)] = np.array([2e-3 + 0j])
    whole = transformer_energy.reduce(cabin, circuit, answer)
    phone, others = cabin.phones[0], cabin.phones[1:]
    w = 2.0 * np.pi * 1000.0
    own = abs(volts[circuit.outputs[0]]) ** 2 * (1.0 / complex(phone.resistance, w * phone.inductance)).real  # type: ignore[arg-type,operator]
    own += 0.0 if phone.drain is None else abs(volts[circuit.outputs[0]]) ** 2 / phone.drain
    assert own > 0.0
    for at in ("plate", "volume"):
        ahead = cabin.model_copy(update={"phones": (phone.model_copy(update={"at": at}), *others)})
        found = transformer_energy.reduce(ahead, circuit, answer)
        assert found.loads_w == pytest.approx(whole.loads_w - own)
        assert (found.windings_w, found.core_w) == (whole.windings_w, whole.core_w)
    output: Any = cabin.audio.output  # type: ignore[union-attr]
    ideal = tuple(one.model_copy(update={"resistance": 0.0}) for one in output.secondaries)
    audio = cabin.audio.model_copy(update={"output": output.model_copy(update={"secondaries": ideal})})  # type: ignore[union-attr]
    found = transformer_energy.reduce(cabin.model_copy(update={"audio": audio}), circuit, answer)
    assert found.windings_w == pytest.approx(4e-6 * output.primary_resistance)
