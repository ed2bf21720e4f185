"""How sure are the answers of `check`: a hundred sets of the build, drawn from its tolerances."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from receiver_sim.api._sets import Row
from receiver_sim.api._spread import WHOLE, effects, rest_of, start_of, summary
from receiver_sim.circuit.factors import drawn, factors_of
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import SetPlan, draws, moved_by, plan_sets
from receiver_sim.engine import Bench, EngineError, NoSolution
from receiver_sim.errors import NoAnswer
from receiver_sim.judge import verdicts
from receiver_sim.measure.loaded import Loaded
from receiver_sim.receiver import Receiver
from receiver_sim.results.bands import BandReport, Grade
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.results.spread import Held, SetOnset, Share
from receiver_sim.results.sure import FigureRange, HowSure, StrengthRange
from receiver_sim.schema import Build
from receiver_sim.studies import amplitude, operating_point, spread
from receiver_sim.studies.drawn_sets import look_at_bands, tuning_of, with_gains
from receiver_sim.studies.set_figures import SetFigures, figures_of_set
from receiver_sim.working import Setting

SETS = 100
SEED = 1

STRENGTHS = 10
"""Sets of which backlash and strength are looked at: from the lowest to the highest of ten lie on average
9/11 of all (the distribution of the range: Wilks 1941, from memory), eight of ten as in the other ranges."""

USUAL_REACH_V = 3.0
"""Amplitude with which a sweep ends at first on a band where the build as stated has none."""

DECIDING = 3
"""Parts named for each band."""

NOTE = (
    "A set has its own parts, tubes and mains: as the build states them ('100 pF +-5 %', 'measured'), else "
    "by the class of the part (common practice), new tubes by acceptance limits, and what print leaves open "
    "of each type. With a hundred sets a share is known to within about ten of a hundred: "
    "`receiver-sim spread` draws more."
)
_NOT_VARIED = (
    "howl, which depends more on the layout than on the spread of parts (its margin is the stray capacitance "
    "with which it would begin), and what is heard, which would need a run over time for each set; they are "
    "those of the build as stated."
)
LOOKED_AT = (
    "Backlash and strength are those of ten of the sets, from the lowest to the highest, between which eight "
    f"of ten sets lie on average. Not varied: {_NOT_VARIED}"
)
NOT_LOOKED_AT = (
    f"Not varied: backlash and strength (with a capacitor as control they take too long), {_NOT_VARIED}"
)

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Drawing:
    """The sets that are to be drawn of a build, and what the build as stated comes to beside them.

    setting: at which meter, gain and hum are looked at, None for none; share: of the control's travel there.
    """

    plan: SetPlan
    setting: Setting | None
    share: float | None
    figures: SetFigures | None

    def look(self, bench: Bench, by: dict[str, float]) -> tuple[tuple[SetOnset, ...], SetFigures | None]:
        """Return the onsets of a set, by band, and its figures at the setting."""
        read: list[SetFigures] = []

        def also(on: Loaded) -> None:
            if self.share is not None:
                read.append(figures_of_set(on, self.plan, by, share=self.share))

        found = look_at_bands(bench, self.plan, by, range(len(self.plan.bands)), also=also)
        return tuple(found[i] for i in range(len(self.plan.bands))), read[0] if read else None


def drawing_of(
    receiver: Receiver,
    *,
    reports: Sequence[BandReport],
    setting: Setting | None,
) -> Drawing:
    """Return what is to be drawn; reports: of the bands.

    Raises EngineError where the build as stated finds no solution on any band.
    """
    build, cards = receiver.build, receiver.cards
    factors = factors_of(receiver.given, build, cards)
    starts = [start_of(build, cards, band, r.middle) for band, r in zip(build.bands, reports, strict=True)]
    rest = rest_of(receiver, build.bands, starts)
    plan = plan_sets(build, cards, factors, bands=build.bands, starts=starts, seed=SEED, rest=rest)
    share = None if setting is None else plan.maps[0].circuit.control.share(setting.rotation)
    bands, stated = Drawing(plan, setting, share, None).look(receiver.bench, {})
    if all(found.status is Status.FAILED for found in bands):
        # each of a hundred sets would fail likewise, each after the whole time limit perhaps
        raise EngineError("the set as stated found no solution on any band, so no others were drawn")
    return Drawing(with_gains(receiver.bench, plan), setting, share, stated)


def how_sure(
    drawing: Drawing, bench: Bench, *, strengths: Sequence[BandOscillation], progress: Progress
) -> HowSure:
    """Return what a hundred sets say; strengths: how oscillation comes in in the build as stated."""
    plan, stated, setting = drawing.plan, drawing.figures, drawing.setting
    build, cards, factors = plan.build, plan.cards, plan.factors
    rows = draws(factors, seed=SEED, start=0, stop=SETS)
    moved = [moved_by(factors, row) for row in rows]
    seen = bench.map(drawing.look, moved, lambda done, total: progress("sets", done, total))
    table_rows = [row for row, _ in seen]
    table = summary("", (), build, plan, table_rows)
    moves = effects(bench, plan, quick=True)
    deciding: list[Share] = []
    for index, b in enumerate(plan.bands):
        own = [move[index] for move in moves]
        deciding += spread.variance_shares(b.name, factors, rows[:0], [], own)[:DECIDING]
    figures = [f for _, f in seen if f is not None]
    held: list[Held] = list(table.held[:-1])
    ranges: tuple[FigureRange, ...] = ()
    if stated is not None and figures and setting is not None:
        points = [_point(f, build, cards, setting) for f in (stated, *figures)]
        held += _ratings(points[1:])
        ranges = _ranges(build, [stated, *figures], points)
    # a sweep of amplitudes takes the tank as given, which a throttle moves: none would be found
    looked = 0 if plan.maps[0].circuit.control.on_tank else min(STRENGTHS, SETS)
    maps = {one.oscillation.band: one.oscillation.amplitudes for one in strengths}
    reach = {band: float(found.amplitude_v[-1]) for band, found in maps.items() if found is not None}
    strong = _strengths(bench, plan, moved[:looked], table_rows[:looked], reach, progress) if looked else ()
    notes = (NOTE, LOOKED_AT if looked else NOT_LOOKED_AT)
    return HowSure(
        SETS, SEED, (*held, table.whole), table.bands, tuple(deciding), ranges, notes, strong, looked
    )


def _strengths(
    bench: Bench,
    plan: SetPlan,
    moved: Sequence[dict[str, float]],
    rows: Sequence[Row],
    reach: Mapping[str, float],
    progress: Progress,
) -> tuple[StrengthRange, ...]:
    """Return how oscillation comes in on each band over some sets; a set whose simulation fails is none.

    rows: the onsets of the sets on each band; reach: amplitude (V) at the top in the build as stated.
    """
    sets = [drawn(plan.build, plan.cards, plan.factors, by) for by in moved]
    jobs = [(*one, row, index) for one, row in zip(sets, rows, strict=True) for index in range(len(row))]

    def look(b: Bench, job: tuple[Build, Cards, Row, int]) -> tuple[bool, amplitude.InShort | None]:
        build, cards, row, index = job
        stated, start, rotation = plan.bands[index], plan.starts[index], row[index].rotation
        band = next(one for one in build.bands if one.name == stated.name)
        tuning = tuning_of(start, stated, band.coil.inductance)
        if rotation is None or tuning is None:
            return rotation is not None, None
        try:
            found = amplitude.in_short(
                Receiver(build, b, cards=cards).at(band), tuning=tuning, rotation=rotation,
                reach_v=reach.get(band.name, USUAL_REACH_V),
            )  # fmt: skip
        except (NoSolution, NoAnswer):
            return True, None
        return True, found

    found = bench.map(look, jobs, lambda done, total: progress("strength in sets", done, total))
    return tuple(_strength(band.name, found[i :: len(plan.bands)]) for i, band in enumerate(plan.bands))


def _strength(band: str, looked: Sequence[tuple[bool, amplitude.InShort | None]]) -> StrengthRange:
    onsets, found = sum(onset for onset, _ in looked), [one for _, one in looked if one is not None]
    if not found:
        return StrengthRange(band, onsets, 0, 0, None, None, None, None)
    top, back = zip(*found, strict=True)
    ends = min(top), max(top), min(back), max(back)
    return StrengthRange(band, onsets, len(found), back.count(0.0), *ends)


def _point(found: SetFigures, build: Build, cards: Cards, setting: Setting) -> OperatingPoint:
    return operating_point.reduce(
        dict(found.volts), found.circuit, build, cards, label="working", rotation=setting.rotation
    )


def _ratings(points: Sequence[OperatingPoint]) -> list[Held]:
    """Return in how many sets each rating is kept, those alone that not all of them keep."""
    kept: dict[str, list[bool]] = {}
    for point in points:
        good: dict[str, bool] = {}
        for verdict in verdicts.judge_bias([point]):
            good[verdict.subject] = good.get(verdict.subject, True) and verdict.grade is Grade.GOOD
        for part, holds in good.items():
            kept.setdefault(part, []).append(holds)
    return [spread.held(part, "rating", sum(each), len(each)) for part, each in kept.items() if not all(each)]


def _ranges(
    build: Build, figures: Sequence[SetFigures], points: Sequence[OperatingPoint]
) -> tuple[FigureRange, ...]:
    """Return the ranges of meter readings, gain and hum; the first of each is the build as stated."""
    columns: list[tuple[str, str, list[float | None]]] = []
    for place, tubes in enumerate(zip(*(p.tubes for p in points), strict=True)):
        socket = points[0].tubes[place].socket
        for what in ("plate_a", "screen_a"):
            words = f"{what.partition('_')[0]} current of the {socket} tube"
            columns.append((words, "A", [getattr(tube, what) for tube in tubes]))
    for words in points[0].volts:
        columns.append((words, "V", [p.volts.get(words) for p in points]))
    for index, phone in enumerate(build.phones):
        columns.append((f"gain to {phone.name}", "1", [f.gain[index] for f in figures]))
        if figures[0].hum_here_v:
            columns.append((f"heater hum at {phone.name}", "V", [f.hum_here_v[index] for f in figures]))
            columns.append(
                (
                    f"heater hum left at the pot's null, {phone.name}",
                    "V",
                    [f.hum_best_v[index] for f in figures],
                )
            )
            columns.append(
                (f"hum pot at that null, {phone.name}", "1", [f.hum_position[index] for f in figures])
            )
    out = []
    for words, unit, values in columns:
        if values[0] is None or any(v is None for v in values):
            continue
        low, high = np.percentile(np.array(values[1:], dtype=float), [spread.LOW, spread.HIGH])
        out.append(FigureRange(words, unit, float(values[0]), float(low), float(high)))
    return tuple(out)


__all__ = ["SETS", "WHOLE", "drawing_of", "how_sure"]
