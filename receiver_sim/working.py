"""The working setting: band, dial and control at which d.c., audio and hum of a receiver are looked at.

The one place for this policy, for every verb:

- the first band (of those asked for) that has an onset, with the control where the loop gain is 0.9;
- where no band has one but every search gave its answer, the first band with the control half way, and a
  note that says so;
- where a search failed and no other band has an onset, nothing: half way would be a guess that nothing
  bears out;
- a setting that the caller names holds in any case.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from receiver_sim.builds import band_named
from receiver_sim.engine import EngineError
from receiver_sim.failing_stages import Job, Stages
from receiver_sim.judge import verdicts
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.audio import AudioResponse, Hum
from receiver_sim.results.bands import BandReport, Verdict
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, RegulatorDrift
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.onset import HALF_WAY, Onset
from receiver_sim.schema import Band, Build
from receiver_sim.studies import audio_response, hum, hum_paths, operating_point, regulator


@dataclass(frozen=True)
class Setting:
    """Band, dial (that of `onset`) and rotation (0..1) at which the receiver is looked at.

    note: a sentence where this is not the setting just below onset, else None.
    """

    band: Band
    onset: Onset
    rotation: float
    note: str | None = None

    def on(self, receiver: Receiver) -> Tuned:
        """Return the receiver tuned there."""
        return receiver.at(self.band, search=self.onset)


def choose(build: Build, searched: Iterable[Onset], *, rotation: float | None = None) -> Setting:
    """Return the working setting from the searches of one dial setting a band, in the order of preference.

    Searches after the first that found an onset are not asked for. rotation: 0..1 to hold instead. Raises
    EngineError where a search failed and no other found an onset, ValueError without any search.
    """
    silent = []
    for found in searched:
        if found.onset is not None:
            place = found.working_rotation if rotation is None else rotation
            assert place is not None
            return Setting(band_named(build, found.band), found, place)
        silent.append(found)
    if not silent:
        raise ValueError("a working setting needs the search of one band at least")
    first = silent[0]
    if rotation is not None:
        return Setting(band_named(build, first.band), first, rotation)
    for found in silent:
        if found.status is Status.FAILED:
            raise EngineError(f"{found.band} at {found.dial_hz / 1e6:.4g} MHz: {'; '.join(found.warnings)}")
    return Setting(band_named(build, first.band), first, HALF_WAY, _note(silent))


def _note(silent: list[Onset]) -> str:
    if len(silent) == 1:
        states = f"{silent[0].band}: {silent[0].status.value}"
    else:
        states = "no band has an onset on the control"
    return (
        f"{states}; operating point, audio and hum are those with the control half way, coil of "
        f"{silent[0].band}"
    )


def _points(receiver: Receiver, setting: Setting) -> tuple[OperatingPoint, ...]:
    settings = [("lowest", 0.0), ("working", setting.rotation), ("highest", 1.0)]
    return operating_point.run(setting.on(receiver), settings=settings)


def _ends(receiver: Receiver) -> tuple[OperatingPoint, ...]:
    """Return the d.c. conditions at both ends of the control, which hang on no search."""
    settings = [("lowest", 0.0), ("highest", 1.0)]
    return operating_point.run(receiver.at(receiver.build.bands[0]), settings=settings)


def _drift(receiver: Receiver, setting: Setting) -> RegulatorDrift:
    return regulator.run(setting.on(receiver), rotation=setting.rotation, nominal=setting.onset)


def dc_stages(
    stages: Stages, receiver: Receiver, setting: Setting
) -> tuple[tuple[OperatingPoint, ...], RegulatorDrift | None]:
    """Return the d.c. conditions (empty if they failed) and the drift with the mains (None if it did)."""
    points, drift = _dc_jobs(receiver, setting)
    stages.side_by_side(receiver.bench, [points, drift])
    return points.found or (), drift.found


def _dc_jobs(
    receiver: Receiver, setting: Setting
) -> tuple[Job[tuple[OperatingPoint, ...]], Job[RegulatorDrift]]:
    return (
        Job("operating point", lambda *_: _points(receiver, setting)),
        Job("regulator and mains", lambda *_: _drift(receiver, setting)),
    )


@dataclass(frozen=True)
class LookedAt:
    """What `check` finds at the working setting; without one (setting None) only d.c. at both ends of the
    control.
    """

    band: Band
    setting: Setting | None
    points: tuple[OperatingPoint, ...]
    drift: RegulatorDrift | None = None
    audio: AudioResponse | None = None
    hum: Hum | None = None
    paths: HumPaths | None = None

    def judged(self, build: Build) -> tuple[Verdict, ...]:
        """Return the verdicts on regulator, audio and hum."""
        limits, found = build.verdicts, []
        if self.drift is not None and self.setting is not None:
            found += verdicts.judge_regulator(self.drift, self.setting.onset, limits)
        if self.audio is not None:
            found += verdicts.judge_audio(self.audio, build, limits)
        if self.hum is not None:
            found += verdicts.judge_hum(self.hum, build, limits, paths=self.paths)
        return tuple(found)


class Looking:
    """What `check` looks at in a working setting, as jobs to be run side by side, and what they found.

    Without a setting d.c. alone is looked at, at both ends of the control.
    """

    def __init__(self, receiver: Receiver, setting: Setting | None) -> None:
        self.setting = setting
        self._band = receiver.build.bands[0] if setting is None else setting.band
        if setting is None:
            self._points = Job("operating point", lambda *_: _ends(receiver))
            self.jobs: list[Job[Any]] = [self._points]
            return
        tuned, rotation = setting.on(receiver), setting.rotation
        self._audio = Job("audio", lambda *_: audio_response.run(tuned, rotation=rotation))
        self._hum = Job("hum", lambda *_: hum.run(tuned, rotation=rotation))
        self._paths = Job("hum by its paths", lambda *_: hum_paths.run(tuned, rotation=rotation))
        self._points, self._drift = _dc_jobs(receiver, setting)
        self.jobs = [self._points, self._drift, self._audio, self._hum, self._paths]

    def found(self) -> LookedAt:
        """Return what the jobs found, once they were run."""
        points = self._points.found or ()
        if self.setting is None:
            return LookedAt(self._band, None, points)
        return LookedAt(
            self._band,
            self.setting,
            points,
            self._drift.found,
            self._audio.found,
            self._hum.found,
            self._paths.found,
        )


def looking(stages: Stages, receiver: Receiver, reports: Sequence[BandReport]) -> Looking:
    """Return what is to be looked at in a set whose bands were searched; without a working setting that
    search is named in `stages`.
    """
    setting = stages.run("working setting", lambda: choose(receiver.build, [r.middle for r in reports]))
    return Looking(receiver, setting)
