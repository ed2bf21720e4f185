"""What is read off the curves of a detector: its setting for speech, its overload, a pulled beat."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def speech_rotation(
    rotation: FloatArray, audio: FloatArray, reach: FloatArray, *, wanted_hz: float, below_onset: bool
) -> float:
    """Return the setting for speech: the loudest that passes audio up to `wanted_hz` within 3 dB.

    wanted_hz: the build's `verdicts.audio_high_min`, as for the audio part behind (speech cut off at 2.5 kHz
    loses little: nine of ten syllables are understood, French and Steinberg 1947, from memory, medium).
    below_onset: the settings lead up to onset, loudness rises and bandwidth falls, so the place between two
    of them is interpolated. Where even the bare tank is too sharp it is the widest setting.
    """
    wide = np.flatnonzero(reach >= wanted_hz)
    if not wide.size:
        return float(rotation[int(np.argmax(reach))])
    if not below_onset:
        return float(rotation[wide[int(np.argmax(audio[wide]))]])
    last = int(wide[-1])
    if last == rotation.size - 1:
        return float(rotation[last])
    share = math.log(reach[last] / wanted_hz) / math.log(reach[last] / reach[last + 1])
    return float(rotation[last] + share * (rotation[last + 1] - rotation[last]))


def overload(carrier: FloatArray, audio: FloatArray) -> float | None:
    """Return the carrier (V) at which a decibel more of it first gives less than half a decibel more audio,
    or None."""
    slope = np.diff(np.log(np.maximum(audio, 1e-15))) / np.diff(np.log(carrier))
    middle = np.sqrt(carrier[:-1] * carrier[1:])
    flat = np.flatnonzero(slope < 0.5)
    if not flat.size or flat[0] == 0:
        return None
    i = int(flat[0]) - 1
    share = (slope[i] - 0.5) / (slope[i] - slope[i + 1])
    return float(middle[i] * (middle[i + 1] / middle[i]) ** share)


def beat_frequency(time: FloatArray, phase: FloatArray) -> float:
    """Return turns a second of a phase, over whole turns, since a pulled beat is uneven within one; 0 for
    less than one."""
    turned = np.abs(phase - phase[0]) / (2.0 * np.pi)
    whole = math.floor(turned[-1])
    if whole < 1:
        return 0.0
    return float(whole / (np.interp(whole, np.maximum.accumulate(turned), time) - time[0]))
