"""Gaussian noise over time of a stated density, the same from the same seed wherever it is cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.physics.checks import require_positive

FloatArray = npt.NDArray[np.float64]

_BLOCK = 4096
"""White samples that are drawn at a time: each block by its own counter, so that any stretch can be had."""

_HALF = 256
"""Taps on either side: resolves 47 Hz at 24 000 points a second."""

PASS, STOP = 0.375, 0.46
"""Parts of the rate up to which the density is right, and from which there is none."""


@dataclass(frozen=True)
class Course:
    """Values at `rate` points a second of which straight lines between them have the density asked for.

    seed, channel: name the noise; courses of different channels are independent. taps: what white noise is
    filtered with.
    """

    seed: int
    channel: int
    rate: float
    taps: FloatArray

    def values(self, first: int, last: int) -> FloatArray:
        """Return points `first` to `last`, both included; point k stands at k/rate seconds."""
        begin, end = first - _HALF, last + _HALF + 1
        blocks = range(begin // _BLOCK, (end - 1) // _BLOCK + 1)
        white = np.concatenate([self._block(number) for number in blocks])
        begin -= blocks[0] * _BLOCK
        cut = white[begin : begin + last - first + 2 * _HALF + 1]
        return np.asarray(np.convolve(cut, self.taps, mode="valid"), dtype=np.float64)

    def at(self, times: FloatArray) -> FloatArray:
        """Return the values at rising `times` (s), straight between the points."""
        first, last = int(np.floor(times[0] * self.rate)) - 1, int(np.ceil(times[-1] * self.rate)) + 1
        points = np.arange(first, last + 1) / self.rate
        return np.asarray(np.interp(times, points, self.values(first, last)), dtype=np.float64)

    def _block(self, number: int) -> FloatArray:
        # counters are unsigned: what lies before the beginning has its own
        counter = number % 2**63
        draws = np.random.Philox(key=[self.seed, self.channel], counter=[0, 0, 0, counter])
        return np.random.Generator(draws).standard_normal(_BLOCK)


def course(
    seed: int,
    *,
    channel: int,
    rate: float,
    frequency: npt.ArrayLike = (0.0,),
    density: npt.ArrayLike = (1.0,),
) -> Course:
    """Return noise whose one-sided density (per sqrt(Hz)) follows `density` at rising `frequency` (Hz).

    Right from 0 to PASS of the rate, none beyond STOP. White noise of unit variance at `rate` points a second
    has sqrt(2/rate); straight lines between points take (sin x/x)^2 off, x = pi f/rate (textbook), which the
    filter puts back.
    """
    require_positive(rate=rate)
    grid = np.fft.rfftfreq(2 * _HALF * 4)  # finer than the taps resolve, in parts of the rate
    wanted = np.interp(grid * rate, np.asarray(frequency, float), np.asarray(density, float))
    edge = np.clip((STOP - grid) / (STOP - PASS), 0.0, 1.0)
    response = wanted * 0.5 * (1.0 - np.cos(np.pi * edge)) / np.sinc(grid) ** 2
    long = np.fft.fftshift(np.fft.irfft(response * np.sqrt(rate / 2.0)))
    middle = long.size // 2
    taps = long[middle - _HALF : middle + _HALF + 1] * np.hanning(2 * _HALF + 3)[1:-1]
    return Course(seed, channel, rate, np.asarray(taps, dtype=np.float64))
