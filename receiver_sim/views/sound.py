"""Sound results as WAV files, and WAV files as modulation."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import numpy as np
from scipy.signal import resample_poly

from receiver_sim.results.base import FloatArray
from receiver_sim.results.envelope import Sound
from receiver_sim.views.files import write_atomically

FULL_SCALE_V = 10.0
"""Volts across the phones that fill the file unless it is normalised: a fixed scale, so that two files can
be compared."""


def write_wav(
    sound: Sound, path: Path, *, normalise: bool = False, full_scale_v: float = FULL_SCALE_V
) -> Path:
    """Write the sound as 16-bit mono WAV and return the path.

    The scale is `full_scale_v` volts to full scale, beyond which it is clipped; with `normalise` the
    highest peak comes to 90 % of full scale. Raises OSError as the system does.
    """
    scale = sound.peak_v / 0.9 if normalise and sound.peak_v > 0.0 else full_scale_v
    samples = np.clip(np.round(sound.volts / scale * 32767.0), -32768, 32767).astype("<i2")
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(round(sound.rate))
        file.writeframes(samples.tobytes())
    return write_atomically(path, buffer.getvalue())


def clipped(sound: Sound, *, full_scale_v: float = FULL_SCALE_V) -> float:
    """Return the part of the samples that the fixed scale would clip."""
    return float(np.mean(np.abs(sound.volts) > full_scale_v))


def read_wav(path: Path, *, rate: float = 8000.0) -> tuple[float, FloatArray]:
    """Return (rate, samples between -1 and 1) of a PCM WAV file, mixed to mono and brought to `rate`
    samples a second.

    Raises OSError if it cannot be read, ValueError with the reason if it is no PCM WAV of 8, 16, 24 or 32
    bits or is empty.
    """
    try:
        with wave.open(str(path), "rb") as file:
            width, channels, own = file.getsampwidth(), file.getnchannels(), file.getframerate()
            raw = file.readframes(min(file.getnframes(), 600 * own))
    except (wave.Error, EOFError) as error:
        raise ValueError(
            f"{path}: no PCM WAV file ({error or 'it ends too soon'}); save it as 16-bit WAV"
        ) from None
    if width == 1:
        values = np.frombuffer(raw, np.uint8).astype(np.float64) / 128.0 - 1.0
    elif width in (2, 4):
        values = np.frombuffer(raw, f"<i{width}").astype(np.float64) / 2.0 ** (8 * width - 1)
    elif width == 3:
        parts = np.frombuffer(raw, np.uint8).reshape(-1, 3).astype(np.int32)
        whole = parts[:, 0] | parts[:, 1] << 8 | parts[:, 2] << 16
        values = np.where(whole >= 1 << 23, whole - (1 << 24), whole).astype(np.float64) / 2.0**23
    else:
        raise ValueError(f"{path}: samples of {8 * width} bits; save it as 16-bit WAV")
    mono = values.reshape(-1, channels).mean(axis=1)
    if mono.size == 0:
        raise ValueError(f"{path}: it holds no sound")
    common = np.gcd(int(rate), own)
    out = resample_poly(mono, int(rate) // common, own // common)
    peak = float(np.abs(out).max())
    return rate, np.asarray(out / peak if peak > 0.0 else out, dtype=np.float64)
