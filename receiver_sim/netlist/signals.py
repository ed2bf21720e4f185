"""Signals at the aerial as sources of the envelope deck: carriers keyed or modulated, single sideband,
fading."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy.signal import hilbert

from receiver_sim.netlist.envelope import fill
from receiver_sim.physics.morse import keying

FloatArray = npt.NDArray[np.float64]

EDGE_S = 5e-3
"""Rise and fall of a keyed carrier: raised cosine, against clicks (common practice, no source)."""

GRID_S = 0.02
"""Grid on which slow fading is followed."""

BANDWIDTH_HZ = 3000.0
"""Sampled modulation is limited to speech; its straight lines between samples at 8 kHz are right within 5 %
up to there."""


@dataclass(frozen=True)
class Sampled:
    """Sampled modulation: `values` between -1 and 1 at `rate` samples a second; silence after its end."""

    rate: float
    values: FloatArray = field(repr=False)


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
            first, last = math.ceil(start * self.audio.rate), math.floor(stop * self.audio.rate)
            marks.append(np.arange(first, last + 1) / self.audio.rate)
        if self.fade_db > 0.0:
            marks.append(np.arange(math.ceil(start / GRID_S), math.floor(stop / GRID_S) + 1) * GRID_S)
        flank = np.linspace(0.0, EDGE_S, 6)
        if self.text is not None:
            for edge in self._edges(stop):
                marks.append(edge + flank)
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
        """Return the complex modulation at `times` (s), 1 for the carrier at rest; the AM tone is not in
        it."""
        level = np.zeros_like(times)
        for down, up in self._spans(float(times[-1]) + 1.0):
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
        place = np.arange(self.audio.values.size) / self.audio.rate + self.start_s
        analytic = hilbert(self.audio.values) if self.kind == "ssb" else self.audio.values + 0j
        if self.sideband == "lower":
            analytic = analytic.conj()
        real = np.interp(times, place, analytic.real, left=0.0, right=0.0)
        imaginary = np.interp(times, place, analytic.imag, left=0.0, right=0.0)
        return real + 1j * imaginary


def signal_part(signal: Signal, index: int, *, amperes_per_volt: float, start: float, stop: float) -> str:
    """Return the sources of a signal from `start` to `stop` (s; the deck's time begins at 0) as text.

    amperes_per_volt: current into the hot end of the tank for 1 V of e.m.f. in the aerial (`Mode.aerial`).
    """
    times = signal.times(start, stop)
    current = signal.modulation(times) * math.sqrt(2.0) * signal.level_v * amperes_per_volt

    def points(values: FloatArray) -> list[dict[str, float]]:
        return [{"time": float(t - start), "value": float(v)} for t, v in zip(times, values, strict=True)]

    toned = signal.kind == "am" and signal.audio is None
    turn = 360.0 * ((signal.offset_hz * start) % 1.0)
    values: dict[str, Any] = {
        "index": index,
        "in_phase": points(current.real),
        "quadrature": points(current.imag) if np.any(current.imag) else [],
        "tone": signal.tone_hz if toned else None,
        "depth": signal.depth,
        "tone_phase": 360.0 * ((signal.tone_hz * start) % 1.0),
        "offset": signal.offset_hz if signal.offset_hz else None,
        "cosine_phase": turn + 90.0,
        "sine_phase": turn,
    }
    return fill("envelope_signal.cir", values)
