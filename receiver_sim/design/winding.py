"""How is a coil to be wound for a band, a former and a capacitor? By formula alone: no circuit is run.

The answer goes into a build as it stands; `coils` then measures range and Q in the deck.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.inductance import solenoid_inductance
from receiver_sim.physics.self_capacitance import RATIO_RANGE, TABLE_RANGE, extrapolated
from receiver_sim.physics.tank import resonant_capacitance, resonant_frequency
from receiver_sim.physics.tuning import (
    capacitor_rotation,
    padded_capacitance,
    padders_for_range,
    unpadded_capacitance,
    variable_capacitance,
)
from receiver_sim.results.coils import WindingDesign, WindingPart
from receiver_sim.schema.checks import TUBE_INPUT_FARAD
from receiver_sim.schema.coil import Coil
from receiver_sim.schema.coil_figures import CoilFigures, coil_figures, coil_q, wire_length
from receiver_sim.schema.formers import Material, formers
from receiver_sim.schema.quantity import CAPACITANCE, FREQUENCY, format_quantity

DIAL_ENDS = (0.1, 0.9)
"""Rotations between which a spread band lies, and the latter that of the low end without padders."""

MOST_TURNS = 400.0
LINK_SHARE = 0.15
"""Turns of a link over those of the coil: common practice, no source."""


@dataclass(frozen=True)
class Wish:
    """What a coil is designed for, SI units.

    minimum, maximum, law: of the tuning capacitor; stray: wiring and socket, excluding the tube. pitch: None
    for a close-wound coil. tap: share of the turns. spread: choose padders so that the band fills the dial,
    with a coil of `reactance` (ohm) in the middle of the band. material: of the former, for its loss.
    """

    from_hz: float
    to_hz: float
    former: float
    wire: float
    covering: float
    pitch: float | None
    minimum: float
    maximum: float
    law: str
    stray: float
    tap: float
    spread: bool
    reactance: float
    material: Material = "bakelite"


def _coil(wish: Wish, turns: float, tap: float) -> Coil:
    winding = {
        "kind": "solenoid",
        "former": wish.former,
        "turns": turns,
        "wire": wish.wire,
        "covering": wish.covering,
        "pitch": wish.pitch,
        "tap": tap,
        "material": wish.material,
    }
    return Coil.model_validate({"winding": winding}, context={"si": True})


def _turns_for(wish: Wish, inductance: float) -> float:
    """Return the turns, not rounded, that give an inductance (H). Raises ValueError where none do."""
    from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

    pitch = wish.wire + wish.covering if wish.pitch is None else wish.pitch
    radius = (wish.former + wish.wire + wish.covering) / 2.0

    def miss(turns: float) -> float:
        found = solenoid_inductance(
            turns, radius=radius, pitch=pitch, wire_diameter=wish.wire, surface_current=True
        )
        return found - inductance

    if miss(1.0) > 0.0:
        raise NoAnswer(
            f"one turn has more than the {inductance * 1e6:.3g} uH wanted: take a smaller former or less "
            f"capacitance"
        )
    if miss(MOST_TURNS) < 0.0:
        raise NoAnswer(f"more than {MOST_TURNS:g} turns are needed: take a larger former or thinner wire")
    return float(brentq(miss, 1.0, MOST_TURNS, xtol=1e-6))


def _wanted(wish: Wish, fixed: float) -> float:
    """Return the inductance (H) to wind for, with `fixed` farads across it besides the capacitor."""
    if wish.spread:
        return wish.reactance / (2.0 * np.pi * float(np.sqrt(wish.from_hz * wish.to_hz)))
    meshed = variable_capacitance(DIAL_ENDS[1], minimum=wish.minimum, maximum=wish.maximum, law=wish.law)
    return float(1.0 / ((2.0 * np.pi * wish.from_hz) ** 2 * (meshed + fixed)))


def _padders(wish: Wish, inductance: float, fixed: float) -> tuple[float | None, float]:
    """Return the series padder (None: none) and the parallel one (F) that spread the band over the dial."""
    if not wish.spread:
        return None, 0.0
    ends = [
        float(variable_capacitance(r, minimum=wish.minimum, maximum=wish.maximum, law=wish.law))
        for r in DIAL_ENDS
    ]
    low, high = (
        float(resonant_capacitance(inductance, frequency=f)) - fixed for f in (wish.to_hz, wish.from_hz)
    )
    if low <= 0.0:
        raise NoAnswer(
            f"a coil of {wish.reactance:.4g} ohm leaves no room for strays and tube, "
            f"{format_quantity(fixed, CAPACITANCE, 3)}: take a lower reactance"
        )
    series, parallel = padders_for_range(ends[0], maximum=ends[1], total_low=low, total_high=high)
    return None if np.isinf(series) else series, parallel


def _edge(wish: Wish, total: float, *, series: float | None, parallel: float) -> float | None:
    """Return the rotation for a total capacitance (F), None where the dial does not reach it."""
    try:
        variable = unpadded_capacitance(total, series=np.inf if series is None else series, parallel=parallel)
        return float(capacitor_rotation(variable, minimum=wish.minimum, maximum=wish.maximum, law=wish.law))
    except NoAnswer:  # beyond a stop
        return None


def design(wish: Wish) -> WindingDesign:
    """Return the coil for a wish. Raises ValueError, in words for the bench, where there is none."""
    least = wish.wire + wish.covering
    if wish.pitch is not None and wish.pitch < least:
        raise NoAnswer(
            f"turns overlap: a pitch of {wish.pitch * 1e3:.3g} mm is less than wire and covering, "
            f"{least * 1e3:.3g} mm"
        )
    own = 2e-12
    for _ in range(4):  # the self-capacitance is a small part of the whole: this settles at once
        fixed = wish.stray + TUBE_INPUT_FARAD + own
        wanted = _wanted(wish, fixed)
        turns = max(round(_turns_for(wish, wanted) * 4.0) / 4.0, 1.0)
        tap = max(round(wish.tap * turns * 4.0) / 4.0, 0.25)
        if tap > turns / 2.0:
            raise NoAnswer(f"a coil of {turns:g} turns has no place for a tap: take a smaller former")
        _require_shape(wish, turns)
        coil = _coil(wish, turns, tap)
        figures = coil_figures(coil)
        own = figures.self_capacitance
    fixed = wish.stray + TUBE_INPUT_FARAD + own
    inductance, middle = figures.inductance, float(np.sqrt(wish.from_hz * wish.to_hz))
    series, parallel = _padders(wish, inductance, fixed)
    across = np.inf if series is None else series
    totals = [
        float(padded_capacitance(c, series=across, parallel=fixed + parallel))
        for c in (wish.maximum, wish.minimum)
    ]
    low, high = (float(resonant_frequency(inductance, capacitance=c)) for c in totals)
    edges = [
        _edge(
            wish,
            float(resonant_capacitance(inductance, frequency=f)),
            series=series,
            parallel=fixed + parallel,
        )
        for f in (wish.from_hz, wish.to_hz)
    ]
    q, reactance = coil_q(coil, middle), 2.0 * np.pi * middle * inductance
    return WindingDesign(
        from_hz=wish.from_hz,
        to_hz=wish.to_hz,
        part=_part(wish, figures),
        tap_turns=tap,
        inductance_henry=inductance,
        wanted_henry=wanted,
        self_farad=own,
        coupling=figures.sections.coupling,
        q=q,
        former=formers()[wish.material].name,
        rp_ohm=q * reactance,
        reactance_ohm=reactance,
        series_farad=series,
        parallel_farad=parallel,
        input_farad=TUBE_INPUT_FARAD,
        low_hz=low,
        high_hz=high,
        band_low=edges[0],
        band_high=edges[1],
        link_turns=max(round(LINK_SHARE * turns * 2.0) / 2.0, 1.0),
        build_lines=_lines(wish, turns=turns, tap=tap, series=series, parallel=parallel),
        warnings=tuple(_warnings(wish, figures, low=low, high=high, turns=turns, tap=tap)),
    )


def _require_shape(wish: Wish, turns: float) -> None:
    pitch = wish.wire + wish.covering if wish.pitch is None else wish.pitch
    shape = turns * pitch / (wish.former + wish.wire + wish.covering)
    low, high = RATIO_RANGE
    if not low <= shape <= high:
        cure = "a larger former"
        if shape < low:
            wider = low * (wish.former + wish.wire + wish.covering) / turns
            cure = f"a pitch of {wider * 1e3:.2g} mm or more (--pitch), or a smaller former"
        raise NoAnswer(
            f"{turns:g} turns are {shape:.2g} diameters long, and the formulas end at {low:g} and "
            f"{high:g}: take {cure}"
        )


def _part(wish: Wish, figures: CoilFigures) -> WindingPart:
    one = figures.windings[0]
    return WindingPart("coil", wish.former, one.turns, wish.wire, one.pitch, one.length, wire_length([one]))


def _warnings(
    wish: Wish, figures: CoilFigures, *, low: float, high: float, turns: float, tap: float
) -> list[str]:
    texts = []
    if not low <= wish.from_hz or not wish.to_hz <= high:
        reach = f"{format_quantity(low, FREQUENCY, 4)} to {format_quantity(high, FREQUENCY, 4)}"
        texts.append(
            f"the capacitor gives {reach}: not the whole band; "
            "take a larger capacitor or less stray capacitance"
        )
    one = figures.windings[0]
    if extrapolated(one.length / (2.0 * one.radius)):
        texts.append(
            f"the coil is {one.length / (2.0 * one.radius):.2g} diameters long, outside the measurements of "
            f"self-capacitance ({TABLE_RANGE[0]:g} to {TABLE_RANGE[1]:g}): its "
            f"{format_quantity(figures.self_capacitance, CAPACITANCE, 2)} are extrapolated, good to a factor "
            "of two. Inductance holds at any length; a wider pitch gains Q"
        )
    shape = (figures.length or 0.0) / wish.former
    if shape > 2.0:
        texts.append(
            f"the coil is {shape:.1f} times as long as its former is wide: a larger former has more Q"
        )
    if turns < 3.0:
        texts.append("less than three turns: leads and socket count for as much; measure the inductance")
    if abs(tap / turns - wish.tap) > 0.5 * wish.tap:
        texts.append(f"a quarter turn is coarse here: the tap is at {tap / turns:.1%} of the turns")
    return texts


def _lines(wish: Wish, *, turns: float, tap: float, series: float | None, parallel: float) -> tuple[str, ...]:
    """Return the lines of a build for this band and coil."""

    def size(value: float) -> str:
        return f"{value * 1e3:.4g} mm"

    lines = [
        "- name: new band",
        f"  from: {format_quantity(wish.from_hz, FREQUENCY, 6)}",
        f"  to: {format_quantity(wish.to_hz, FREQUENCY, 6)}",
        "  coil:",
        "    winding:",
        "      kind: solenoid",
        f"      former: {size(wish.former)}",
        f"      turns: {turns:g}",
        f"      wire: {size(wish.wire)}",
        f"      covering: {size(wish.covering)}",
        f"      material: {wish.material}",
        f"      tap: {tap:g}",
    ]
    if wish.pitch is not None:
        lines.insert(-1, f"      pitch: {size(wish.pitch)}")
    if series is not None or parallel > 0.0:
        padders = [f"series: {format_quantity(series, CAPACITANCE, 3)}"] if series is not None else []
        padders.append(f"parallel: {format_quantity(parallel, CAPACITANCE, 3)}")
        lines.append(f"  padding: {{{', '.join(padders)}}}")
    return tuple(lines)
