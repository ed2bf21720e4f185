"""A slice of the campaign, and what its draws and its judge are worth."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from receiver_sim.builds import cards_for
from receiver_sim.schema import BuildFaults, load_build
from receiver_sim.schema.card import card_for, card_types
from tests.campaign import draw, judge, run

SLICE = (11, (3, 7))
"""Seed and numbers of the builds that run here; the rest is for `python -m tests.campaign`."""


@pytest.mark.slow
@pytest.mark.parametrize("number", SLICE[1])
def test_a_drawn_build_gets_its_answers(number: int, tmp_path: Path) -> None:
    outcome = run.run_one(SLICE[0], number, ("check", "listen"), tmp_path)
    assert outcome.reasons == []


def forms(node: Any, path: str = "") -> Iterator[str]:
    """Yield what a build is made of: its keys, and the words that choose a kind."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield from forms(value, f"{path}.{key}" if path else key)
    elif isinstance(node, list):
        for value in node:
            yield from forms(value, path)
    else:
        telling = path.rsplit(".", maxsplit=1)[-1] in ("kind", "grid_leak_to", "circuit", "place")
        yield f"{path}={node}" if telling else path


# what the schema has and a draw should show now and then, besides each kind of each union
FORMS = (
    *(f"supply.kind={kind}" for kind in ("dc", "rectifier", "battery", "bench")),
    *(f"supply.circuit={circuit}" for circuit in ("full_wave", "bridge", "half_wave")),
    *(f"supply.rectifier.kind={kind}" for kind in ("vacuum", "solid_state")),
    "regulator.kind=gas_tube", "regulator.kind=zener",
    *(f"detector.load.kind={kind}" for kind in ("resistor", "choke", "transformer")),
    *(f"detector.grid_leak_to={place}" for place in ("tank", "cathode", "ground")),
    "detector.strays.grid", "detector.heater_coupling.leakage", "detector.heater_feed.source",
    *(f"audio.filter.kind={kind}" for kind in ("low_pass", "choke_low_pass", "resonant")),
    *(f"audio.output.kind={kind}" for kind in ("choke", "transformer", "resistor")),
    "audio.screen.resistor", "audio.first.tube", "audio.connection", "audio.grid_leak",
    "audio.volume.place=after",
    "audio.decoupling.resistor", "phones.kind=high_impedance", "phones.impedance.magnitude", "phones.state",
    *(f"aerial.kind={kind}" for kind in ("series", "dummy", "wire")),
    *(f"bands.coil.winding.kind={kind}" for kind in ("solenoid", "sections", "toroid")),
    *(f"bands.coil.link.place={place}" for place in ("below", "over")),
    *(f"bands.coil.link.shield.kind={kind}" for kind in ("leaves", "comb")),
    "bands.coil.can.diameter", "bands.coil.q", "bands.coil.winding.former_loss.permittivity",
    "tuning.bandspread.maximum", "pickup.output", "heater.hum_pot",
    *(f"rf_stage.input.kind={kind}" for kind in ("choke", "resistor", "tuned")),
    *(f"rf_stage.plate.kind={kind}" for kind in ("choke", "resistor", "link")),
    *(f"rf_stage.gain.place={place}" for place in ("cathode", "screen")), "bands.rf_coil.q",
)  # fmt: skip


def test_every_card_and_every_form_is_drawn() -> None:
    seen: Counter[str] = Counter()
    for number in range(900):
        data = draw.build(4, number)
        seen.update(set(forms(data)))
        seen[f"detector {data['detector']['tube']}"] += 1
        if "audio" in data:
            seen[f"audio {data['audio']['tube']}"] += 1
    assert [form for form in FORMS if not seen[form]] == []
    assert [name for name in card_types() if not seen[f"audio {name}"]] == []
    pentodes = [name for name in card_types() if card_for(name).kind != "triode"]
    assert [name for name in pentodes if not seen[f"detector {name}"]] == []


def test_a_draw_depends_on_seed_and_number_alone() -> None:
    first = [draw.build(5, number) for number in range(4)]
    assert [draw.build(5, number) for number in (3, 2, 1, 0)] == first[::-1]
    assert draw.build(6, 0) != first[0] != first[1]


def test_nearly_every_draw_is_a_sound_build(tmp_path: Path) -> None:
    refused = 0
    for number in range(60):
        path = tmp_path / "drawn.yaml"
        path.write_text(yaml.safe_dump(draw.build(8, number)), encoding="utf-8")
        try:
            cards_for(load_build(path))
        except BuildFaults:
            refused += 1
    # a wire too long for its band, a coil too short for the formulas
    assert refused <= 6


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("onset rotation", 1.2, "the control ends at its stops"),
        ("plate_a", 40.0, "receiving tubes carry milliamperes"),
        ("amplitudes.amplitude_v", 1e3, "the map ends at 22 V"),
        ("energy_error", 0.02, "in balance the tube pays for the tank's losses"),
    ],
)
def test_the_judge_sees_what_cannot_be(path: str, value: float, told: str, tmp_path: Path) -> None:
    data, _ = run.drawn(9, 0, tmp_path / "b.yaml")
    del data
    build = load_build(tmp_path / "b.yaml")
    keys = path.replace(" ", ".").split(".")
    node: Any = [value] if keys[-1] in ("amplitude_v", "energy_error") else value
    for key in reversed(keys):
        node = {key: node}
    found = judge.absurd({"verb": "onset", "result": node}, build)
    assert len(found) == 1 and told in found[0]
    assert judge.absurd({"verb": "onset", "result": {"rotation": 0.4}}, build) == []


def test_the_judge_sees_what_is_no_number() -> None:
    assert judge.bad_constants(json.dumps({"a": float("nan")})) == ["the JSON holds NaN or Infinity"]
    assert judge.bad_constants('{"title": "Nano set"}') == []
