"""What should a meter read at each pin, and is any rating exceeded? (d.c.)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from receiver_sim.engine import Bench, Deck
from receiver_sim.netlist.audio_stage import feed_node, own_screen
from receiver_sim.netlist.receiver import CONTACT_OHM, Cards, control_elements, receiver_deck
from receiver_sim.results.bias import OperatingPoint, RatingLine, TubePoint
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard, outside_range
from receiver_sim.schema.stage import Audio, FirstStage

TEST_POINTS = {
    "bplus": "plate supply",
    "vreg": "regulator",
    "wiper": "wiper of the control",
    "scr": "detector screen",
    "dout": "detector load",
    "plate": "detector plate",
    "baud": "audio supply",
    "aplate": "audio plate",
    "acath": "audio cathode",
    "ascr": "audio screen",
    "bfst": "first audio supply",
    "fplate": "first audio plate",
    "fcath": "first audio cathode",
    "fscr": "first audio screen",
}
"""Nodes a meter is put on, and what the constructor calls them."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Deck:
    """Return the deck of the receiver; the d.c. conditions do not depend on the band."""
    return receiver_deck(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def reduce(
    volts: Mapping[str, float], build: Build, cards: Cards, *, label: str, rotation: float
) -> OperatingPoint:
    """Turn the vectors of an operating point (volts, and `x#branch` amperes) into the result."""
    sockets = [(_detector(volts, build, cards.detector), cards.detector)]
    if build.audio.first is not None and cards.first is not None:
        sockets.append((_audio(volts, build, cards.first, build.audio.first, "f"), cards.first))
    sockets.append((_audio(volts, build, cards.audio, build.audio, "a"), cards.audio))
    tubes = tuple(tube for tube, _ in sockets)
    regulator = _regulator_current(volts, build)
    ratings = [line for tube, card in sockets for line in _ratings(tube, card)]
    if regulator is not None and build.regulator is not None and build.regulator.maximum_current is not None:
        ratings.append(RatingLine("regulator", "current", regulator, build.regulator.maximum_current, "A"))
    return OperatingPoint(
        label=label,
        setting=ControlSetting(rotation, volts["scr"]),
        tubes=tubes,
        volts={name: volts[node] for node, name in TEST_POINTS.items() if node in volts},
        regulator_a=regulator,
        ratings=tuple(ratings),
    )


def _detector(volts: Mapping[str, float], build: Build, card: TubeCard) -> TubePoint:
    # The RF choke carries the plate current, the stopper the screen's, the leak the grid's.
    plate = volts["lrfc#branch"] * -1.0
    screen = (volts["wiper"] - volts["scr"]) / max(build.regeneration.stopper, CONTACT_OHM)
    grid = -volts["gx"] / build.detector.grid_leak
    cathode_v = volts["tap"]
    return TubePoint(
        socket="detector",
        tube=card.type,
        plate_v=volts["plate"],
        screen_v=volts["scr"],
        grid_v=volts["grid"],
        cathode_v=cathode_v,
        plate_a=plate,
        screen_a=screen,
        grid_a=grid,
        plate_w=(volts["plate"] - cathode_v) * plate,
        screen_w=(volts["scr"] - cathode_v) * screen,
        outside=tuple(
            outside_range(
                card,
                plate_v=volts["plate"] - cathode_v,
                screen_v=volts["scr"] - cathode_v,
                grid_v=volts["grid"] - cathode_v,
            )
        ),
    )


def _audio(
    volts: Mapping[str, float], build: Build, card: TubeCard, stage: Audio | FirstStage, x: str
) -> TubePoint:
    cathode_v, plate_v, grid_v = volts[f"{x}cath"], volts[f"{x}plate"], volts[f"{x}grid"]
    plate = volts[f"v{x}pm#branch"]
    screen_v = screen = None
    if own_screen(stage, card) and stage.screen is not None:
        screen_v = volts[f"{x}scr"]
        feed = volts[feed_node(stage, x)]
        screen = (feed - screen_v) / max(stage.screen.resistor, CONTACT_OHM)
    return TubePoint(
        socket={"a": "audio", "f": "first audio"}[x],
        tube=card.type,
        plate_v=plate_v,
        screen_v=screen_v,
        grid_v=grid_v,
        cathode_v=cathode_v,
        plate_a=plate,
        screen_a=screen,
        grid_a=_grid_current(volts, build, stage, x),
        plate_w=(plate_v - cathode_v) * plate,
        screen_w=None if screen is None or screen_v is None else (screen_v - cathode_v) * screen,
        outside=tuple(
            outside_range(
                card,
                plate_v=plate_v - cathode_v,
                screen_v=None if screen_v is None else screen_v - cathode_v,
                grid_v=grid_v - cathode_v,
            )
        ),
    )


def _grid_current(volts: Mapping[str, float], build: Build, stage: Audio | FirstStage, x: str) -> float:
    """Return the d.c. grid current (A): what its leak, grid resistor or volume control carries."""
    if stage.bias == "grid_leak" and stage.grid_leak is not None:
        return -volts[f"{x}gin"] / stage.grid_leak
    after, two = build.audio.volume.place == "after", build.audio.first is not None
    if (x == "a" and two and not after) or (after and x == ("f" if two else "a")):
        node = "agin0" if not after else ("vtop" if "vtop" in volts else "dsec")
        return -volts[node] / (build.audio.grid_resistor or CONTACT_OHM)
    stopper = build.audio.grid_stopper if x == "a" else 0.0
    return (volts["vwiper"] - volts[f"{x}grid"]) / max(stopper, CONTACT_OHM)


def _regulator_current(volts: Mapping[str, float], build: Build) -> float | None:
    if build.regulator is None:
        return None
    into = (volts["bplus"] - volts["vreg"]) / build.regulator.dropper
    return into - (volts["vreg"] - volts["pothi"]) / max(build.regeneration.top, CONTACT_OHM)


def _ratings(tube: TubePoint, card: TubeCard) -> list[RatingLine]:
    limits = card.ratings
    part = f"{tube.socket} {tube.tube}"
    candidates = [
        ("plate volts", tube.plate_v - tube.cathode_v, limits.plate, "V"),
        ("plate dissipation", tube.plate_w, limits.plate_power, "W"),
        (
            "screen volts",
            None if tube.screen_v is None else tube.screen_v - tube.cathode_v,
            limits.screen,
            "V",
        ),
        ("screen dissipation", tube.screen_w, limits.screen_power, "W"),
    ]
    return [
        RatingLine(part, name, value, limit, unit)
        for name, value, limit, unit in candidates
        if value is not None and limit is not None
    ]


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    *,
    band: Band,
    dial_hz: float,
    settings: Sequence[tuple[str, float]],
) -> tuple[OperatingPoint, ...]:
    """Return the operating point at each labelled rotation (0..1) of the control.

    The receiver does not oscillate in these: d.c. of the quiescent circuit. Raises EngineError when a
    simulation fails.
    """
    points = []
    with bench.session(plan(build, cards, band=band, dial_hz=dial_hz)) as session:
        for label, rotation in settings:
            for element, value in control_elements(build, rotation).items():
                session.alter(element, value)
            run_ = session.op()
            volts = {name: float(values.real[0]) for name, values in run_.items()}
            points.append(reduce(volts, build, cards, label=label, rotation=rotation))
    return tuple(points)
