"""What a tube law, or several at once, gives where a card states print, and how far it misses it.

A search for a law's parameters wants the misses of a dozen laws that differ by little at a dozen points.
Points, facts and charts become arrays once (`Print`); the laws are one TubeLaw whose parameters are columns,
shape (laws, 1), so that numpy goes through all laws at all points in one pass.

Residuals are logarithms of model over print, each divided by what it may be off: the scatter that the law
itself and averaged sheets leave, half the last printed digit, stated errors of the electrode volts, all
widened by the point's flag.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from receiver_sim.physics.checks import Real
from receiver_sim.physics.resistance_stage import StageAtRest, resistance_stage
from receiver_sim.physics.tube_law import SmallSignal, TubeLaw, currents, small_signals
from receiver_sim.schema.card import Fact, Point, ResistanceStage, TubeCard

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

FLAG_FACTOR = {
    "seen": 1.0, "measured": 1.0, "calc": 1.0, "memory-high": 1.0, "memory-medium": 1.5, "memory-low": 4.0,
}  # fmt: skip
"""How much wider the errors of a figure are taken for the way it came here."""

SCATTER = {
    "plate_current": 0.02,
    "screen_current": 0.04,
    "gm": 0.02,
    "mu": 0.02,
    "rp": 0.06,
    "rp_pentode": 0.25,
}
"""One standard deviation (relative) of a printed figure about the law before rounding; a choice, no source,
that the residuals bear out: their median over all cards is about half of it.
"""

BOUNDED = 2.0
"""Misses of so many deviations count double: averaged and rounded figures have no long tails, so many small
misses are believed before a single large one. Infinity would be plain least squares."""

KIN = 4.0
"""How much wider the errors of a figure are taken if it is printed for a type of the same structure: makers
printed one tube twice with differences of some per cent. A choice, no source."""

BIAS_SCATTER = 0.07
"""The same of the bias at which a tube is printed as cut off, relative to that bias."""

GAIN_SCATTER = 0.08
"""One standard deviation (relative) of a chart's gain about the law: gains of single specimens at 5 V of
output, a choice borne out by the 6SJ7's chart, whose rows scatter by 7 % about any smooth law."""

_NO_REST = 10.0
"""Residual of a stage in which a law tried by the search finds no rest: far, and level, so that it turns
back."""

_BIAS_STEP = 0.01
"""Relative step of a bias over which the slope of a fact is taken."""

_QUANTITIES = ("plate_current", "screen_current", "gm", "mu", "rp")


def rest_at_resistor(law: TubeLaw, *, ohm: Real, plate_v: Real, screen_v: Real) -> FloatArray:
    """Return the volts of the cathode above the lower end of its resistor; plate_v, screen_v from that end.

    Newton's method in a bracket, for all laws and points at once; within 1e-12 V or what doubles allow.
    """

    def excess(lift: FloatArray) -> FloatArray:
        out = currents(law, grid_v=-lift, plate_v=plate_v - lift, screen_v=screen_v - lift)
        return np.asarray((out.plate + out.screen) * ohm - lift, dtype=np.float64)

    # no current is left once the cathode stands as high as plate and screen
    high = np.maximum(plate_v, screen_v) + np.zeros_like(np.asarray(law.perveance))
    low = np.zeros_like(high)
    lift: FloatArray = 0.02 * high
    for _ in range(200):
        step = 1e-6 * (1.0 + lift)
        here, near = excess(np.array([lift, lift + step]))
        low, high = np.where(here > 0.0, lift, low), np.where(here > 0.0, high, lift)
        slope = np.minimum((near - here) / step, -1.0)  # more volts, less current: never flatter than -lift
        wanted = lift - here / slope
        wanted = np.where((wanted >= low) & (wanted <= high), wanted, 0.5 * (low + high))
        far = float(np.max(np.abs(wanted - lift)))
        lift = wanted
        if far < 1e-12:
            break
    return lift


def weighed(miss: FloatArray, doubtful: BoolArray) -> FloatArray:
    """Return the residuals for misses in deviations: steeper than plain for print, flatter for what is in
    doubt.

    A figure recalled with little confidence may be plain wrong and must not bend the others: its cost grows
    with the miss instead of its square (Huber's idea, 1964, in smooth form).
    """
    square = miss * miss
    flat = np.copysign(np.sqrt(2.0 * (np.sqrt(1.0 + square) - 1.0)), miss)
    return np.where(doubtful, flat, miss * np.hypot(1.0, miss / BOUNDED))


def _log(ratio: Real) -> FloatArray:
    return np.log(np.clip(np.asarray(ratio, dtype=np.float64), 1e-30, 1e30))


def rounding(quantity: str, value: float) -> float:
    """Return the relative deviation (uniform) of a printed figure from its last digit."""
    if quantity.endswith("current"):
        step = 1e-4  # sheets print 0.1 mA; service tables finer
        while step > 1e-8 and abs(value / step - round(value / step)) > 1e-6:
            step /= 10
    elif quantity == "mu":
        step = 1.0 if value == int(value) else 0.1
    else:
        step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return step / 2 / math.sqrt(3) / abs(value)


def _column(values: Sequence[float | None]) -> FloatArray:
    return np.array([math.nan if value is None else value for value in values], dtype=np.float64)


class Points:
    """Points of cards of one kind as arrays; wider: by how much more than its flag says each may be off."""

    def __init__(self, kind: str, points: Sequence[Point], wider: Sequence[float]) -> None:
        self.count = len(points)
        self.plate = _column([p.plate for p in points])
        self.screen = _column([p.plate if p.screen is None else p.screen for p in points])
        self._grid = _column([0.0 if p.grid is None else p.grid for p in points])
        self._at_resistor = [i for i, p in enumerate(points) if p.grid is None]
        self._ohm = _column([points[i].cathode_resistor for i in self._at_resistor])
        self.tied = np.array([p.as_ == "triode" and kind != "triode" for p in points], dtype=np.bool_)
        self.doubtful = np.array([p.flag == "memory-low" for p in points], dtype=np.bool_)
        self.factor = np.array([FLAG_FACTOR[p.flag] for p in points]) * np.asarray(wider, dtype=np.float64)
        self.printed = {name: _column([getattr(p, name) for p in points]) for name in _QUANTITIES}
        both = ~np.isnan(self.printed["gm"]) & ~np.isnan(self.printed["mu"])
        # beside both, a plate resistance is their quotient and tells nothing new
        self.fed = {**self.printed, "rp": np.where(both, math.nan, self.printed["rp"])}
        self.rp_min = _column([p.rp_min for p in points])
        self.screen_most = _column([p.screen_current_max for p in points])
        self._rounding = {
            name: _column([0.0 if math.isnan(v) else rounding(name, v) for v in column.tolist()])
            for name, column in self.printed.items()
        }
        as_triode = np.array([p.as_ == "triode" for p in points], dtype=np.bool_)
        self.rp_scatter = np.where(as_triode, SCATTER["rp"], SCATTER["rp_pentode"])
        self._grid_error = _column([p.grid_error or 0.0 for p in points])
        screen_errors = [(p.screen_error or 0.0) / (p.screen or math.inf) for p in points]
        self._screen_error = _column(screen_errors) / math.sqrt(3) * 1.5
        self._plate_error = _column([p.plate_error or 0.0 for p in points])
        self._current_error = _column([p.current_error or 0.0 for p in points])

    def volts(self, law: TubeLaw) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return (grid, plate, screen) volts from the cathode, self-bias solved for; shape (laws, points)."""
        shape = np.zeros_like(np.asarray(law.perveance))
        grid, plate, screen = self._grid + shape, self.plate + shape, self.screen + shape
        if self._at_resistor:
            some = self._at_resistor
            lift = rest_at_resistor(law, ohm=self._ohm, plate_v=self.plate[some], screen_v=self.screen[some])
            grid[..., some], plate[..., some], screen[..., some] = (
                -lift,
                self.plate[some] - lift,
                self.screen[some] - lift,
            )
        return grid, plate, screen

    def widths(self, signal: SmallSignal) -> dict[str, FloatArray]:
        """Return one deviation (relative) of each figure printed at the points about the law, by quantity."""
        cathode = np.maximum(signal.plate + signal.screen, 1e-15)
        slope = signal.conductance / np.maximum(signal.plate, 1e-15)
        volts = np.hypot(self._grid_error * signal.gk / cathode / math.sqrt(3), self._screen_error)
        volts = np.hypot(volts, self._plate_error / math.sqrt(3) * slope)
        extra = np.hypot(volts, self._current_error)
        rows: tuple[tuple[str, Real, FloatArray], ...] = (
            ("plate_current", SCATTER["plate_current"], extra),
            ("screen_current", SCATTER["screen_current"], extra),
            ("gm", SCATTER["gm"], volts),
            ("mu", SCATTER["mu"], 0.0 * volts),
            ("rp", self.rp_scatter, 0.0 * volts),
        )
        return {
            name: self.factor * np.hypot(np.hypot(scatter, self._rounding[name]), more)
            for name, scatter, more in rows
        }

    def misses(self, signal: SmallSignal) -> list[FloatArray]:
        """Return the residuals, each an array (laws, figures)."""
        widths = self.widths(signal)
        conducts = signal.conductance > 1e-12
        resistance = np.where(conducts, 1.0 / np.where(conducts, signal.conductance, 1.0), 1e12)
        model = {
            "plate_current": signal.plate, "screen_current": signal.screen, "gm": signal.gm, "mu": signal.mu,
            "rp": resistance,
        }  # fmt: skip
        out = []
        for name, printed in self.fed.items():
            if (here := ~np.isnan(printed)).any():
                miss = _log(model[name][..., here] / printed[here]) / widths[name][..., here]
                out.append(weighed(miss, self.doubtful[here]))
        if (here := ~np.isnan(self.rp_min)).any():
            below = np.maximum(_log(self.rp_min[here] / resistance[..., here]), 0.0)
            out.append(below / (self.factor * self.rp_scatter)[here])
        if (here := ~np.isnan(self.screen_most)).any():
            over = np.maximum(_log(signal.screen[..., here] / self.screen_most[here]), 0.0)
            out.append(over / (self.factor[here] * SCATTER["screen_current"]))
        return out


class Facts:
    """Printed cut-offs as arrays; each is looked at at its bias and at 1 % more of it."""

    def __init__(self, kind: str, facts: Sequence[Fact], wider: Sequence[float]) -> None:
        self.count = len(facts)
        bias = _column([f.grid for f in facts])
        self.grid = np.concatenate([bias, bias + _BIAS_STEP * np.abs(bias)])
        self.plate = np.tile(_column([f.plate for f in facts]), 2)
        self.screen = np.tile(_column([f.screen or f.plate for f in facts]), 2)
        self.tied = np.tile(
            np.array([f.as_ == "triode" and kind != "triode" for f in facts], dtype=np.bool_), 2
        )
        self._by_gm = np.array([f.gm is not None for f in facts], dtype=np.bool_)
        self._wanted = _column([f.plate_current if f.gm is None else f.gm for f in facts])
        self._width = (
            np.array([FLAG_FACTOR[f.flag] for f in facts]) * np.asarray(wider, np.float64) * BIAS_SCATTER
        )
        self._doubtful = np.array([f.flag == "memory-low" for f in facts], dtype=np.bool_)

    def misses(self, signal: SmallSignal) -> FloatArray:
        """Return misses of the bias: that of the quantity over its slope on log paper, no root to seek."""
        n = self.count
        value = np.asarray(np.where(np.tile(self._by_gm, 2), signal.gm, signal.plate), dtype=np.float64)
        here, near = _log(value[..., :n] / self._wanted), _log(value[..., n:] / self._wanted)
        slope = np.maximum((near - here) / _BIAS_STEP, 0.1)  # per unit of relative bias
        return weighed(here / slope / self._width, self._doubtful)


class Stages:
    """Rows of resistance-coupled charts as arrays."""

    def __init__(self, stages: Sequence[ResistanceStage], wider: Sequence[float]) -> None:
        self.count = len(stages)
        screens = [s.screen_resistor for s in stages if s.screen_resistor is not None]
        self._resistors = {
            "supply_v": np.array([s.supply for s in stages]),
            "plate_ohm": np.array([s.plate_resistor for s in stages]),
            "next_grid_ohm": np.array([s.next_grid for s in stages]),
            "cathode_ohm": np.array([s.cathode_resistor for s in stages]),
            "screen_ohm": np.array(screens) if screens else None,
        }
        self._gain = np.array([s.gain for s in stages])
        flags = np.array([FLAG_FACTOR[s.flag] for s in stages])
        self._width = np.asarray(wider, dtype=np.float64) * flags * GAIN_SCATTER
        self._doubtful = np.array([s.flag == "memory-low" for s in stages], dtype=np.bool_)

    def at_rest(self, law: TubeLaw, near: StageAtRest | None = None) -> StageAtRest:
        """Return rest and gain of every row under every law. Raises ValueError where one finds no rest."""
        return resistance_stage(law, **self._resistors, near=near)

    def misses(self, law: TubeLaw, near: StageAtRest | None) -> tuple[FloatArray, StageAtRest | None]:
        """Return the residuals, (laws, rows), and where the rows rest; the search goes out from `near`."""
        try:
            rest = self.at_rest(law, near)
        except ValueError:
            return np.full((np.size(law.perveance), self.count), _NO_REST), None
        return weighed(_log(rest.gain / self._gain) / self._width, self._doubtful), rest


@dataclass(frozen=True)
class Print:
    """All that a fit is fed of a card and its kin."""

    points: Points
    facts: Facts
    charts: tuple[Stages, ...]

    def signals(self, law: TubeLaw) -> SmallSignal:
        """Return the small-signal figures at all points and facts, each an array (laws, points and facts)."""
        grid, plate, screen = self.points.volts(law)
        level = np.zeros_like(np.asarray(law.perveance))
        facts = self.facts
        return small_signals(
            law,
            grid_v=np.concatenate([grid, facts.grid + level], axis=-1),
            plate_v=np.concatenate([plate, facts.plate + level], axis=-1),
            screen_v=np.concatenate([screen, facts.screen + level], axis=-1),
            triode_connected=np.concatenate([self.points.tied, facts.tied]),
        )

    def misses(
        self, law: TubeLaw, near: Sequence[StageAtRest | None] | None = None
    ) -> tuple[FloatArray, list[StageAtRest | None]]:
        """Return the residuals of every law, (laws, figures), and the rests of the charts under them."""
        signal = self.signals(law)
        n = self.points.count
        out = self.points.misses(_part(signal, slice(None, n)))
        if self.facts.count:
            out.append(self.facts.misses(_part(signal, slice(n, None))))
        rests: list[StageAtRest | None] = []
        for chart, start in zip(self.charts, near or [None] * len(self.charts), strict=True):
            missed, rest = chart.misses(law, start)
            out.append(missed)
            rests.append(rest)
        return np.concatenate(out, axis=-1), rests


def _part(signal: SmallSignal, where: slice) -> SmallSignal:
    values = {name: np.asarray(getattr(signal, name))[..., where] for name in signal.__dataclass_fields__}
    return SmallSignal(**cast("dict[str, Any]", values))


def print_of(card: TubeCard, kin: Sequence[TubeCard], leave_out: int | None = None) -> Print:
    """Return the print of a card, one point left out if asked, and of the types that are the same inside.

    Of kin without the plate resistance of pentodes, on which makers' sheets of one structure differ twofold.
    """
    points = [p for i, p in enumerate(card.points) if i != leave_out]
    wider = [1.0] * len(points)
    for other in kin:
        for point in other.points:
            loose = {} if point.as_ == "triode" else {"mu": None, "rp": None, "rp_min": None}
            points.append(point.model_copy(update=loose))
            wider.append(KIN)
    facts = [(f, KIN if one is not card else 1.0) for one in (card, *kin) for f in one.facts]
    charts = [(one.stages, KIN if one is not card else 1.0) for one in (card, *kin) if one.stages]
    return Print(
        Points(card.kind, points, wider),
        Facts(card.kind, [f for f, _ in facts], [w for _, w in facts]),
        tuple(Stages(rows, [w] * len(rows)) for rows, w in charts),
    )
