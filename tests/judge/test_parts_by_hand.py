"""What tubes meet, in which states a set is looked at, and what its parts list makes of that: by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, ClassVar

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit, Socket
from receiver_sim.judge import part_needs
from receiver_sim.judge.part_needs import heater_current, needs
from receiver_sim.results.bench_chart import Beside, PartNeeds
from receiver_sim.results.supply import Capacitor, Rectified
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import part_stress
from receiver_sim.studies.part_stress import CATHODE_A, HEATER_V, SCREEN_V, SCREEN_W, Stress
from tests.helpers.filling import filled


class _Tube:
    """A circuit of one pentode whose pin currents are given."""

    sockets: ClassVar = {
        "audio": Socket("audio", "xaud", {"plate": "p", "screen": "s", "cathode": "k"}, "c", "v")
    }

    def __contains__(self, name: str) -> bool:
        return name == "xaud"

    def into(self, _socket: Socket, pin: str, _volts: Any) -> float:
        return {"plate": 20e-3, "screen": 4e-3}[pin]


def test_a_tubes_volts_count_from_its_cathode_and_its_current_is_that_of_both() -> None:
    """Ratings of a tube are volts to its cathode; the cathode carries plate and screen (Kirchhoff)."""
    volts = {"p": 210.0, "s": 160.0, "k": 11.0, "ha": 0.0, "hb": -3.0}
    heaters = {"audio": part_stress._HeaterEnds(("ha", "hb"), 9.8)}
    out = {"xaud": Stress()}
    part_stress._note_tubes(out, part_stress._At(_Tube(), volts, "here"), heaters)  # type: ignore[arg-type]
    met = out["xaud"]
    assert met.highest_v == pytest.approx(199.0)
    assert met.watts_w == pytest.approx(199.0 * 20e-3)
    assert {words: value for words, (value, _) in met.besides.items()} == {
        SCREEN_V: pytest.approx(149.0), SCREEN_W: pytest.approx(149.0 * 4e-3),
        CATHODE_A: pytest.approx(24e-3), HEATER_V: pytest.approx(9.8 + 14.0),
    }  # fmt: skip


def states(build: Build, cold_v: float) -> list[tuple[str, float, int]]:
    band = build.bands[0]
    found = part_stress._states(build, cards_for(build), band, band.from_, cold_v=cold_v)
    return [(words, volts, sum(s.tube in c for s in c.sockets.values())) for words, c, volts in found]


def test_the_states_a_set_is_looked_at_in() -> None:
    """Loaded it has what the supply gives with the mains 10 % high; with the tubes cold, and before a gas
    regulator strikes, it rises to what an unloaded supply reaches. A zener has no such state.
    """
    high = ", mains 10 % high"
    assert states(shipped_build("demo"), 250.0) == [
        ("tubes warm" + high, pytest.approx(209.0), 2),
        ("tubes cold" + high, 250.0, 0),
        ("tubes cold and the regulator not struck" + high, 250.0, 0),
    ]
    assert [words for words, _, _ in states(shipped_build("cabin"), 250.0)] == [
        "tubes warm" + high, "tubes cold" + high,
    ]  # fmt: skip
    # a battery is never above its volts
    assert states(shipped_build("one_tube"), 63.0) == [("tubes warm", 63.0, 1), ("tubes cold", 63.0, 0)]


def test_switching_on_goes_to_the_highest_mains() -> None:
    for name, top in (("demo", 209.0), ("one_tube", 63.0)):
        time, volts = part_stress.switching_on(shipped_build(name), None)
        assert (time[0], volts[0]) == (0.0, 0.0)
        assert volts.max() == volts[-1] == pytest.approx(top)


# ---------------------------------------------------------------------------- the parts list


def circuit_of(build: Build) -> Circuit:
    band = build.bands[0]
    return receiver_circuit(build, cards_for(build), band=band, dial_hz=band.from_, rotation=0.5)


@pytest.mark.parametrize(("volts", "amps"), [("6.3 V", 0.3 + 0.3), ("12.6 V", 0.3 + 0.15)])
def test_a_heater_of_two_halves_takes_half_the_current_in_series(volts: str, amps: float) -> None:
    """12AU7: 0.3 A at 6.3 V, 0.15 A at 12.6 V (RCA sheet); the 6SJ7 beside it takes 0.3 A (RCA sheet)."""
    build = changed_build(shipped_build("demo"), {"audio.tube": "12AU7", "heater.volts": volts})
    assert heater_current(build, circuit_of(build), cards_for(build)) == pytest.approx(amps)


@pytest.mark.parametrize(
    ("circuit", "name"), [("full_wave", "D1-D2"), ("bridge", "D1-D4"), ("half_wave", "D1")]
)
def test_a_rectifier_of_silicon_has_as_many_diodes_as_its_circuit(circuit: str, name: str) -> None:
    """A bridge has four, a centre-tapped winding two, a half-wave rectifier one: any textbook."""
    silicon = {"kind": "solid_state", "drop": "0.9 V"}
    changes: dict[str, Any] = {"supply.circuit": circuit, "supply.rectifier": silicon}
    build = changed_build(shipped_build("mains_set"), changes)
    lines = needs(build, SimpleNamespace(elements=(), sockets={}), None, RECTIFIED, None)  # type: ignore[arg-type]
    assert [line.designator for line in lines if line.key == "supply.rectifier"] == [name]


RECTIFIED = filled(
    Rectified, load_a=31e-3, bleeder_a=4.7e-3, inverse_v=640.0, peak_a=0.21,
    capacitors=tuple(filled(Capacitor, section=n, ripple_a=amps) for n, amps in ((1, 61e-3), (2, 3e-3),
                                                                                (3, 0.2e-3))),
)  # fmt: skip


def test_each_value_is_rounded_in_the_series_it_is_sold_in() -> None:
    """IEC 60063: resistors in E24, capacitors in E12. 5.1 kohm and 130 pF are both of E24 alone; the nearest
    of E12 to 130 pF, by ratio, is 120 pF (1.083 against 1.154).
    """
    build = changed_build(
        shipped_build("demo"), {"audio.grid_stopper": "5.1 kohm", "audio.coupling": "13 nF"}
    )
    lines = {n.key: n for n in needs(build, circuit_of(build), None, None, cards_for(build))}
    assert lines["audio.grid_stopper"].preferred == pytest.approx(5.1e3)
    assert lines["detector.grid_capacitor"].preferred == pytest.approx(120e-12)
    assert lines["audio.coupling"].preferred == pytest.approx(12e-9)


@pytest.mark.parametrize(("worst", "enough"), [(0.69, True), (0.71, False)])
def test_a_limit_beside_the_columns_makes_a_part_too_weak(worst: float, enough: bool) -> None:
    """The screen of a 6SJ7 dissipates 0.7 W at most (RCA sheet), whatever the plate still stands."""
    beside = Beside(SCREEN_W, worst, 0.7, "W", "tubes warm")
    line = filled(PartNeeds, highest_v=100.0, stated_v=300.0, watts_w=None, highest_a=None, ripple_a=None,
                  stated_w=2.5, stated_a=None, besides=(beside,))  # fmt: skip
    assert part_needs._judged(line).enough is enough


@pytest.mark.parametrize(
    ("highest", "ripple", "enough"), [(None, 61e-3, True), (None, 121e-3, False), (0.2, None, False)]
)
def test_a_stated_current_is_that_of_the_ripple_where_there_is_one(
    highest: float | None, ripple: float | None, enough: bool
) -> None:
    line = filled(PartNeeds, highest_v=None, watts_w=None, highest_a=highest, ripple_a=ripple, stated_v=None,
                  stated_w=None, stated_a=0.12, besides=())  # fmt: skip
    assert part_needs._judged(line).enough is enough
