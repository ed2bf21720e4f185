"""How many sets in a hundred will be as the build says, and which part decides?"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from receiver_sim.api._asked import Answers, family, known
from receiver_sim.api._sets import Kept, Progress, Row, processes_held, run_asked, run_sets
from receiver_sim.builds import bands_named, opened
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.factors import Factor, factors_of, unmeasured
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import SetPlan, Start, draws, plan_sets
from receiver_sim.engine import Bench, EngineFailed
from receiver_sim.errors import UnknownName, WrongValue
from receiver_sim.judge import verdicts
from receiver_sim.measure.loaded import hard_volts
from receiver_sim.receiver import Receiver
from receiver_sim.results.bands import BandReport, Grade
from receiver_sim.results.base import Status
from receiver_sim.results.onset import SCREEN, ControlSetting, Onset
from receiver_sim.results.spread import BandSpread, Held, SetOnset, Sets, Share, Spread
from receiver_sim.schema import Band, Build
from receiver_sim.studies import spread
from receiver_sim.studies.drawn_sets import look_at_bands, look_at_set, with_gains

RULES = ("onset", "onset_rotation", "onset_screen", "approach_min")
"""Rules that are judged in every set: at the middle of each band's dial; that of the screen only where the
control sets its volts.
"""

WHOLE = "the whole set"

MOST = 1_000_000

NOTES = (
    "Each set has its own parts, tubes and mains, drawn from what the build states or from the class of the "
    "part; its onset was found on the circuit by ngspice, at the middle of each band.",
    "A verdict holds in a set that is judged 'good' by the thresholds of the build. The interval holds the "
    "share of all such sets with 95 % confidence (Wilson 1927).",
    "Shares of variance: what a part brings by itself to the scatter of the onset on the knob (random "
    "balance design, or below 200 sets a linear estimate from one part moved at a time); what is missing to "
    "100 % comes of parts together and of the method's own error of some per cent.",
    "What print leaves open of a tube type is common to all sets of it: measuring a tube narrows it, "
    "choosing another of the same type does not.",
)


def plan_for(
    build: Build,
    bench: Bench,
    *,
    bands: Sequence[str] | None = None,
    seed: int = 1,
    measured: Sequence[str] = (),
    given: Build | None = None,
) -> SetPlan:
    """Return the plan of the sets of a build.

    measured: keys that count as measured besides what the build says; given: whose statements on spread
    count, the build itself if None. Raises BuildFaults, UnknownName, EngineError.
    """
    receiver = Receiver(build, bench)
    settled, cards = receiver.build, receiver.cards
    factors = factors_of(build if given is None else given, settled, cards, measured=measured)
    _known(measured, factors)
    chosen = [
        settled.bands[[b.name for b in settled.bands].index(one.name)] for one in bands_named(build, bands)
    ]

    def start(_: Bench, band: Band) -> Start:
        return start_of(settled, cards, band, receiver.at(band).onset)

    starts = bench.map(start, chosen)
    rest = rest_of(receiver, chosen, starts)
    plan = plan_sets(settled, cards, factors, bands=chosen, starts=starts, seed=seed, rest=rest)
    return with_gains(bench, plan)


def _known(measured: Sequence[str], factors: Sequence[Factor]) -> None:
    keys = {f.key for f in factors if f.key}
    for key in measured:
        if key not in keys:
            some = ", ".join(sorted(k for k in keys if not k.startswith("bands["))[:12])
            raise UnknownName(f"'{key}' is no part whose spread counts; there are {some}, ...")


def start_of(build: Build, cards: Cards, band: Band, found: Onset) -> Start:
    """Return where the search in the sets begins, from the onset of the build as stated."""
    if found.onset is None:
        return Start(None, 1.0, found.tuning_farad)
    dial = band.middle_hz
    control = receiver_circuit(build, cards, band=band, dial_hz=dial, rotation=0.5).control
    share = control.share(found.onset.rotation)
    near = found.at_nine_tenths
    slope = 0.1 / (share - control.share(near.rotation)) if near is not None else 2.0
    return Start(share, slope, found.tuning_farad)


def rest_of(receiver: Receiver, bands: Sequence[Band], starts: Sequence[Start]) -> dict[str, float] | None:
    """Return `hard_volts` of the build as stated, at the first onset there is, else half way: what Newton's
    method does not find there it wouldn't in any of the sets. None where there is no solution.
    """
    band, share = next(((b, s.share) for b, s in zip(bands, starts, strict=True) if s.share), (bands[0], 0.5))
    circuit = receiver_circuit(
        receiver.build, receiver.cards, band=band, dial_hz=band.middle_hz, rotation=0.5
    )
    try:
        return hard_volts(receiver.bench, circuit, share=0.5 if share is None else share)
    except EngineFailed:
        return None


def spread_of_sets(
    build: Build,
    *,
    sets: int = 1000,
    bands: Sequence[str] | None = None,
    measured: Sequence[str] = (),
    asked: Sequence[str] = (),
    seed: int = 1,
    workers: int = 2,
    time_limit_s: float = 60.0,
    cluster: str | None = None,
    kept: Path | None = None,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> Spread:
    """Draw sets of a build and count in how many each verdict holds, and which part decides.

    measured: keys of parts that are measured, for the second column; without any the part that is worth
    selecting is taken. asked: further verdicts of `check` that are judged in every set, which takes a good
    part of a check for each. kept: file in which what is done is kept, so that a run that was stopped goes
    on. Raises BuildFaults, UnknownName, WrongValue, UserError, OutputFailed, EngineError.
    """
    if not 1 <= sets <= MOST:
        raise WrongValue(f"sets: a number from 1 to {MOST} is expected, not {sets}")
    began = time.monotonic()
    further = [rule for rule in known(asked) if rule not in RULES]
    bare = unmeasured(build)
    with opened(bench) as open_bench, processes_held():
        first = plan_for(build, open_bench, bands=bands, seed=seed, given=bare)
        store = Kept(kept)

        def run(plan: SetPlan, what: str) -> list[Row]:
            return run_sets(plan, count=sets, workers=workers, kept=store, time_limit_s=time_limit_s,
                            cluster=cluster, progress=progress, what=what)  # fmt: skip

        def judged(plan: SetPlan) -> list[Answers]:
            if not further:
                return []
            return run_asked(build, plan, further, count=sets, workers=workers, kept=store,
                             time_limit_s=time_limit_s, cluster=cluster, progress=progress)  # fmt: skip

        rows = run(first, "sets")
        before = summary("before building", (), build, first, rows, judged(first))
        shares = _shares(open_bench, first, rows)
        worth = spread.worth_selecting(shares, first.factors)
        stated = [f.key for f in factors_of(build, first.build, first.cards) if f.origin == "measured"]
        after_keys = list(dict.fromkeys([*stated, *measured])) or ([worth] if worth else [])
        after = None
        if after_keys:
            second = _again(first, build, measured=after_keys)
            after = summary(
                "after measuring these", tuple(after_keys), build, second, run(second, "measured")
            )
    store.done()
    word = next((s.word for s in shares if s.key == worth), None)
    gain = after.whole.share - before.whole.share if after is not None and after_keys == [worth] else None
    return Spread(
        build.title, sets, seed, before, after, shares, worth, word, gain, NOTES, time.monotonic() - began
    )


def _again(plan: SetPlan, build: Build, *, measured: Sequence[str]) -> SetPlan:
    """Return the plan of the same sets with some parts measured: what each value does is as it was."""
    factors = factors_of(build, plan.build, plan.cards, measured=measured)
    _known(measured, factors)
    return dataclasses.replace(plan, factors=factors)


def summary(
    label: str,
    measured: tuple[str, ...],
    build: Build,
    plan: SetPlan,
    rows: Sequence[Row],
    judged: Sequence[Answers] = (),
) -> Sets:
    """Return what the sets of a plan come to: verdicts held and onsets of each band.

    judged: what each set comes to in verdicts that were asked besides; what a set gives no verdict on does
    not hold in it.
    """
    holds: dict[tuple[str, str], list[bool]] = {}
    bands: list[BandSpread] = []
    sets = plan.maps[0].circuit.control.sets
    rules = [rule for rule in RULES if rule != "onset_screen" or sets["quantity"] == SCREEN]
    for index, band in enumerate(plan.bands):
        column = [row[index] for row in rows]
        bands.append(spread.band_spread(band.name, column, **sets))
        for rule in rules:
            holds[band.name, rule] = []
        for one in column:
            good = good_rules(one, band, build, sets)
            for rule in rules:
                holds[band.name, rule].append(rule in good)
    for subject, rule in dict.fromkeys((s, r) for answers in judged for s, r, _ in answers):
        holds[subject, rule] = [(subject, rule, True) in answers for answers in judged]
    table = [spread.held(subject, rule, sum(each), len(each)) for (subject, rule), each in holds.items()]
    whole: Held = spread.held(WHOLE, "all", spread.all_held(holds), len(rows))
    return Sets(label, measured, (*table, whole), tuple(bands))


def good_rules(found: SetOnset, band: Band, build: Build, sets: Mapping[str, str]) -> set[str]:
    """Return which of `RULES` a set meets on a band, by the rules that judge a build.

    sets: quantity and unit of what the control sets.
    """
    judged = verdicts.judge_bands([_report(found, band, sets)], build.verdicts)
    bad = {family(v.rule) for v in judged if v.grade is not Grade.GOOD}
    return {family(v.rule) for v in judged} - bad


def _report(found: SetOnset, band: Band, sets: Mapping[str, str]) -> BandReport:
    at = None
    if found.rotation is not None and found.figure is not None:
        at = ControlSetting.of(found.rotation, found.figure, **sets)
    one = Onset(
        band=band.name, dial_hz=band.middle_hz, status=found.status, onset=at,
        oscillation_hz=found.oscillation_hz, slope_per_v=None,
        approach_v=found.approach if sets["unit"] == "V" else None,
        approach_deg=found.approach_deg, at_nine_tenths=None, gain_lowest=None, gain_highest=None,
        stops_at=None, tuning_farad=None, evaluations=0,
    )  # fmt: skip
    return BandReport(band.name, (one,), None, (), None)


def _shares(bench: Bench, plan: SetPlan, rows: Sequence[Row]) -> tuple[Share, ...]:
    moves = effects(bench, plan)
    drawn = draws(plan.factors, seed=plan.seed, start=0, stop=len(rows))
    out: list[Share] = []
    for index, band in enumerate(plan.bands):
        column = [row[index] for row in rows]
        own = [move[index] for move in moves]
        out += spread.variance_shares(band.name, plan.factors, drawn, column, own)
    return tuple(out)


def effects(
    bench: Bench, plan: SetPlan, *, quick: bool = False, bands: Sequence[int] | None = None
) -> list[list[float | None]]:
    """Return by how much the onset on the knob (0..1) moves for one standard deviation of each factor.

    A row a factor, a column a band (0 for those that `bands` leaves out); None where the set has no onset.
    One part is moved at a time, to the side to which its onset comes to lie on the control. quick: the audio
    part, which draws on the supply alone, is taken to bring nothing, and what brings less than a hundredth of
    the variance on the first and the last band is taken to bring none on those between.
    """
    middle = look_at_set(bench, plan, {})
    every = sorted(range(len(plan.bands)) if bands is None else bands)

    def moved(b: Bench, job: tuple[Factor, Sequence[int]]) -> dict[int, float | None]:
        factor, wanted = job
        wanted = [i for i in wanted if factor.band in ("", plan.bands[i].name) and plan.acts(factor, quick)]
        out: dict[int, float | None] = {}
        for sense, step in zip((1.0, -1.0), spread.one_deviation(factor), strict=True):
            if not (step and wanted):
                continue
            found = look_at_bands(b, plan, {factor.name: step}, wanted, approach=False)
            out |= {i: _moved(found[i], middle[i], sense) for i in wanted}
            wanted = [i for i in wanted if out[i] is None]
        return out

    there = [i for i in every if middle[i].rotation is not None] or every[:1]
    ends = sorted({there[0], there[-1]})
    found = bench.map(moved, [(f, ends if quick and not f.band else every) for f in plan.factors])
    if quick:
        rest = [i for i in every if i not in ends]
        large = [n for n, f in enumerate(plan.factors) if not f.band and _counts(found, n, ends)]
        for n, row in zip(large, bench.map(moved, [(plan.factors[n], rest) for n in large]), strict=True):
            found[n] |= row
    return [[row.get(i, 0.0) for i in range(len(plan.bands))] for row in found]


def _counts(found: Sequence[dict[int, float | None]], number: int, bands: Sequence[int]) -> bool:
    """Return whether a factor brings a hundredth of the variance on one of some bands, or ends the onset."""
    for band in bands:
        moves = [row.get(band, 0.0) for row in found]
        own = moves[number]
        if own is None or own * own > 10.0 * spread.LEAST * sum(m * m for m in moves if m is not None):
            return own != 0.0
    return False


def _moved(found: SetOnset, middle: SetOnset, sense: float) -> float | None:
    if found.rotation is None or middle.rotation is None:
        return None
    return sense * (found.rotation - middle.rotation)


__all__ = ["RULES", "WHOLE", "Status", "plan_for", "spread_of_sets", "summary"]
