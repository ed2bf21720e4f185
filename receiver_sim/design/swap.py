"""Which of the tubes at hand does best in a socket of this build, and what does it take to use it?

It joins what several studies find about the same set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from receiver_sim.circuit.blocks.audio import audio_of, own_screen
from receiver_sim.circuit.registry import Cards
from receiver_sim.design import swap_remedies
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import onset
from receiver_sim.receiver import cards_for, dial_frequencies, settle
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, RatingLine, TubePoint
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import Onset
from receiver_sim.results.swap import (
    AudioCandidate,
    BandOutcome,
    DetectionFigure,
    DetectorCandidate,
    Fitting,
    Remedy,
)
from receiver_sim.schema import Band, Build
from receiver_sim.studies import amplitude, audio_gain, detection_figure, operating_point, signal_noise

NOTICEABLE_DEG = 1.0
"""Backlash in degrees of knob from which an onset counts as hard (common practice, no source)."""

ALIKE = 1.1
"""Detection figures are told apart in steps of this ratio: cards are no better known at low screen volts."""


def middle(band: Band) -> float:
    """Return the middle of a band (Hz)."""
    return dial_frequencies(band)[1]


@dataclass(frozen=True)
class Set:
    """A build with one tube in the socket, its cards, and the band the tubes are compared on."""

    build: Build
    cards: Cards
    band: Band

    @classmethod
    def of(cls, build: Build, band: str, bench: Bench) -> Set:
        """Return the set of a build, its supply settled, compared on the band of that name."""
        settled = settle(build, bench)
        return cls(settled, cards_for(settled), next(one for one in settled.bands if one.name == band))

    @property
    def middle_hz(self) -> float:
        """The middle of the band the tubes are compared on."""
        return middle(self.band)

    def point(self, bench: Bench, rotation: float) -> OperatingPoint:
        """Return the d.c. conditions with the control at `rotation`."""
        return operating_point.run(
            self.build, self.cards, bench, band=self.band, dial_hz=self.middle_hz,
            settings=[("working", rotation)],
        )[0]  # fmt: skip

    def onset(self, bench: Bench, band: Band) -> Onset:
        """Search the onset in the middle of one of the set's bands."""
        return onset.run(self.build, self.cards, bench, band=band, dial_hz=middle(band))


def bands_of(one: Set, bench: Bench) -> tuple[BandOutcome, ...]:
    """Return onset, softness and backlash on every band of a set."""
    out = []
    for band in one.build.bands:
        found = one.onset(bench, band)
        if found.status is not Status.OSCILLATES:
            out.append(BandOutcome(found, None, None, None, "; ".join(found.warnings) or found.status.value))
            continue
        swing = amplitude.run(one.build, one.cards, bench, band=band, onset=found, time_runs=False)
        if swing.kind is None:
            note = "; ".join(swing.warnings) or f"envelope: {swing.status.value}"
            out.append(BandOutcome(found, None, None, None, note))
            continue
        jump = swing.jump
        volts, degrees = (0.0, 0.0) if jump is None else (jump.backlash, jump.backlash_deg)
        out.append(BandOutcome(found, swing.kind, volts, degrees, None))
    return tuple(out)


def detector(
    one: Set, bench: Bench, *, fitting: Fitting, places: dict[str, float], in_place: bool
) -> DetectorCandidate:
    """Return everything about one candidate, not yet ranked.

    places: rotation of the knob at onset with the tube in place, by band; bands without one bring no remedy.
    A simulation that fails is told in `failed`; nothing is guessed, and what was found before it stays.
    """
    found = DetectorCandidate(tube=one.cards.detector.type, in_place=in_place, fitting=fitting)
    try:
        found = replace(found, bands=bands_of(one, bench))
        mine = next(o.onset for o in found.bands if o.onset.band == one.band.name)
        rotation = mine.working_rotation
        if rotation is None:  # the search failed: a setting would be a guess
            return replace(found, failed="; ".join(mine.warnings))
        point = one.point(bench, rotation)
        found = replace(
            found,
            working=point.setting,
            ratings=_ratings(point, "detector"),
            extrapolated=_tube(point, "detector").outside,
        )
        if mine.onset is not None:
            where: dict[str, Any] = {"band": one.band, "rotation": rotation}
            detection, tube = detection_figure.run(one.build, one.cards, bench, dial_hz=mine.dial_hz, **where)
            found = replace(found, detection=detection)
            noise = signal_noise.run(one.build, one.cards, bench, onset=mine, tube=tube, **where)
            found = replace(found, noise=noise)
        if not in_place:
            found = replace(found, remedies=_remedies(one, bench, bands=found.bands, places=places))
    except (EngineError, NoAnswer) as error:
        return replace(found, failed=str(error))
    return found


def _remedies(
    one: Set, bench: Bench, *, bands: Sequence[BandOutcome], places: dict[str, float]
) -> tuple[Remedy, ...]:
    out = []
    if one.band.name in places and one.build.regeneration.acts_on != "throttle":
        out.append(
            swap_remedies.top_resistor(
                one.build, one.cards, bench, band=one.band, dial_hz=one.middle_hz,
                rotation=places[one.band.name],
            )
        )  # fmt: skip
    for outcome, band in zip(bands, one.build.bands, strict=True):
        if band.coil.tickler is None and band.name in places and outcome.onset.status is not Status.FAILED:
            out.append(
                swap_remedies.tap(
                    one.build, one.cards, bench, band=band, dial_hz=middle(band), rotation=places[band.name]
                )
            )
    return tuple(out)


def _tube(point: OperatingPoint, socket: str) -> TubePoint:
    return next(tube for tube in point.tubes if tube.socket == socket)


def _ratings(point: OperatingPoint, socket: str) -> tuple[RatingLine, ...]:
    return tuple(line for line in point.ratings if line.part.startswith(f"{socket} "))


def rank_detectors(candidates: Sequence[DetectorCandidate]) -> tuple[DetectorCandidate, ...]:
    """Return the candidates best first, with rank and reasons.

    In this order: simulations that failed go last; bands without an onset; ratings exceeded; bands with
    noticeable backlash; then the larger detection figure leads. Figures within a step of ALIKE count as
    equal, and of equals the one that is easier to fit leads, the tube in place before its twins.
    """
    ordered = sorted(candidates, key=_detector_key)
    reference = next((c.detection for c in candidates if c.in_place), None)
    return tuple(
        replace(c, rank=i, reasons=_detector_reasons(c, reference)) for i, c in enumerate(ordered, start=1)
    )


def _detector_key(c: DetectorCandidate) -> tuple[bool, int, int, int, int, int, bool, float, str]:
    without = sum(o.onset.onset is None for o in c.bands)
    exceeded = sum(line.exceeded for line in c.ratings)
    merit = 0.0 if c.detection is None else c.detection.total_per_v
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
    out += [
        f"{line.quantity} {line.value / line.limit:.2f} of the rating" for line in c.ratings if line.exceeded
    ]
    if c.ratings and not any(line.exceeded for line in c.ratings):
        out.append("ratings kept")
    hard = [o.onset.band for o in c.bands if (o.backlash_deg or 0.0) > NOTICEABLE_DEG]
    if hard:
        out.append(f"hard onset on {', '.join(hard)}")
    elif any(o.kind is not None for o in c.bands):
        unseen = [o.onset.band for o in c.bands if o.kind is None and o.onset.onset is not None]
        jumps = [o.onset.band for o in c.bands if o.kind is not None and o.kind is not OnsetKind.SOFT]
        word = "soft onset" if not jumps else f"backlash below {NOTICEABLE_DEG:g} degree of knob"
        out.append(word if not unseen else f"{word}, not known on {', '.join(unseen)}")
    if c.detection is not None and reference is not None and not c.in_place:
        out.append(f"detects {c.detection.total_per_v / reference.total_per_v:.2f} times the tube in place")
    return tuple(out)


def audio_current(one: Set, bench: Bench) -> float:
    """Return the plate current (A) of the audio tube."""
    return _tube(one.point(bench, 0.5), "audio").plate_a


def _noise_ohm(one: Set, point: OperatingPoint, bench: Bench) -> float:
    """Return the equivalent noise resistance (ohm) of the audio tube at a point."""
    card = one.cards.of("audio")
    tied = card.kind != "triode" and not own_screen(audio_of(one.build), card)
    return audio_gain.noise_resistance(card, bench, point=_tube(point, "audio"), tied=tied)


def audio(one: Set, bench: Bench, *, fitting: Fitting, plate_a: float | None, tied: bool) -> AudioCandidate:
    """Return everything about one audio candidate, not yet ranked; plate_a: that of the tube in place.

    plate_a None stands for the tube in place itself.
    """
    found = AudioCandidate(
        tube=one.cards.of("audio").type, in_place=plate_a is None, fitting=fitting, tied=tied
    )
    try:
        point = one.point(bench, 0.5)
        tube = _tube(point, "audio")
        found = replace(
            found,
            plate_a=tube.plate_a,
            cathode_v=tube.cathode_v,
            ratings=_ratings(point, "audio"),
            extrapolated=tube.outside,
        )
        gain = audio_gain.run(one.build, one.cards, bench, band=one.band, dial_hz=one.middle_hz)
        found = replace(found, gain=gain)
        found = replace(found, noise_ohm=_noise_ohm(one, point, bench))
        if plate_a is not None:
            remedy = swap_remedies.cathode_resistor(
                one.build, one.cards, bench, band=one.band, dial_hz=one.middle_hz, plate_a=plate_a
            )
            found = replace(found, remedies=() if remedy is None else (remedy,))
    except (EngineError, NoAnswer) as error:
        return replace(found, failed=str(error))
    return found


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
            over = [f"{k.quantity} {k.value / k.limit:.2f} of the rating" for k in c.ratings if k.exceeded]
            reasons = tuple(over) or ("within its ratings",)
            if reference and c.gain is not None and not c.in_place:
                reasons = (*reasons, f"gain {c.gain / reference:.2f} times the tube in place")
        out.append(replace(c, rank=i, reasons=reasons))
    return tuple(out)
