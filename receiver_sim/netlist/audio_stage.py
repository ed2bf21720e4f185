"""The audio part of a build as text: coupling, filter for code, volume control, one or two stages, outputs.

Node names a study may read: `vwiper`, `agrid`, `acath`, `aplate`, `ascr` of the output stage; the same with
`f` ahead of a first stage; `baud`, `bfst` behind their decoupling; `phone0`..., `sec0`.... Sources at rest:
`vainj`, `vfinj` (audio volts in series with the control node of a tube), `vopick` (in the output winding),
`vfaud` (in the plate feed); `vapm`, `vfpm` are ammeters in the plate leads.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from receiver_sim.data import folder
from receiver_sim.netlist.heater import heater_ends
from receiver_sim.netlist.limits import CONTACT_OHM, SHORT_HENRY
from receiver_sim.netlist.phones import phones_values
from receiver_sim.netlist.templates import TemplateFault, render
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.schema import Build
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.stage import Audio, FirstStage


def _fill(name: str, values: Mapping[str, Any]) -> str:
    return render(folder("netlists"), name, values)


def own_screen(stage: Audio | FirstStage, card: TubeCard) -> bool:
    """Tell whether a stage's tube has a screen that is fed by itself."""
    return card.kind != "triode" and stage.connection == "own"


def tube_parts(build: Build, card: TubeCard, first: TubeCard | None = None) -> list[str]:
    """Return the subcircuits of the audio tubes: `aud` and, with a first stage, `fst`."""
    stages: list[tuple[Audio | FirstStage, TubeCard, str]] = [(build.audio, card, "aud")]
    if build.audio.first is not None:
        stages.append((build.audio.first, _first_card(first), "fst"))
    return [
        subcircuit(one, name, triode_connected=one.kind != "triode" and stage.connection == "triode")
        for stage, one, name in stages
    ]


def _first_card(card: TubeCard | None) -> TubeCard:
    if card is None:
        raise TemplateFault("the build has a first audio stage: its tube card is needed")
    return card


def volume_elements(build: Build, setting: float) -> dict[str, float]:
    """Return the values of the two parts of the volume control at a rotation (0..1)."""
    volume = build.audio.volume
    low = float(wiper_fraction(setting, law=volume.law, mid=volume.mid))
    return {
        "rvola": max((1.0 - low) * volume.pot, CONTACT_OHM),
        "rvolb": max(low * volume.pot, CONTACT_OHM),
    }


def audio_parts(build: Build, card: TubeCard, first: TubeCard | None = None) -> list[str]:
    """Return everything from the detector's load to the phones as text; `first`: card of a first stage."""
    audio = build.audio
    source = "dsec" if build.detector.load.kind == "transformer" else "dout"
    coupled = source
    if audio.coupling is not None:
        coupled = "vtop" if audio.filter is None else "filtin"
    top = coupled if audio.filter is None else "vtop"
    two, after = audio.first is not None, audio.volume.place == "after"
    first_grid = top if after else "vwiper"
    # where the control does not stand: behind a first stage, or at the first grid
    grid_node = ("vtop" if top == "vtop" else top) if after else "agin0"
    parts = [
        _fill("audio_feed.cir", {}),
        _fill(
            "audio_input.cir",
            {
                "coupling": audio.coupling,
                "source": source,
                "coupled": coupled,
                "grid_resistor": audio.grid_resistor if two or after else None,
                "grid_node": grid_node,
            },
        ),
    ]
    if audio.filter is not None:
        parts.append(_filter(audio, coupled, top))
    pot_top = ("agin0" if two else "volhi") if after else top
    parts.append(_volume(build, pot_top, None if two or not after else audio.volume.capacitor))
    last_input = first_grid
    if audio.first is not None:
        last_input = "vwiper" if after else "agin0"
        parts.append(_stage(audio.first, _first_card(first), "f", first_grid, build))
    parts.append(_stage(audio, card, "a", last_input, build))
    return [*parts, _output(build), _fill("phones.cir", phones_values(build))]


def feed_node(stage: Audio | FirstStage, x: str) -> str:
    """Return the node that feeds plate load and screen of a stage."""
    return "bstage" if stage.decoupling is None else {"a": "baud", "f": "bfst"}[x]


def _filter(audio: Audio, left: str, right: str) -> str:
    part = audio.filter
    assert part is not None
    if part.kind == "low_pass":
        count = int(part.sections)
        nodes = [left, *(f"filt{i}" for i in range(1, count)), right]
        sections = [{"index": i + 1, "left": nodes[i], "right": nodes[i + 1]} for i in range(count)]
        values = {"resistance": part.resistance, "capacitance": part.capacitance, "sections": sections}
        return _fill("filter_low_pass.cir", values)
    values = {
        "left": left,
        "right": right,
        "inductance": part.inductance,
        "resistance": max(part.resistance, CONTACT_OHM),
        "capacitance": part.capacitance,
    }
    if part.kind == "choke_low_pass":
        return _fill("filter_choke_low_pass.cir", values)
    return _fill("filter_resonant.cir", {**values, "series": part.series})


def _volume(build: Build, top: str, capacitor: float | None) -> str:
    pot = volume_elements(build, build.audio.volume.setting)
    return _fill(
        "audio_volume.cir",
        {"top": top, "upper": pot["rvola"], "lower": pot["rvolb"], "capacitor": capacitor},
    )


def _stage(stage: Audio | FirstStage, card: TubeCard, x: str, source: str, build: Build) -> str:
    heat, decoupling = stage.heater_coupling, stage.decoupling
    screen = own_screen(stage, card)
    if screen and stage.screen is None:
        raise TemplateFault(f"the {card.type} has a screen and the stage no feed for it")
    feed = stage.screen if screen else None
    leak = stage.bias == "grid_leak"
    first = stage if isinstance(stage, FirstStage) else None
    stopper = build.audio.grid_stopper if first is None else 0.0
    return _fill(
        "audio_stage.cir",
        {
            "x": x,
            "law": {"a": "aud", "f": "fst"}[x],
            "source": source,
            "grid_leak": stage.grid_leak if leak else None,
            "grid_capacitor": stage.grid_capacitor if leak else None,
            "grid_stopper": max(stopper, CONTACT_OHM),
            "own_screen": int(screen),
            "cgk": card.capacitances.cgk,
            "cgp": card.capacitances.cgp,
            "cpk": card.capacitances.cpk,
            "cathode_resistor": None if leak else stage.cathode_resistor,
            "cathode_bypass": None if leak else stage.cathode_bypass,
            "screen_resistor": None if feed is None else max(feed.resistor, CONTACT_OHM),
            "screen_bypass": None if feed is None else feed.bypass,
            "feed": feed_node(stage, x),
            "decoupling_resistor": None if decoupling is None else decoupling.resistor,
            "decoupling_capacitor": None if decoupling is None else decoupling.capacitor,
            "plate_resistor": None if first is None else first.plate_resistor,
            "next": "agin0",
            "next_coupling": None if first is None else first.coupling,
            **heater_ends(build, "audio" if first is None else "first"),
            "heater_grid_a": heat.grid_a,
            "heater_grid_b": heat.grid_b,
            "heater_cathode_a": heat.cathode_a,
            "heater_cathode_b": heat.cathode_b,
            "heater_leakage": heat.leakage,
        },
    )


def _output(build: Build) -> str:
    output, feed = build.audio.output, feed_node(build.audio, "a")
    if output.kind == "resistor":
        return _fill("output_resistor.cir", {"feed": feed, "resistance": output.resistance})
    if output.kind == "choke":
        return _fill(
            "output_choke.cir",
            {
                "feed": feed,
                "inductance": output.inductance,
                "resistance": max(output.resistance, CONTACT_OHM),
                "capacitance": output.capacitance,
            },
        )
    return _fill(
        "output_transformer.cir",
        {
            "feed": feed,
            "primary_resistance": max(output.primary_resistance, CONTACT_OHM),
            "leakage": max(output.leakage, SHORT_HENRY),
            "primary_inductance": output.primary_inductance,
            "primary_capacitance": output.primary_capacitance,
            "secondaries": [
                {"ratio": s.ratio, "resistance": max(s.resistance, CONTACT_OHM)} for s in output.secondaries
            ],
        },
    )
