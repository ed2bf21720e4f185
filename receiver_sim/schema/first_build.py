"""A first build from a few answers: which supply, tubes, phones and bands. The rest is what is usual.

The values beside the answers are common practice, no source. A coil is worked out so that the tuning
capacitor covers its band; its tap, or its tickler, so that the tube oscillates in mid-travel of the control.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from receiver_sim.errors import UnknownName, WrongValue
from receiver_sim.physics.mutual_inductance import sheet_sections
from receiver_sim.physics.part_series import E24, nearest_preferred
from receiver_sim.physics.tank import tapped_sections
from receiver_sim.schema import parts
from receiver_sim.schema.band_table import all_bands
from receiver_sim.schema.build import Build
from receiver_sim.schema.card import CardFaults, TubeCard, card_for
from receiver_sim.schema.checks import TUBE_INPUT_FARAD
from receiver_sim.schema.faults import nearest, show
from receiver_sim.schema.loading import load_build_text
from receiver_sim.schema.quantity import (
    CAPACITANCE,
    FREQUENCY,
    INDUCTANCE,
    RESISTANCE,
    VOLTAGE,
    Quantity,
    format_quantity,
)
from receiver_sim.schema.tube_names import type_of

SUPPLIES = {
    "mains": "200 V from a transformer, rectifier and filter; heaters on a winding",
    "bench": "120 V from a regulated bench supply; heaters on d.c.",
    "battery": "67.5 V from dry batteries; tubes whose filament is the cathode",
}
PHONES = {
    "high_impedance": "magnetic phones of 2 kohm and more",
    "600_ohm": "a headset of 600 ohm, through a transformer",
    "32_ohm": "modern headphones of 32 ohm, through a transformer",
    "8_ohm": "a small speaker of 8 ohm, through a transformer",
}
DETECTORS = {
    "mains": ("6SJ7", "6SK7", "6AU6", "6C6", "6C5"),
    "bench": ("6SJ7", "6SK7", "6AU6", "6C6", "6C5"),
    "battery": ("1T4", "1L4", "1N5GT", "1G4GT"),
}
"""Usual types; any other with a card and the right kind of cathode does as well. The first is proposed."""
AUDIO = {
    "mains": ("6C5", "6SN7", "6AK6", "none"),
    "bench": ("6C5", "6SN7", "6AK6", "none"),
    "battery": ("3S4", "1G4GT", "none"),
}
USUAL_BANDS = ("80 m", "40 m")

_MAXIMUM, _MINIMUM, _STRAY, _COUPLING, _AERIAL = 140e-12, 10e-12, 12e-12, 2.2e-12, 200.0
_Q = 140.0
_SLOPE = {"screen": 0.68e-3, "plate": 0.34e-3, "filament": 0.34e-3, "filament plate": 0.5e-3}
"""Slope (S) where onset is to lie, of a tube of 1.65 mS in print: here its screen or plate has few volts."""
_ENDS = {
    "mains": ("27 kohm", "2.2 kohm"),
    "bench": ("39 kohm", "2.2 kohm"),
    "battery": ("10 kohm", "4.7 kohm"),
}
"""Resistors above and below the regeneration control."""
_RATIO = {"600_ohm": (0.35, "30 ohm"), "32_ohm": (0.08, "1.5 ohm"), "8_ohm": (0.04, "0.5 ohm")}


@dataclass(frozen=True)
class Answers:
    """Which supply, tubes, phones and bands. audio: a type, or 'none' for no audio stage.

    bands: names of the band table ('80 m', '49 m broadcast') or spans such as '7.0-7.2MHz'.
    """

    supply: str
    detector: str
    audio: str
    phones: str
    bands: tuple[str, ...]


def usual(supply: str = "mains") -> Answers:
    """Return what is usual with a supply."""
    return Answers(supply, DETECTORS[supply][0], AUDIO[supply][0], "high_impedance", USUAL_BANDS)


def phones_for(audio: str) -> tuple[str, ...]:
    """Return the kinds of phones that a set with that answer for the audio tube drives."""
    return ("high_impedance",) if audio == "none" else tuple(PHONES)


@cache
def named_bands() -> dict[str, tuple[float, float]]:
    """Return the bands that are known by name: limits (Hz) today, the widest of all regions.

    Those which the tuning capacitor of a first build does not cover in one go are left out.
    """
    found: dict[str, tuple[float, float]] = {}
    for row in all_bands():
        name = f"{row.name} broadcast" if row.service == "broadcast" else row.name
        low, high = found.get(name, (row.low, row.high))
        if row.last_year is None:
            found[name] = (min(low, row.low), max(high, row.high))
    covered = {name: span for name, span in found.items() if _meshed(*span) is not None}
    return dict(sorted(covered.items(), key=lambda item: item[1]))


def text(answers: Answers) -> str:
    """Return the build as text. Raises WrongValue for a band that does not serve."""
    return str(_template().render(**_values(answers)))


@cache
def _template() -> Any:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - for start-up's sake

    # plain text: nothing to escape, and every value is checked or our own
    frame = Environment(
        loader=FileSystemLoader(Path(__file__).parent), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True, autoescape=False,
    )  # fmt: skip
    return frame.get_template("first_build.yaml.j2")


def built(answers: Answers) -> tuple[str, Build]:
    """Return the text of the build and the build that it loads as. Raises BuildFaults."""
    written = text(answers)
    return written, load_build_text(written, "first build")


# ---------------------------------------------------------------------------- what each answer may be


def checked_tube(name: str, *, socket: str, supply: str) -> str:
    """Return the type that an answer names, as its card has it.

    Raises BuildFaults in the words of the build's own checks, WrongValue where its cathode does not serve.
    """
    known = type_of(name.strip())
    try:
        card = card_for(known)
    except UnknownName:
        asked = name.strip()
        ask = replace(usual(supply), detector=asked) if socket == "detector" else (
            replace(usual(supply), audio=asked)
        )  # fmt: skip
        load_build_text(text(ask), "first build")  # says what it expects
        raise
    direct = supply == "battery"
    if card.heater.direct != direct:
        has = "a filament as its cathode" if card.heater.direct else "a heated cathode"
        wants = "a filament as its cathode" if direct else "a heated cathode"
        listing = {"detector": DETECTORS, "audio": AUDIO}[socket][supply]
        raise WrongValue(
            f"{card.type} has {has}; with the supply '{supply}', expected a tube with {wants} such as "
            f"{', '.join(one for one in listing if one != 'none')}"
        )
    return card.type


def checked_bands(answer: str) -> tuple[str, ...]:
    """Return the bands of an answer, names or spans with commas between. Raises WrongValue."""
    names = tuple(part.strip() for part in answer.split(",") if part.strip())
    if not names:
        raise WrongValue("expected the name of a band such as '40 m', or a span such as '7.0-7.2MHz'")
    found = tuple(dict.fromkeys(_band(name)[0] for name in names))
    if len(found) < len(names):
        raise WrongValue("expected each band once")
    if len(found) > 10:
        raise WrongValue("expected at most ten bands")
    return found


def _band(answer: str) -> tuple[str, tuple[float, float]]:
    """Return name and limits (Hz) of one band."""
    known = {_folded(name): name for name in named_bands()}
    if _folded(answer) in known:
        name = known[_folded(answer)]
        return name, named_bands()[name]
    span = re.fullmatch(r"([0-9.]+)\s*([A-Za-z]*)\s*(?:-|to)\s*([0-9.]+)\s*([A-Za-z]+)", answer)
    if span is None:
        near = nearest(answer, known.values())
        cure = f"did you mean '{near}'?" if near else "or a span such as '7.0-7.2MHz'"
        raise WrongValue(f"'{show(answer)}': expected one of {', '.join(known.values())}; {cure}")
    edge: Quantity = parts.BandEdge.__metadata__[0]  # type: ignore[attr-defined]
    try:
        low, high = (
            edge.read(f"{n} {unit or span[4]}") for n, unit in ((span[1], span[2]), (span[3], span[4]))
        )
    except ValueError as error:
        raise WrongValue(f"'{show(answer)}': expected {edge.expected()}; {error}") from None
    if not low < high:
        raise WrongValue(f"'{show(answer)}': expected the lower end of the band first")
    if _meshed(low, high) is None:
        raise WrongValue(
            f"'{show(answer)}': a capacitor of {_farad(_MINIMUM)} to {_farad(_MAXIMUM)} does not cover so "
            "much with one coil: expected an upper end of at most 1.8 times the lower one"
        )
    return f"{format_quantity(low, FREQUENCY, 4)} to {format_quantity(high, FREQUENCY, 4)}", (low, high)


def _folded(name: str) -> str:
    return re.sub(r"\s+", "", name).casefold()


def _farad(value: float) -> str:
    return format_quantity(value, CAPACITANCE, 3)


# ---------------------------------------------------------------------------- what follows from them


def _values(answers: Answers) -> dict[str, Any]:
    """Return what the template needs."""
    detector = _card(answers.detector)
    battery = answers.supply == "battery"
    plate = detector is not None and detector.kind == "triode"
    audio = None if answers.audio == "none" else _card(answers.audio)
    heater = 6.3 if detector is None else detector.heater.volts
    other = audio is not None and abs(audio.heater.volts - heater) > 1e-9
    form = ("filament plate" if plate else "filament") if battery else "plate" if plate else "screen"
    has_audio = answers.audio != "none"
    return {
        "title": "My first set of two tubes" if has_audio else "My first set of one tube",
        "supply": answers.supply,
        "heater": format_quantity(heater, VOLTAGE, 3),
        "plate": plate,
        "top": _ENDS[answers.supply][0],
        "bottom": _ENDS[answers.supply][1],
        "detector": _typed(answers.detector),
        "tickler": battery,
        "load": "{kind: choke, inductance: 250 H, resistance: 3.9 kohm, shunt: 220 kohm}",
        "audio": _typed(answers.audio) if has_audio else "",
        "triode": audio is not None and audio.kind != "triode",
        "feed": ("cell" if answers.supply != "mains" else "winding") if other else "",
        "feed_volts": "" if audio is None else format_quantity(audio.heater.volts, VOLTAGE, 3),
        "grid_leak_bias": battery,
        "cathode_resistor": format_quantity(nearest_preferred(_cathode_ohm(audio), E24), RESISTANCE, 3),
        **_output(answers.phones),
        "bands": [
            _coil(*_band(name), detector, slope=_SLOPE[form], tickler=battery) for name in answers.bands
        ],
    }


def _card(name: str) -> TubeCard | None:
    try:
        return card_for(name)
    except (UnknownName, CardFaults):
        return None


def _typed(name: str) -> str:
    """Return a type as YAML: in quotes unless it is that of a card, since it may be anything."""
    return name if _card(name) is not None else json.dumps(name)


def _cathode_ohm(card: TubeCard | None) -> float:
    """Return the usual cathode resistor of an audio tube: grid volts over cathode current as printed.

    The point taken is the one with a bias whose plate volts are nearest to those of such a set; 1 kohm where
    print has none.
    """
    found = [
        (abs(point.plate - 180.0), -point.grid / (point.plate_current + (point.screen_current or 0.0)))
        for point in (() if card is None else card.points)
        if point.grid is not None and point.grid < -0.5 and point.plate_current
    ]
    return min(max(min(found)[1] if found else 1000.0, 390.0), 4700.0)


def _output(phones: str) -> dict[str, str]:
    """Return what is in the audio plate, and the phones."""
    if phones == "high_impedance":
        return {
            "output": "{kind: choke, inductance: 50 H, resistance: 1.5 kohm}",
            "phones": "{name: magnetic phones, at: plate, capacitor: 0.47 uF, drain: 330 kohm, "
            "kind: high_impedance}",
        }
    ratio, ohm = _RATIO[phones]
    return {
        "output": "{kind: transformer, primary_inductance: 25 H, primary_resistance: 700 ohm, "
        f"leakage: 80 mH, secondaries: [{{name: winding, ratio: {ratio}, resistance: {ohm}}}]}}",
        "phones": f"{{name: {phones.replace('_', ' ')} phones, at: winding, kind: {phones}}}",
    }


def _meshed(low: float, high: float) -> float | None:
    """Return the farads of the tuning capacitor at the low end of a band, None if it does not cover it.

    The higher the band the fewer, so that the tank keeps its impedance.
    """
    fixed = _STRAY + TUBE_INPUT_FARAD + _COUPLING
    wanted = min(max(400e-12 * 1e6 / low, 30e-12), 120e-12)
    needed = (_MINIMUM * 1.1 + fixed) * (high / low) ** 2 - fixed
    return max(wanted, needed) if needed <= 0.97 * _MAXIMUM else None


def _turns(volts: float) -> float:
    """Return the part of the turns at which a coil as long as it is wide has the share of its volts that
    sections coupled by a half would have at the part `volts`.
    """
    upper, lower, mutual = tapped_sections(1.0, turns_fraction=volts, coupling=0.5)
    ratio = (lower + mutual) / (upper + lower + 2.0 * mutual)
    low, high = 1e-3, 0.5
    for _ in range(30):
        middle = 0.5 * (low + high)
        below = sheet_sections(1.0, turns_fraction=middle, shape=1.0).tap_ratio < ratio
        low, high = (middle, high) if below else (low, middle)
    return high


def _coil(
    name: str, span: tuple[float, float], tube: TubeCard | None, *, slope: float, tickler: bool
) -> dict[str, str]:
    """Return a band with its coil: inductance by the capacitor, feedback by the slope of the tube.

    With G the conductance of tank, aerial and grid at the middle of the band, a tap at the part n from ground
    oscillates where slope n (1 - n) = G, a tickler with the mutual inductance M where slope M / L = G.
    """
    low, high = span
    meshed = _meshed(low, high)
    assert meshed is not None
    farad = meshed + _STRAY + TUBE_INPUT_FARAD + _COUPLING
    henry = float(f"{1.0 / ((2.0 * math.pi * low) ** 2 * farad):.2g}")
    hz = math.sqrt(low * high)
    turn = 2.0 * math.pi * hz
    loss = 1.0 / (_Q * turn * henry) + (turn * _COUPLING) ** 2 * _AERIAL
    if tube is not None:
        print_s = next((point.gm for point in tube.points if point.gm), 1.65e-3)
        slope *= (print_s / 1.65e-3) ** 0.55  # a steep tube loses more of its slope at few volts
        slope *= 0.8 if tube.cutoff == "remote" else 1.0
        loss += slope / print_s * (tube.input_loading.kc * hz + tube.input_loading.kh * hz**2)
    part = loss / slope
    told = f"inductance: {format_quantity(henry, INDUCTANCE, 2)}, q: {_Q:.0f}"
    if tickler:
        size = min(max((part / 0.25) ** 2, 0.02), 2.5) * henry
        told += f", tickler: {{inductance: {format_quantity(size, INDUCTANCE, 2)}, coupling: 0.25}}"
    else:
        tap = 0.5 * (1.0 - math.sqrt(max(1.0 - 4.0 * part, 0.16)))
        told += f", tap: {100.0 * _turns(tap):.2g} %"
    edges = (format_quantity(edge, FREQUENCY) for edge in span)
    return {"name": name, **dict(zip(("low", "high"), edges, strict=True)), "coil": f"{{{told}}}"}
