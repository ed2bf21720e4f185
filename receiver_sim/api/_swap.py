"""Substitution: every candidate tube in the detector's or the audio stage's socket of a build, ranked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from receiver_sim.builds import opened
from receiver_sim.design import swap, swap_fitting
from receiver_sim.engine import Bench
from receiver_sim.errors import UnknownName, WrongValue
from receiver_sim.results.swap import (
    AudioCandidate,
    DetectorCandidate,
    SwapReport,
)
from receiver_sim.schema import Build, BuildFaults, changed_build
from receiver_sim.schema.audio_stages import Audio
from receiver_sim.schema.card import TubeCard, card_for, card_types

Socket = Literal["detector", "audio"]

OUTPUT_W = 5.0
"""Plate dissipation from which a tube counts as an output tube: not tried as a detector unless named."""

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
}


def candidates_for(build: Build, socket: Socket) -> tuple[list[str], list[str]]:
    """Return the shipped types tried in a socket when none is named, and those left out, with the reason."""
    taken, left = [], []
    for name in card_types():
        card = card_for(name)
        if card.fit is None:
            left.append(f"{name}: its card holds no fit")
        elif socket == "detector" and (misfit := _misfit(build, card)):
            left.append(f"{name}: {misfit}")
        elif socket == "detector" and (card.ratings.plate_power or 0.0) > OUTPUT_W:
            left.append(f"{name}: output tube")
        else:
            taken.append(name)
    return taken, left


def in_socket(build: Build, socket: Socket) -> str:
    """Return the type of the tube in place."""
    return build.detector.tube if socket == "detector" else _stage(build).tube


def _stage(build: Build) -> Audio:
    if build.audio is None:
        raise WrongValue("this set has no audio stage: there is no tube in that socket to swap")
    return build.audio


def _with(build: Build, socket: Socket, name: str) -> tuple[Build, bool]:
    """Return the build with a type in a socket, and whether its screen had to be tied to the plate."""
    if socket == "detector":
        return changed_build(build, {"detector.tube": name}), False
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
    if tubes is None:
        names, left = candidates_for(build, socket)
    else:
        names = [_fit_for(build, name, socket) for name in dict.fromkeys(tubes)]
    reference = in_socket(build, socket)
    names = [reference, *(name for name in names if name != reference)]
    with opened(bench) as open_bench:
        before = open_bench.evaluations
        run = _detectors if socket == "detector" else _audios
        report = run(build, names, open_bench, progress)
        return SwapReport(
            **{
                **report.__dict__,
                "left_out": tuple(left),
                "notes": NOTES[socket],
                "evaluations": open_bench.evaluations - before,
            }
        )


def _misfit(build: Build, card: TubeCard) -> str | None:
    """Return why a tube does not suit the socket of the detector, None if it does."""
    screen = build.regeneration.acts_on == "screen" or build.detector.screen is not None
    if card.kind == "triode" and screen:
        return "no screen to control" if build.detector.screen is None else "no screen to feed"
    return None if card.kind == "triode" or screen else "a screen that nothing feeds"


def _fit_for(build: Build, name: str, socket: Socket) -> str:
    try:
        card = card_for(name)
    except KeyError as error:
        raise UnknownName(str(error.args[0])) from None
    misfit = _misfit(build, card) if socket == "detector" else None
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


def _report(
    build: Build,
    socket: Socket,
    reference: str,
    band: str,
    *,
    detectors: tuple[DetectorCandidate, ...] = (),
    audios: tuple[AudioCandidate, ...] = (),
) -> SwapReport:
    return SwapReport(build.title, socket, reference, band, detectors, audios, (), (), 0)


__all__ = ["BuildFaults", "TubeCard", "candidates_for", "in_socket", "swap_tubes"]
