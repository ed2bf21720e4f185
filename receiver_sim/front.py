"""The front door: a receiver with a method for each question.

    with Receiver(load("my-set.yaml")) as receiver:
        report = receiver.check()
        receiver.onset(bands=["40 m"]).plot()

A receiver keeps its bench (the pool of ngspice workers) from question to question; `close`, or the end of a
`with`, gives it back.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from receiver_sim import api
from receiver_sim.builds import shipped_build, shipped_builds
from receiver_sim.engine import Bench
from receiver_sim.errors import UnknownName, WrongValue
from receiver_sim.results.answer import Answers
from receiver_sim.schema import Build, changed_build, load_build

if TYPE_CHECKING:
    from receiver_sim.circuit.signals import Signal
    from receiver_sim.results.audio import AudioStudy
    from receiver_sim.results.bands import BandReport
    from receiver_sim.results.bench_sheet import BenchSheet
    from receiver_sim.results.bias import OperatingPoint
    from receiver_sim.results.calibration import Calibration
    from receiver_sim.results.check import CheckReport
    from receiver_sim.results.coils import CoilsReport, TapFind
    from receiver_sim.results.envelope import Detection, OscillationReport, Sound, Verification
    from receiver_sim.results.faults import FaultReport
    from receiver_sim.results.hum import HumStudy
    from receiver_sim.results.spread import Spread
    from receiver_sim.results.supply import SupplyStudy
    from receiver_sim.results.swap import SwapReport
    from receiver_sim.schema.readings import Readings


def load(path: str | Path) -> Build:
    """Return the build in a file. Raises BuildFaults with every fault found, each with place and cure."""
    return load_build(path)


def shipped(name: str) -> Build:
    """Return a build that comes with the program, such as 'demo'. Raises UnknownName that lists them."""
    if name not in shipped_builds():
        raise UnknownName(f"no shipped build '{name}'; there are: {', '.join(shipped_builds())}")
    return shipped_build(name)


class Receiver:
    """A receiver on a bench of ngspice workers.

    build: what `load` or `shipped` gives, or the path of a build. workers: processes of ngspice;
    time_limit_s: longest time for one analysis. Every method raises ReceiverSimError, with the words that
    the command line
    prints, where it can't answer; what fails within an answer is named in its `failed`.
    """

    def __init__(self, build: Build | str | Path, *, workers: int = 2, time_limit_s: float = 60.0) -> None:
        self.build = build if isinstance(build, Build) else load(build)
        self._workers, self._time_limit_s = workers, time_limit_s
        self._bench: Bench | None = None

    def __repr__(self) -> str:
        bands = ", ".join(band.name for band in self.build.bands)
        return f"<Receiver '{self.build.title}': {self.build.detector.tube} detector; {bands}>"

    def __enter__(self) -> Receiver:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the workers; the next question starts new ones."""
        if self._bench is not None:
            self._bench.close()
            self._bench = None

    @property
    def bench(self) -> Bench:
        """The pool of ngspice workers, opened with the first question."""
        if self._bench is None:
            self._bench = Bench(workers=self._workers, time_limit_s=self._time_limit_s)
            self._bench.warm()
        return self._bench

    def changed(self, **values: Any) -> Receiver:
        """Return a receiver with some values changed: keys of the build, dots written as two underlines.

        `receiver.changed(regeneration__bottom="4.7 kohm")`. Raises BuildFaults.
        """
        keys = {key.replace("__", "."): value for key, value in values.items()}
        return Receiver(
            changed_build(self.build, keys), workers=self._workers, time_limit_s=self._time_limit_s
        )

    # ------------------------------------------------------------------ questions

    def check(self) -> CheckReport:
        """Answer everything, with verdicts."""
        return api.check(self.build, bench=self.bench)

    def loop(self, bands: Sequence[str] | None = None) -> Answers[BandReport]:
        """Say where each band breaks into oscillation, and how gently. bands: names, all if None."""
        return Answers(api.loop(self.build, bands=bands, bench=self.bench))

    def onset(
        self, bands: Sequence[str] | None = None, *, band: str | None = None, modes: bool = True
    ) -> OscillationReport:
        """Return whether oscillation comes in softly, how strong it grows and whether it holds still.

        bands: names, all if None; band: one alone. modes: also look for squegging and howl.
        """
        chosen = [band] if band is not None else bands
        return api.onset(self.build, bands=chosen, modes=modes, bench=self.bench)

    def verify(self, band: str | None = None) -> Verification:
        """Run every cycle of the carrier beside the envelope; takes minutes."""
        return api.verify(self.build, band=band, bench=self.bench)

    def detect(self, band: str | None = None, *, output: int | str = 0, beat_hz: float = 800.0) -> Detection:
        """Say how loud AM and a beat note are against the control. output: number or name of the phones."""
        return api.detect(self.build, band=band, output=output, beat_hz=beat_hz, bench=self.bench)

    def listen(
        self,
        signals: Sequence[Signal] = (),
        *,
        seconds: float = 3.0,
        band: str | None = None,
        output: int | str = 0,
        path: Sequence[tuple[float, float]] | None = None,
        relative: float | None = None,
        tune: Sequence[tuple[float, float]] | None = None,
        place: str | None = "residential",
        seed: int = 1,
        whole: bool = False,
    ) -> Sound:
        """Return the sound at an output; see `api.listen` for path, relative, tune, place, seed and whole."""
        return api.listen(
            self.build,
            signals=list(signals),
            seconds=seconds,
            band=band,
            output=output,
            path=path,
            relative=relative,
            tune=tune,
            place=place,
            seed=seed,
            whole=whole,
            bench=self.bench,
        )

    def audio(self, band: str | None = None, *, rotation: float | None = None) -> AudioStudy:
        """Return response, power, distortion and noise of each output."""
        return api.audio_in_depth(self.build, band=band, rotation=rotation, bench=self.bench)

    def hum(self, band: str | None = None, *, rotation: float | None = None) -> HumStudy:
        """Return the hum by its paths, the null of the hum pot, and what would help most."""
        return api.hum_in_depth(self.build, band=band, rotation=rotation, bench=self.bench)

    def supply(self, band: str | None = None) -> SupplyStudy:
        """Return ripple, start and discharge, readings of a meter, ratings, and what the mains do."""
        return api.supply_in_depth(self.build, band=band, bench=self.bench)

    def operating_points(
        self, rotations: Sequence[float], *, band: str | None = None
    ) -> Answers[OperatingPoint]:
        """Return what a meter should read with the control at each of `rotations` (0..1)."""
        points = api.operating_points(self.build, rotations=rotations, band=band, bench=self.bench)
        return Answers(points)

    def coils(self, *, year: int | None = None, region: int | None = None) -> CoilsReport:
        """Return what the coils cover, loop gain over their dials, aerial, breakthrough and radiation."""
        return api.coils(
            self.build,
            year=api.ERA if year is None else year,
            region=api.REGION if region is None else region,
            bench=self.bench,
        )

    def tap(self, target: float, bands: Sequence[str] | None = None) -> Answers[TapFind]:
        """Find the tap of each band that puts onset at `target` (0..1 of the knob)."""
        return Answers(api.find_taps(self.build, target=target, bands=bands, bench=self.bench))

    def swap(
        self, tubes: Sequence[str] | None = None, *, socket: Literal["detector", "audio", "rf"] = "detector"
    ) -> SwapReport:
        """Try other tubes in a socket and rank them. tubes: types, all that fit if None."""
        return api.swap_tubes(self.build, tubes=_listed(tubes), socket=socket, bench=self.bench)

    def spread(
        self,
        sets: int = 1000,
        bands: Sequence[str] | None = None,
        *,
        measured: Sequence[str] = (),
        asked: Sequence[str] = (),
        seed: int = 1,
        cluster: str | None = None,
        kept: str | Path | None = None,
    ) -> Spread:
        """Draw many sets and count in how many each verdict holds, and which part decides.

        measured: keys of parts that are measured first; asked: further verdicts of `check`; cluster: address
        of a scheduler; kept: file in which what is done is kept, so that a run that was stopped can continue.
        """
        return api.spread_of_sets(
            self.build,
            sets=sets,
            bands=_listed(bands),
            measured=_listed(measured) or (),
            asked=_listed(asked) or (),
            seed=seed,
            workers=self._workers,
            time_limit_s=self._time_limit_s,
            cluster=cluster,
            kept=None if kept is None else Path(kept),
            bench=self.bench,
        )

    def sheet(self) -> BenchSheet:
        """Return what goes to the bench: parts, windings, wiring, switching on, readings at every pin."""
        return api.sheet(self.build, bench=self.bench)

    def faults(self, readings: Readings) -> FaultReport:
        """Rank the faults that explain readings of the bench. readings: what `load_readings` gives."""
        return api.faults(self.build, readings, bench=self.bench)

    def calibrate(self, readings: Readings) -> Calibration:
        """Pull parts and tubes to readings of the working set; onset, tap and hum before and after."""
        return api.calibrate(self.build, readings, bench=self.bench)

    def deck(self, study: str = "loop", *, band: str | None = None, rotation: float = 0.5) -> str:
        """Return the netlist of a study, for stock ngspice in batch mode."""
        return api.deck_text(self.build, study=study, band=band, rotation=rotation)


def _listed(names: Sequence[str] | None) -> list[str] | None:
    if isinstance(names, str):
        raise WrongValue(f"tubes: a list of types is expected, not one type; write ['{names}']")
    return None if names is None else list(names)
