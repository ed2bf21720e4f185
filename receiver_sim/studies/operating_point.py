"""What should a meter read at each pin, and is any rating exceeded? (d.c.)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from receiver_sim.engine import Bench, Deck
from receiver_sim.netlist.receiver import CONTACT_OHM, Cards, control_elements, receiver_deck
from receiver_sim.results.bias import OperatingPoint, RatingLine, TubePoint
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard, outside_range

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
}
"""Nodes a meter is put on, and what the constructor calls them."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Deck:
    """Return the deck of the receiver; the d.c. conditions do not depend on the band."""
    return receiver_deck(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def reduce(
    volts: Mapping[str, float], build: Build, cards: Cards, *, label: str, rotation: float
) -> OperatingPoint:
    """Turn the vectors of an operating point (volts, and `x#branch` amperes) into the result."""
    tubes = (_detector(volts, build, cards.detector), _audio(volts, build, cards.audio))
    regulator = _regulator_current(volts, build)
    ratings = [
        line
        for tube, card in zip(tubes, (cards.detector, cards.audio), strict=True)
        for line in _ratings(tube, card)
    ]
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


def _audio(volts: Mapping[str, float], build: Build, card: TubeCard) -> TubePoint:
    cathode_v = volts["acath"]
    plate = cathode_v / build.audio.cathode_resistor
    return TubePoint(
        socket="audio",
        tube=card.type,
        plate_v=volts["aplate"],
        screen_v=None,
        grid_v=volts["agrid"],
        cathode_v=cathode_v,
        plate_a=plate,
        screen_a=None,
        grid_a=(volts["vwiper"] - volts["agrid"]) / max(build.audio.grid_stopper, CONTACT_OHM),
        plate_w=(volts["aplate"] - cathode_v) * plate,
        screen_w=None,
        outside=tuple(
            outside_range(card, plate_v=volts["aplate"] - cathode_v, grid_v=volts["agrid"] - cathode_v)
        ),
    )


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
