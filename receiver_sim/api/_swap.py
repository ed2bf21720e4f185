"""Substitution: every candidate tube in a socket of a build, ranked: detector, audio or r.f. stage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from receiver_sim.builds import opened
from receiver_sim.design import swap, swap_fitting, swap_rf
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.results.swap import (
    AudioCandidate,
    DetectorCandidate,
    RfCandidate,
    SwapReport,
)
from receiver_sim.schema import Build, BuildFaults, changed_build
from receiver_sim.schema.audio_stages import Audio
from receiver_sim.schema.card import TubeCard, card_for, card_types
from receiver_sim.schema.rf_stage import RfStage

Socket = Literal["detector", "audio", "rf"]

OUTPUT_W = 5.0
"""Plate dissipation from which a tube counts as an output tube: not tried as a detector or in an r.f. stage
unless named."""

NOTES = {
    "detector": (
        "Rank, of the set as it would be used, with the tap (or the end resistor) that brings onset to the "
        "place of the tube in place: bands that oscillate, ratings kept, no noticeable backlash, then the "
        "detection figure in steps of a tenth; of equals the one easier to fit. '=' marks a tube whose range "
        "overlaps that of the first of those above: the next specimen may well be the better one.",
        "Detection: small signals at 1 kHz, audio voltage at the detector's load divided by the square of "
        "the carrier at its grid. The law of the grid current is the same for all cards (no data sheet gives "
        "it), so types differ by the bend and gain of the plate current.",
        "Weakest signal: 10 dB above the set's own noise at the grid. Noise and static from the aerial "
        "exceed it on most bands; detection of weak AM is square-law and adds a threshold of its own.",
    ),
    "audio": (
        "Rank: ratings kept, then gain. Plate current matters to choke and transformer: the cathode resistor "
        "shown draws that of the tube in place.",
    ),
    "rf": (
        "Rank: bands that oscillate, ratings kept, then the signal brought to the tank, the mean of all "
        "bands in steps of a tenth; of equals the one easier to fit.",
        "Signal: volts at the hot end of the tank for 1 V of e.m.f. in the aerial, without regeneration, the "
        "gain control as stated. Radiated: for 1 V peak at the hot end, by what comes back through the "
        "stage; the wiring from plate to grid is that of the build.",
        "Bias, taps and gain control stay as built: another cathode resistor or setting gives other figures.",
    ),
}


def candidates_for(build: Build, socket: Socket) -> tuple[list[str], list[str]]:
    """Return the shipped types tried in a socket when none is named, and those left out, with the reason."""
    taken, left = [], []
    for name in card_types():
        card = card_for(name)
        if card.fit is None:
            left.append(f"{name}: its card holds no fit")
        elif misfit := _misfit(build, card, socket):
            left.append(f"{name}: {misfit}")
        elif socket != "audio" and (card.ratings.plate_power or 0.0) > OUTPUT_W:
            left.append(f"{name}: output tube")
        else:
            taken.append(name)
    return taken, left


def in_socket(build: Build, socket: Socket) -> str:
    """Return the type of the tube in place. Raises WrongValue for a socket that this set has not."""
    if socket == "rf":
        return _rf_stage(build).tube
    return build.detector.tube if socket == "detector" else _stage(build).tube


def _stage(build: Build) -> Audio:
    if build.audio is None:
        raise WrongValue("this set has no audio stage: there is no tube in that socket to swap")
    return build.audio


def _rf_stage(build: Build) -> RfStage:
    if build.rf_stage is None:
        raise WrongValue("this set has no r.f. stage: there is no tube in that socket to swap")
    if build.aerial is None:
        raise WrongValue("this set has no aerial: what a tube brings from it to the tank can't be told")
    return build.rf_stage


def _with(build: Build, socket: Socket, name: str) -> tuple[Build, bool]:
    """Return the build with a type in a socket, and whether its screen had to be tied to the plate."""
    if socket != "audio":
        key = "detector.tube" if socket == "detector" else "rf_stage.tube"
        return changed_build(build, {key: name}), False
    changes: dict[str, str | float | None] = {"audio.tube": name}
    card = card_for(name)
    stage = _stage(build)
    if card.kind != "triode" and stage.screen is None:
        changes["audio.connection"] = "triode"
    elif card.kind == "triode" and stage.connection == "triode":
        changes["audio.connection"] = "own"
    changed = changed_build(build, changes)
    return changed, card.kind != "triode" and _stage(changed).connection == "triode"


def swap_tubes(
    build: Build,
    *,
    tubes: Sequence[str] | None = None,
    socket: Socket = "detector",
    bench: Bench | None = None,
    progress: Callable[[str, int, int], None] = lambda _what, _done, _total: None,
) -> SwapReport:
    """Try every candidate in a socket of a build and rank them; the tube in place is always among them.

    tubes: types, all that fit the socket if None. Raises BuildFaults, UnknownName for an unknown type,
    WrongValue for one that its socket does not take, EngineMissing. A candidate whose simulation fails
    says so.
    """
    left: list[str] = []
    reference = in_socket(build, socket)
    if tubes is None:
        names, left = candidates_for(build, socket)
    else:
        names = [_fit_for(build, name, socket) for name in dict.fromkeys(tubes)]
    names = [reference, *(name for name in names if name != reference)]
    with opened(bench) as open_bench:
        before = open_bench.evaluations
        runs = {"detector": _detectors, "audio": _audios, "rf": _rf_stages}
        report = runs[socket](build, names, open_bench, progress)
        return SwapReport(
            **{
                **report.__dict__,
                "left_out": tuple(left),
                "notes": NOTES[socket],
                "evaluations": open_bench.evaluations - before,
            }
        )


def _misfit(build: Build, card: TubeCard, socket: Socket) -> str | None:
    """Return why a tube does not suit a socket, None if it does."""
    if socket == "audio":
        return None
    if socket == "rf":
        return "no screen to feed" if card.kind == "triode" else None
    screen = build.regeneration.acts_on == "screen" or build.detector.screen is not None
    if card.kind == "triode" and screen:
        return "no screen to control" if build.detector.screen is None else "no screen to feed"
    return None if card.kind == "triode" or screen else "a screen that nothing feeds"


def _fit_for(build: Build, name: str, socket: Socket) -> str:
    card = card_for(name)
    misfit = _misfit(build, card, socket)
    if misfit is not None:
        wanted = "a triode" if card.kind != "triode" else "a pentode or a tetrode"
        raise WrongValue(f"{name} has {misfit} in this set; name {wanted}")
    if card.fit is None:
        raise WrongValue(f"{name}: its card holds no fit; run 'receiver-sim tubes fit {name}'")
    return name


def _detectors(
    build: Build, names: Sequence[str], bench: Bench, progress: Callable[[str, int, int], None]
) -> SwapReport:
    in_place = card_for(names[0])
    first = swap.tuned_to(build, build.bands[0].name, bench)
    onsets = [first.receiver.at(band).onset for band in first.build.bands]
    places = {o.band: o.onset.rotation for o in onsets if o.onset is not None}
    # the middle one of the bands that oscillate: tubes compare best where all have a chance
    chosen = list(places) or [band.name for band in build.bands]
    band_name = chosen[len(chosen) // 2]

    def one(b: Bench, name: str) -> DetectorCandidate:
        changed = build if name == names[0] else _with(build, "detector", name)[0]
        fitting = swap_fitting.fitting(build, card_for(name), in_place, rf=True)
        return swap.detector(
            swap.tuned_to(changed, band_name, b), fitting=fitting, places=places, in_place=name == names[0]
        )

    found = bench.map(one, list(names), lambda done, total: progress("candidates", done, total))
    return _report(build, "detector", names[0], band_name, detectors=swap.rank_detectors(found))


def _audios(
    build: Build, names: Sequence[str], bench: Bench, progress: Callable[[str, int, int], None]
) -> SwapReport:
    in_place = card_for(names[0])
    band_name = build.bands[0].name
    wanted = swap.audio_current(swap.tuned_to(build, band_name, bench))

    def one(b: Bench, name: str) -> AudioCandidate:
        changed, tied = (build, False) if name == names[0] else _with(build, "audio", name)
        if name == names[0]:
            tied = in_place.kind != "triode" and _stage(build).connection == "triode"
        fitting = swap_fitting.fitting(build, card_for(name), in_place, rf=False)
        return swap.audio(
            swap.tuned_to(changed, band_name, b),
            fitting=fitting,
            plate_a=None if name == names[0] else wanted,
            tied=tied,
        )

    found = bench.map(one, list(names), lambda done, total: progress("candidates", done, total))
    return _report(build, "audio", names[0], band_name, audios=swap.rank_audio(found))


def _rf_stages(
    build: Build, names: Sequence[str], bench: Bench, progress: Callable[[str, int, int], None]
) -> SwapReport:
    in_place, band_name = card_for(names[0]), build.bands[0].name

    def one(b: Bench, name: str) -> RfCandidate:
        placed = name == names[0]
        changed = build if placed else _with(build, "rf", name)[0]
        fitting = swap_fitting.fitting(build, card_for(name), in_place, rf=True, tap=False)
        return swap_rf.candidate(swap.tuned_to(changed, band_name, b), fitting=fitting, in_place=placed)

    found = bench.map(one, list(names), lambda done, total: progress("candidates", done, total))
    return _report(build, "rf", names[0], band_name, rf_stages=swap_rf.rank(found))


def _report(
    build: Build,
    socket: Socket,
    reference: str,
    band: str,
    *,
    detectors: tuple[DetectorCandidate, ...] = (),
    audios: tuple[AudioCandidate, ...] = (),
    rf_stages: tuple[RfCandidate, ...] = (),
) -> SwapReport:
    return SwapReport(build.title, socket, reference, band, detectors, audios, (), (), 0, rf_stages)


__all__ = ["BuildFaults", "TubeCard", "candidates_for", "in_socket", "swap_tubes"]
