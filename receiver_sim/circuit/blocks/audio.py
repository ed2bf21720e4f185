"""The audio part: coupling, filter for code, volume control, one or two stages."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.blocks.heater import heater_ends
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.laws import subcircuit
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.circuit.templates import TemplateFault
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.schema import Build
from receiver_sim.schema.audio_stages import Audio, FirstStage, Volume
from receiver_sim.schema.card import TubeCard

_SOCKETS = {"a": "audio", "f": "first audio"}


def own_screen(stage: Audio | FirstStage, card: TubeCard) -> bool:
    """Return whether a stage's tube has a screen that is fed by itself."""
    return card.kind != "triode" and stage.connection == "own"


def audio_of(build: Build) -> Audio:
    """Return the audio part of a build. Raises TemplateFault where it has none."""
    if build.audio is None:
        raise TemplateFault("the build has no audio stage")
    return build.audio


def _first_card(card: TubeCard | None) -> TubeCard:
    if card is None:
        raise TemplateFault("the build has a first audio stage: its tube card is needed")
    return card


def _volume_halves(volume: Volume) -> tuple[float, float]:
    low = float(wiper_fraction(volume.setting, law=volume.law, mid=volume.mid))
    return max((1.0 - low) * volume.pot, CONTACT_OHM), max(low * volume.pot, CONTACT_OHM)


@form("audio", "amplifier")
def amplifier(site: Site) -> Sequence[Block]:
    """Return everything from the detector's load to the plate of the last audio tube."""
    build, cards = site.build, site.cards
    audio, card = audio_of(build), cards.audio
    assert card is not None
    source = "dsec" if build.detector.load.kind == "transformer" else "dout"
    coupled = source
    if audio.coupling is not None:
        coupled = "vtop" if audio.filter is None else "filtin"
    top = coupled if audio.filter is None else "vtop"
    two, volume = audio.first is not None, audio.volume
    after = volume is not None and volume.place == "after"
    first_grid = "vwiper" if volume is not None and not after else top
    # where the control does not stand: behind a first stage, or at the first grid
    grid_node = top if after or (volume is None and not two) else "agin0"
    resistor = two or after or volume is None
    first_resistor = None if audio.first is None or volume is not None else audio.first.grid_resistor
    parts = [
        filled("audio_feed.cir", {}),
        filled(
            "audio_input.cir",
            {
                "coupling": audio.coupling,
                "source": source,
                "coupled": coupled,
                "grid_resistor": audio.grid_resistor if resistor else None,
                "grid_node": grid_node,
                "first_resistor": first_resistor,
                "first_node": top,
            },
        ),
    ]
    if audio.filter is not None:
        parts.append(_filter(audio, coupled, top))
    if volume is not None:
        pot_top = ("agin0" if two else "volhi") if after else top
        parts.append(_volume(volume, pot_top, None if two or not after else volume.capacitor))
    last_input = first_grid
    if audio.first is not None:
        last_input = "vwiper" if after else "agin0"
        parts.append(_stage(audio.first, _first_card(cards.first), "f", first_grid, build))
    parts.append(_stage(audio, card, "a", last_input, build))
    return parts


def feed_node(stage: Audio | FirstStage, x: str) -> str:
    """Return the node that feeds plate load and screen of a stage."""
    return "bstage" if stage.decoupling is None else {"a": "baud", "f": "bfst"}[x]


def _filter(audio: Audio, left: str, right: str) -> Block:
    part = audio.filter
    assert part is not None
    if part.kind == "low_pass":
        count = int(part.sections)
        nodes = [left, *(f"filt{i}" for i in range(1, count)), right]
        sections = [{"index": i + 1, "left": nodes[i], "right": nodes[i + 1]} for i in range(count)]
        values = {"resistance": part.resistance, "capacitance": part.capacitance, "sections": sections}
        return filled("filter_low_pass.cir", values)
    values = {
        "left": left,
        "right": right,
        "inductance": part.inductance,
        "resistance": max(part.resistance, CONTACT_OHM),
        "capacitance": part.capacitance,
    }
    if part.kind == "choke_low_pass":
        return filled("filter_choke_low_pass.cir", values)
    return filled("filter_resonant.cir", {**values, "series": part.series})


def _volume(volume: Volume, top: str, capacitor: float | None) -> Block:
    upper, lower = _volume_halves(volume)
    return filled(
        "audio_volume.cir",
        {"top": top, "upper": upper, "lower": lower, "capacitor": capacitor},
    )


def _grid_meter(build: Build, x: str, *, leak: bool) -> str:
    """Return the element that carries a stage's grid current, and its sense: leak, grid resistor or grid
    stopper.

    A stopper of a fraction of an ohm would lose the current in rounding where another part carries it alone.
    """
    if leak:
        return f"r{x}gleak -"
    audio = audio_of(build)
    two, volume = audio.first is not None, audio.volume
    after = volume is not None and volume.place == "after"
    if volume is None:
        if x == "f" and audio.first is not None and audio.first.grid_resistor is not None:
            return "rgridf -"
        behind = x == "a"
    else:
        behind = (x == "a" and two and not after) or (after and x == ("f" if two else "a"))
    return "rgrid -" if behind and audio.grid_resistor is not None else f"r{x}gstop +"


def _stage(stage: Audio | FirstStage, card: TubeCard, x: str, source: str, build: Build) -> Block:
    heat, decoupling = stage.heater_coupling, stage.decoupling
    screen = own_screen(stage, card)
    if screen and stage.screen is None:
        raise TemplateFault(f"the {card.type} has a screen and the stage no feed for it")
    feed = stage.screen if screen else None
    leak = stage.bias == "grid_leak"
    first = stage if isinstance(stage, FirstStage) else None
    stopper = audio_of(build).grid_stopper if first is None else 0.0
    law = {"a": "aud", "f": "fst"}[x]
    tied = card.kind != "triode" and stage.connection == "triode"
    socket = _SOCKETS[x]
    return filled(
        "audio_stage.cir",
        {
            "x": x,
            "law": law,
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
        says={
            "x": x,
            "behind": law,
            "socket": socket,
            "stage": f"{socket} stage",
            "key": "audio" if first is None else "audio.first",
        },
        meters={socket: {"grid": _grid_meter(build, x, leak=leak)}},
        laws=(subcircuit(card, law, triode_connected=tied),),
    )
