"""Signals at the aerial as sources of the envelope deck: carriers keyed or modulated, single sideband,
fading."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.registry import filled
from receiver_sim.physics.morse import keying

FloatArray = npt.NDArray[np.float64]

EDGE_S = 5e-3
"""Rise and fall of a keyed carrier: raised cosine, against clicks (common practice, no source)."""

GRID_S = 0.02
"""Grid on which slow fading is followed."""

POINTS_HZ = 24_000.0
"""Points a second at which keyed edges and sampled modulation are given to ngspice, straight lines between
them: midway between two points a tone of f is low by 1 - cos(pi f/POINTS_HZ), 1 % at 1 kHz and 8 % at 3
kHz."""

PIECE = 1000
"""Points of one behavioural source: ngspice reads n points in a time that grows as their square (12 000 in
one took 0.76 s, in pieces of 1000 0.05 s), but asks every piece at every step."""

_SINC = 16
"""Samples on either side that a point between them may depend on: more than the 10 of `resample_poly`."""


@dataclass(frozen=True)
class Sampled:
    """Sampled modulation: `values` between -1 and 1 at `rate` samples a second; silence before and after.

    What goes to the deck is their band-limited `course`, at POINTS_HZ or more.
    """

    rate: float
    values: FloatArray = field(repr=False)

    @property
    def seconds(self) -> float:
        """Length, s."""
        return self.values.size / self.rate

    @property
    def finer(self) -> int:
        """Points of `course` to each sample."""
        return max(1, math.ceil(POINTS_HZ / self.rate - 1e-9))

    @cached_property
    def quadrature(self) -> FloatArray:
        """The samples with every component 90 degrees later, for a single sideband."""
        from scipy.signal import hilbert  # noqa: PLC0415 - it takes long to load

        return np.asarray(np.imag(hilbert(self.values)), dtype=np.float64)

    def course(self, times: FloatArray, *, quadrature: bool = False) -> FloatArray:
        """Return the values at rising `times` (s after the first sample), 0 outside the record.

        A windowed sinc (flat to 0.4 of the rate) gives the points, straight lines what lies between them.
        """
        from scipy.signal import resample_poly  # noqa: PLC0415 - it takes long to load

        source = self.quadrature if quadrature else self.values
        first = max(math.floor(times[0] * self.rate) - _SINC, 0)
        last = min(math.ceil(times[-1] * self.rate) + _SINC, source.size)
        if last <= first:
            return np.zeros_like(times)
        points = resample_poly(source[first:last], self.finer, 1)
        place = first / self.rate + np.arange(points.size) / (self.rate * self.finer)
        return np.asarray(np.interp(times, place, points, left=0.0, right=0.0), dtype=np.float64)


REACH_HZ, FADING_HZ = 8000.0, 2000.0
"""While the dial moves: a station farther off than REACH_HZ is left out, and fades in over FADING_HZ. Its
beat lies above what phones pass, and its cycles would need shorter steps than the sound's."""


@dataclass(frozen=True)
class DialPath:
    """How far the dial stands off its own setting over time: (s, Hz) at rising times, straight between them.

    The tank, the oscillation in it and all they do go with the dial; the stations stay. That the tank differs
    a few kilohertz on (by their share of its frequency) is left out.
    """

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        times = [time for time, _ in self.points]
        if not times or any(b <= a for a, b in pairwise(times)):
            raise ValueError("a path of the dial needs offsets at rising times")

    def offset(self, times: FloatArray) -> FloatArray:
        """Return the offset (Hz) at `times` (s); before and after the path the dial stands still."""
        moments, offsets = (np.array(column) for column in zip(*self.points, strict=True))
        return np.asarray(np.interp(times, moments, offsets), dtype=np.float64)

    def turns(self, time: float) -> float:
        """Return the integral of the offset from 0 to `time`: cycles by which the dial is ahead."""
        corners = np.array(sorted({0.0, time} | {t for t, _ in self.points if 0.0 < t < time}))
        offsets = self.offset(corners)
        return float(np.sum(np.diff(corners) * 0.5 * (offsets[1:] + offsets[:-1])))

    def corners(self, start: float, stop: float) -> list[tuple[float, float]]:
        """Return (s after `start`, change of rate in Hz/s) where the dial's rate changes, from `start` on."""
        moments = [start, *(t for t, _ in self.points if start < t < stop), stop]
        offsets = self.offset(np.array(moments))
        rates = np.diff(offsets) / np.diff(moments)
        changes = np.diff(rates, prepend=0.0)
        return [(m - start, float(c)) for m, c in zip(moments, changes, strict=False) if c != 0.0]


@dataclass(frozen=True)
class Signal:
    """One station.

    level_v: e.m.f. in the aerial, V r.m.s. of the carrier (of the peak envelope for `ssb`); offset_hz: of
    the (suppressed) carrier from the oscillation at onset; kind: 'carrier', 'am' (tone_hz, or `audio`, at
    `depth`), 'ssb' (`audio`, sideband 'upper' or 'lower'); text: keys a carrier in Morse at
    `words_per_minute`, from `start_s` on, over and over; fade_db, fade_s: depth and period of fading.
    """

    level_v: float
    offset_hz: float = 0.0
    kind: Literal["carrier", "am", "ssb"] = "carrier"
    text: str | None = None
    words_per_minute: float = 15.0
    tone_hz: float = 400.0
    depth: float = 0.3
    audio: Sampled | None = None
    sideband: Literal["upper", "lower"] = "upper"
    start_s: float = 0.2
    fade_db: float = 0.0
    fade_s: float = 3.0

    def __post_init__(self) -> None:
        if not self.level_v > 0.0:
            raise ValueError(f"the level of a signal must be above 0 V, got {self.level_v}")
        if self.kind == "ssb" and self.audio is None:
            raise ValueError("a single-sideband signal needs audio to be made from")
        if not 0.0 <= self.depth <= 1.0:
            raise ValueError(f"a depth of modulation lies between 0 and 1, got {self.depth}")
        if self.text is not None:
            keying(self.text, words_per_minute=self.words_per_minute)

    def times(self, start: float, stop: float) -> FloatArray:
        """Return the times between `start` and `stop` at which the modulation must be given, both ends
        among them."""
        marks = [np.array([start, stop])]
        if self.audio is not None:
            rate = self.audio.rate * self.audio.finer
            first = math.floor(max(start - self.start_s, 0.0) * rate)
            last = math.ceil(min(stop - self.start_s, self.audio.seconds) * rate)
            marks.append(self.start_s + np.arange(first, last + 1) / rate)
        if self.fade_db > 0.0:
            marks.append(np.arange(math.ceil(start / GRID_S), math.floor(stop / GRID_S) + 1) * GRID_S)
        flank = np.linspace(0.0, EDGE_S, round(EDGE_S * POINTS_HZ) + 1)
        if self.text is not None:
            marks += [edge + flank for edge in self._edges(stop) if edge > start - EDGE_S]
        elif start <= self.start_s + EDGE_S:
            marks.append(self.start_s + flank)
        times = np.unique(np.concatenate(marks))
        times = times[(times >= start) & (times <= stop)]
        keep = np.concatenate([[True], np.diff(times) > 1e-7])
        return np.asarray(times[keep], dtype=np.float64)

    def _edges(self, stop: float) -> list[float]:
        return [t for span in self._spans(stop) for t in span]

    def _spans(self, stop: float) -> list[tuple[float, float]]:
        """Return the times of key down (and up) until `stop`."""
        if self.text is None:
            return [(self.start_s, math.inf)]
        once = keying(self.text, words_per_minute=self.words_per_minute)
        turn = once[-1][1] + 7.0 * 1.2 / self.words_per_minute
        out, now = [], self.start_s
        while now < stop:
            out += [(now + down, now + up) for down, up in once]
            now += turn
        return out

    def modulation(self, times: FloatArray) -> npt.NDArray[np.complex128]:
        """Return the complex modulation at rising `times` (s), 1 for the carrier at rest; the AM tone is
        not in it."""
        level = np.zeros_like(times)
        for down, up in self._spans(float(times[-1]) + 1.0):
            if down > times[-1] or up + EDGE_S < times[0]:
                continue
            rise = np.clip((times - down) / EDGE_S, 0.0, 1.0)
            fall = np.clip((times - up) / EDGE_S, 0.0, 1.0) if math.isfinite(up) else 0.0
            level += 0.5 * (1.0 - np.cos(np.pi * rise)) * 0.5 * (1.0 + np.cos(np.pi * fall))
        out = level.astype(np.complex128)
        if self.fade_db > 0.0:
            swing = 0.5 - 0.5 * np.cos(2.0 * np.pi * times / self.fade_s)
            out *= 10.0 ** (-self.fade_db * swing / 20.0)
        if self.audio is not None:
            sound = self._sound(times)
            out *= 1.0 + self.depth * sound.real if self.kind == "am" else sound
        return out

    def _sound(self, times: FloatArray) -> npt.NDArray[np.complex128]:
        """Return the analytic signal of the audio for single sideband, the plain audio otherwise."""
        assert self.audio is not None
        after = times - self.start_s
        real = self.audio.course(after)
        if self.kind != "ssb":
            return real.astype(np.complex128)
        imaginary = self.audio.course(after, quadrature=True)
        turn = -1j if self.sideband == "lower" else 1j
        return np.asarray(real + turn * imaginary, dtype=np.complex128)


def pieces(times: FloatArray, values: FloatArray) -> list[list[float]]:
    """Return points at rising `times` (s, two or more) cut into tables (time, value, time, value ...) of
    ngspice's `pwl`.

    It continues straight beyond the ends of a table. So each falls to 0 over the interval in which the next
    one rises, and stays there; their sum is the straight line between the points, at the seams too.
    """
    moments, levels = np.round(times, 9), np.round(values, 8)  # a nanosecond, 160 dB: shorter decks
    out: list[list[float]] = []
    for first in range(0, times.size - 1, PIECE):
        # a last point that would stand alone goes with the piece before it
        last = first + PIECE if first + PIECE < times.size - 1 else times.size
        t, v = moments[first:last], levels[first:last]
        if first > 0:
            before = moments[first - 1]
            t, v = np.concatenate([[2.0 * before - t[0], before], t]), np.concatenate([[0.0, 0.0], v])
        if last < times.size:
            after = moments[last]
            t, v = np.concatenate([t, [after, 2.0 * after - t[-1]]]), np.concatenate([v, [0.0, 0.0]])
        out.append(np.column_stack([t, v]).ravel().tolist())
    return out


def signal_block(
    signal: Signal,
    index: int,
    *,
    amperes_per_volt: float,
    start: float,
    stop: float,
    dial: DialPath | None = None,
) -> Block:
    """Return the sources of a signal from `start` to `stop` (s; the circuit's time begins at 0).

    amperes_per_volt: current into the hot end of the tank for 1 V of e.m.f. in the aerial (`Mode.aerial`);
    dial: how the dial moves, None if it stands still.
    """
    times = signal.times(start, stop)
    course = signal.modulation(times)
    toned = signal.kind == "am" and signal.audio is None
    ahead, there = (
        (0.0, 0.0) if dial is None else (dial.turns(start), float(dial.offset(np.array([start]))[0]))
    )
    cycles = (signal.offset_hz * start - ahead) % 1.0
    offset = signal.offset_hz - there
    moving = None if dial is None else [{"time": t, "rate": r} for t, r in dial.corners(start, stop)]
    turn = 360.0 * cycles
    values: dict[str, Any] = {
        "index": index,
        "amperes": math.sqrt(2.0) * signal.level_v * amperes_per_volt,
        "in_phase": pieces(times - start, course.real),
        "quadrature": pieces(times - start, course.imag) if np.any(course.imag) else [],
        "tone": signal.tone_hz if toned else None,
        "depth": signal.depth,
        "tone_phase": 360.0 * ((signal.tone_hz * start) % 1.0),
        "offset": offset if offset or moving is not None else None,
        "moving": moving,
        "turn": cycles,
        "farthest": REACH_HZ,
        "fading": FADING_HZ,
        "cosine_phase": turn + 90.0,
        "sine_phase": turn,
    }
    return filled("envelope_signal.cir", values)
