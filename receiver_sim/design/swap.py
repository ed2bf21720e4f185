"""Which of the tubes at hand does best in a socket of this build, and what does it take to use it?

It joins what several studies find about the same set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from receiver_sim.circuit.blocks.audio import audio_of, own_screen
from receiver_sim.circuit.factors import PRINT, drawn_cards, factors_of
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.design import swap_remedies
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, RatingLine, TubePoint
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import SCREEN, Onset
from receiver_sim.results.swap import (
    Adjustment,
    AudioCandidate,
    BandOutcome,
    Candidate,
    DetectionFigure,
    DetectorCandidate,
    Fitted,
    Fitting,
    OnsetRange,
)
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import amplitude, audio_gain, detection_figure, operating_point, signal_noise

NOTICEABLE_DEG = 1.0
"""Backlash in degrees of knob from which an onset counts as hard (common practice, no source)."""

ALIKE = 1.1
"""Detection figures count as alike within steps of this ratio: cards are no better known at low screen
volts."""


def tuned_to(build: Build, band: str, bench: Bench) -> Tuned:
    """Return the set of a build with one tube in the socket, tuned to the middle of the band of that name, on
    which the tubes are compared.
    """
    receiver = Receiver(build, bench)
    return receiver.at(next(one for one in receiver.build.bands if one.name == band))


def _point(one: Tuned, rotation: float) -> OperatingPoint:
    """Return the d.c. conditions with the control at `rotation`."""
    return operating_point.run(one, settings=[("working", rotation)])[0]


def biased(one: Tuned, socket: str) -> tuple[TubePoint, tuple[RatingLine, ...]]:
    """Return the d.c. conditions and the ratings of the tube in a socket, the control half way."""
    point = _point(one, 0.5)
    return _tube(point, socket), _ratings(point, socket)


def bands_of(one: Tuned) -> tuple[BandOutcome, ...]:
    """Return onset, softness and backlash on every band of a set."""
    out = []
    for band in one.build.bands:
        tuned = one.receiver.at(band)
        found = tuned.onset
        if found.status is not Status.OSCILLATES:
            out.append(BandOutcome(found, None, None, None, "; ".join(found.warnings) or found.status.value))
            continue
        swing = amplitude.run(tuned, time_runs=False)
        if swing.kind is None:
            note = "; ".join(swing.warnings) or f"envelope: {swing.status.value}"
            out.append(BandOutcome(found, None, None, None, note))
            continue
        jump = swing.jump
        volts, degrees = (0.0, 0.0) if jump is None else (jump.backlash, jump.backlash_deg)
        out.append(BandOutcome(found, swing.kind, volts, degrees, None))
    return tuple(out)


def detector(one: Tuned, *, fitting: Fitting, places: dict[str, float], in_place: bool) -> DetectorCandidate:
    """Return everything about one candidate, not yet ranked.

    places: rotation of the knob at onset with the tube in place, by band; bands without one bring no remedy.
    A simulation that fails is named in `failed`; nothing is guessed, and what was found before it stays.
    """
    card = one.cards.detector
    found = DetectorCandidate(
        tube=card.type, in_place=in_place, fitting=fitting, remote=card.cutoff == "remote"
    )
    try:
        found = replace(found, bands=bands_of(one))
        mine = next(o.onset for o in found.bands if o.onset.band == one.band.name)
        rotation = mine.working_rotation
        if rotation is None:  # the search failed: a setting would be a guess
            return replace(found, failed="; ".join(mine.warnings))
        point = _point(one, rotation)
        found = replace(
            found,
            working=point.setting,
            ratings=_ratings(point, "detector"),
            extrapolated=_tube(point, "detector").outside,
        )
        if mine.onset is not None:
            detection, tube = detection_figure.run(one, rotation=rotation)
            found = replace(found, detection=detection)
            noise = signal_noise.run(one, rotation=rotation, tube=tube)
            found = replace(found, noise=noise)
        if not in_place:
            found = replace(found, remedies=_remedies(one, bands=found.bands, places=places))
        found = replace(found, fitted=_fitted(one, found))
    except (EngineError, NoAnswer) as error:
        return replace(found, failed=str(error))
    return found


def _remedies(
    one: Tuned, *, bands: Sequence[BandOutcome], places: dict[str, float]
) -> tuple[Adjustment, ...]:
    out = []
    if one.band.name in places and one.build.regeneration.acts_on != "throttle":
        out.append(swap_remedies.top_resistor(one, rotation=places[one.band.name]))
    for outcome, band in zip(bands, one.build.bands, strict=True):
        if band.coil.tickler is None and band.name in places and outcome.onset.status is not Status.FAILED:
            out.append(swap_remedies.tap(one.receiver.at(band), rotation=places[band.name]))
    return tuple(out)


def _chosen(one: Tuned, remedies: Sequence[Adjustment]) -> list[Adjustment] | None:
    """Return the changes that are made: the taps that work, with that of the reference band, else the end
    resistor; None if neither brings its onset there.
    """
    taps = [m for m in remedies if m.works and m.key != "regeneration.top"]
    if any(m.band == one.band.name for m in taps):
        return taps
    top = [m for m in remedies if m.works and m.key == "regeneration.top"]
    return top or None


def _fitted(one: Tuned, found: DetectorCandidate) -> Fitted | None:
    """Return the set as it would be used: the tube in place as built, another after its changes."""
    chosen = [] if found.in_place else _chosen(one, found.remedies)
    if chosen is None:
        return None
    changed = one
    if chosen:
        keys: dict[str, str | float | None] = {m.key: m.after for m in chosen}
        changed = tuned_to(changed_build(one.build, keys), one.band.name, one.bench)
    mine = changed.onset
    rotation = mine.working_rotation
    if mine.onset is None or rotation is None:
        return None
    detection, _ = detection_figure.run(changed, rotation=rotation)
    low, high, reach = _spread(changed, rotation)
    with_onset = {o.onset.band for o in found.bands if o.onset.onset is not None}
    if chosen and chosen[0].key == "regeneration.top":
        bands = changed.build.bands
        with_onset = {b.name for b in bands if changed.receiver.at(b).onset.status is Status.OSCILLATES}
    else:
        with_onset |= {m.band for m in chosen if m.band is not None}
    changes = tuple((m.key, m.after) for m in chosen if m.after is not None)
    return Fitted(changes, mine, len(with_onset), detection, low, high, reach)


DRAWN = 8
"""Tubes of a type that are drawn for the range of its figures: enough for a spread to a quarter."""

_ENOUGH = 0.75
"""Share of the drawn tubes that must have an onset for a range of it."""

_EIGHTY = 1.2816
"""Deviations of a normal distribution within which eight of ten lie (tables)."""


def _spread(one: Tuned, rotation: float) -> tuple[float, float, OnsetRange]:
    """Return the detection figures that eight of ten tubes of the candidate's type lie within, and where they
    begin to oscillate.

    Log-normal and normal, from a few drawn tubes: what print leaves open, and the spread from tube to tube.
    """
    factors = [
        f for f in factors_of(one.build, one.build, one.cards)
        if f.key == "detector.tube" or (f.kind == PRINT and f.part == one.cards.detector.type)
    ]  # fmt: skip
    logs, onsets = [], []
    for row in draws(factors, seed=1, start=0, stop=DRAWN):
        cards = drawn_cards(one.build, one.cards, moved_by(factors, row))
        drawn = one.receiver.changed(one.build, cards).at(one.band, one.dial_hz)
        figure, _ = detection_figure.run(drawn, rotation=rotation)
        logs.append(math.log(max(figure.total_per_v, 1e-9)))
        onsets.append(drawn.onset)
    low, high = _eight_of_ten(logs)
    return math.exp(low), math.exp(high), _onset_range(onsets)


def _eight_of_ten(values: Sequence[float]) -> tuple[float, float]:
    middle, width = float(np.mean(values)), float(np.std(values, ddof=1))
    return middle - _EIGHTY * width, middle + _EIGHTY * width


def _onset_range(onsets: Sequence[Onset]) -> OnsetRange:
    """Return where eight of ten tubes begin, from those that were drawn."""
    there = [(o, o.onset) for o in onsets if o.onset is not None]
    quantity, unit = (there[0][1].quantity, there[0][1].unit) if there else (SCREEN, "V")
    blank = OnsetRange(len(onsets), len(there), quantity, unit)
    if len(there) < _ENOUGH * len(onsets):
        return blank
    knob = _eight_of_ten([at.rotation for _, at in there])
    figure = _eight_of_ten([at.figure for _, at in there])
    turns = [o.approach_deg for o, _ in there if o.approach_deg is not None]
    turn = _eight_of_ten(turns) if len(turns) >= _ENOUGH * len(onsets) else (None, None)
    return replace(
        blank,
        knob_low=max(knob[0], 0.0),
        knob_high=min(knob[1], 1.0),
        figure_low=max(figure[0], 0.0),
        figure_high=figure[1],
        approach_low_deg=None if turn[0] is None else max(turn[0], 0.0),
        approach_high_deg=turn[1],
    )


def _tube(point: OperatingPoint, socket: str) -> TubePoint:
    return next(tube for tube in point.tubes if tube.socket == socket)


def _ratings(point: OperatingPoint, socket: str) -> tuple[RatingLine, ...]:
    return tuple(line for line in point.ratings if line.part.startswith(f"{socket} "))


def rank_detectors(candidates: Sequence[DetectorCandidate]) -> tuple[DetectorCandidate, ...]:
    """Return the candidates best first, with rank and reasons.

    The set is looked at as it would be used, with the change that brings onset to the place of the tube in
    place. In this order: simulations that failed go last; bands without an onset; ratings exceeded; bands
    with noticeable backlash; then the larger detection figure leads. Figures within a step of ALIKE count as
    equal, and of equals the one that is easier to fit leads, the tube in place before its twins. Those whose
    ranges overlap with the first of them are marked alike.
    """
    ordered = sorted(candidates, key=_detector_key)
    reference = next((_used(c) for c in candidates if c.in_place), None)
    out: list[DetectorCandidate] = []
    leader: DetectorCandidate | None = None
    for i, c in enumerate(ordered, start=1):
        alike = leader is not None and _overlap(leader, c)
        leader = leader if alike else c
        out.append(replace(c, rank=i, alike=alike, reasons=_detector_reasons(c, reference)))
    return tuple(out)


def _used(c: DetectorCandidate) -> DetectionFigure | None:
    """Return the detection of the set as it would be used."""
    return c.detection if c.fitted is None else c.fitted.detection


def _overlap(one: DetectorCandidate, other: DetectorCandidate) -> bool:
    """Return whether two candidates differ by no more than their ranges, all that goes before them alike."""
    a, b = one.fitted, other.fitted
    if a is None or b is None or _detector_key(one)[:4] != _detector_key(other)[:4]:
        return False
    return a.detection_low_per_v <= b.detection_high_per_v and b.detection_low_per_v <= a.detection_high_per_v


def _detector_key(c: DetectorCandidate) -> tuple[bool, int, int, int, int, int, bool, float, str]:
    without = sum(o.onset.onset is None for o in c.bands)
    if c.fitted is not None:
        without = len(c.bands) - c.fitted.bands
    exceeded = sum(line.exceeded for line in c.ratings)
    used = _used(c)
    merit = 0.0 if used is None else used.total_per_v
    step = round(math.log(max(merit, 1e-6)) / math.log(ALIKE))
    faults = (c.failed is not None, without, exceeded, _hard(c))
    return (*faults, -step, effort(c.fitting), not c.in_place, -merit, c.tube)


def effort(fitting: Fitting) -> int:
    """Return how many things of a socket change: heater supply, base or wiring."""
    return int(not fitting.heater_fits) + 2 * int(fitting.other_base) + int(bool(fitting.pins))


def _hard(c: DetectorCandidate) -> int:
    return sum(o.backlash_deg is not None and o.backlash_deg > NOTICEABLE_DEG for o in c.bands)


_STATES = {
    Status.DOES_NOT: "does not oscillate",
    Status.NOT_IN_RANGE: "oscillates at the lowest setting already",
    Status.FAILED: "no answer",
}


def _detector_reasons(c: DetectorCandidate, reference: DetectionFigure | None) -> tuple[str, ...]:
    if c.failed is not None:
        return (f"the simulation failed: {c.failed}",)
    total = len(c.bands)
    lacking = [o for o in c.bands if o.onset.onset is None]
    out = []
    if not lacking:
        out.append(f"oscillates on all {total} bands")
    for status in (Status.DOES_NOT, Status.NOT_IN_RANGE, Status.FAILED):
        names = [o.onset.band for o in lacking if o.onset.status is status]
        if names:
            where = "any band" if len(names) == total else ", ".join(names)
            out.append(f"{_STATES[status]} on {where}")
    cured = {m.band for m in c.remedies if m.works and m.key.endswith("tap")}
    if lacking and all(o.onset.band in cured for o in lacking):
        out.append("with other taps it does")
    out += over_ratings(c) or (["ratings kept"] if c.ratings else [])
    hard = [o.onset.band for o in c.bands if (o.backlash_deg or 0.0) > NOTICEABLE_DEG]
    if hard:
        out.append(f"hard onset on {', '.join(hard)}")
    elif any(o.kind is not None for o in c.bands):
        unseen = [o.onset.band for o in c.bands if o.kind is None and o.onset.onset is not None]
        jumps = [o.onset.band for o in c.bands if o.kind is not None and o.kind is not OnsetKind.SOFT]
        word = "soft onset" if not jumps else f"backlash below {NOTICEABLE_DEG:g} degree of knob"
        out.append(word if not unseen else f"{word}, not known on {', '.join(unseen)}")
    used = _used(c)
    if used is not None and reference is not None and not c.in_place:
        out.append(f"detects {used.total_per_v / reference.total_per_v:.2f} times the tube in place")
    if c.remote and used is not None and used.grid_per_v > 0.0:
        out.append(_remote(used, None if c.in_place else reference))
    return tuple(out)


def _remote(used: DetectionFigure, reference: DetectionFigure | None) -> str:
    """Say what the long tail of a remote cut-off type costs: its plate's bend works against the grid's."""
    lost = used.plate_per_v / used.grid_per_v
    words = f"remote cut-off: the bend of its plate current takes back {100.0 * lost:.0f} % of the detection"
    if reference is None or reference.grid_per_v <= 0.0:
        return words
    theirs = reference.plate_per_v / reference.grid_per_v
    if lost < 1.25 * theirs:
        return f"{words}, no more than in the tube in place ({100.0 * theirs:.0f} %)"
    return f"{words}, {100.0 * theirs:.0f} % in the tube in place"


def audio_current(one: Tuned) -> float:
    """Return the plate current (A) of the audio tube."""
    return biased(one, "audio")[0].plate_a


def _noise_ohm(one: Tuned, tube: TubePoint) -> float:
    """Return the equivalent noise resistance (ohm) of the audio tube at a point."""
    card = one.cards.of("audio")
    tied = card.kind != "triode" and not own_screen(audio_of(one.build), card)
    return audio_gain.noise_resistance(card, one.bench, point=tube, tied=tied)


def audio(one: Tuned, *, fitting: Fitting, plate_a: float | None, tied: bool) -> AudioCandidate:
    """Return everything about one audio candidate, not yet ranked; plate_a: that of the tube in place.

    plate_a None stands for the tube in place itself.
    """
    found = AudioCandidate(
        tube=one.cards.of("audio").type, in_place=plate_a is None, fitting=fitting, tied=tied
    )
    try:
        tube, ratings = biased(one, "audio")
        found = replace(
            found,
            plate_a=tube.plate_a,
            cathode_v=tube.cathode_v,
            ratings=ratings,
            extrapolated=tube.outside,
        )
        gain = audio_gain.run(one)
        found = replace(found, gain=gain)
        found = replace(found, noise_ohm=_noise_ohm(one, tube))
        if plate_a is not None:
            remedy = swap_remedies.cathode_resistor(one, plate_a=plate_a)
            found = replace(found, remedies=() if remedy is None else (remedy,))
    except (EngineError, NoAnswer) as error:
        return replace(found, failed=str(error))
    return found


def over_ratings(c: Candidate) -> list[str]:
    """Say of each rating that a tube exceeds by how much."""
    return [f"{k.quantity} {k.value / k.limit:.2f} of the rating" for k in c.ratings if k.exceeded]


def rank_audio(candidates: Sequence[AudioCandidate]) -> tuple[AudioCandidate, ...]:
    """Return the candidates best first: no failed simulation, ratings kept, then the larger gain."""

    def key(c: AudioCandidate) -> tuple[bool, int, float, str]:
        return (c.failed is not None, sum(line.exceeded for line in c.ratings), -(c.gain or 0.0), c.tube)

    reference = next((c.gain for c in candidates if c.in_place), None)
    out = []
    for i, c in enumerate(sorted(candidates, key=key), start=1):
        if c.failed is not None:
            reasons: tuple[str, ...] = (f"the simulation failed: {c.failed}",)
        else:
            reasons = tuple(over_ratings(c)) or ("within its ratings",)
            if reference and c.gain is not None and not c.in_place:
                reasons = (*reasons, f"gain {c.gain / reference:.2f} times the tube in place")
        out.append(replace(c, rank=i, reasons=reasons))
    return tuple(out)
