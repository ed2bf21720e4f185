"""Sound results as WAV files, and sound files as modulation; files by libsndfile, rates by libsoxr."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
import soxr

from receiver_sim import outputs
from receiver_sim.results.base import FloatArray
from receiver_sim.results.envelope import Sound

FORMATS = {
    ".wav": ("WAV", "PCM_16"),
    ".flac": ("FLAC", "PCM_16"),
    ".ogg": ("OGG", "VORBIS"),
    ".mp3": ("MP3", None),
}
"""Ending of a sound file -> format and coding, as libsndfile names them."""


def format_of(path: Path) -> tuple[str, str | None]:
    """Return format and coding of a sound file by its ending; WAV for a pipe or a device.

    Raises ValueError for an ending that is not known or that this machine's libsndfile can't write.
    """
    place = Path(path)
    if place.exists() and not place.is_file():
        return FORMATS[".wav"]
    kind = FORMATS.get(place.suffix.lower())
    if kind is None or kind[0] not in soundfile.available_formats():
        known = ", ".join(
            ending for ending, (name, _) in FORMATS.items() if name in soundfile.available_formats()
        )
        raise ValueError(f"{path}: the ending says which sound file is meant; there are {known}")
    return kind


def write_sound(sound: Sound, path: Path, *, full_scale_v: float | None = None) -> Path:
    """Write the sound as a mono file, in the format that the path's ending names, and return the path.

    The highest peak comes to 90 % of full scale; with `full_scale_v` so many volts across the phones are full
    scale instead, so that files can be compared, and what is beyond is clipped. Raises ValueError for an
    unknown ending, OutputFailed.
    """
    kind, coding = format_of(path)
    scale = full_scale_v or (sound.peak_v / 0.9 if sound.peak_v > 0.0 else 1.0)
    samples = np.clip(np.round(sound.volts / scale * 32767.0), -32768, 32767).astype("<i2")
    buffer = io.BytesIO()
    soundfile.write(buffer, samples, round(sound.rate), subtype=coding, format=kind)
    return outputs.write(path, buffer.getvalue())


def clipped(sound: Sound, *, full_scale_v: float) -> float:
    """Return the part of the samples that a fixed scale would clip."""
    return float(np.mean(np.abs(sound.volts) > full_scale_v))


RATES = (1_000, 1_000_000)
"""Samples a second of a file that is read: anything else is a damaged header, and no sound card has more."""

MOST_SECONDS = 600.0
"""Longest stretch of a file that is decoded: the longest sound that `listen` makes."""

_BLOCK = 1 << 18
"""Samples of all channels that are held at a time while decoding."""


def read_sound(
    path: Path, *, rate: float = 8000.0, seconds: float = MOST_SECONDS
) -> tuple[float, FloatArray]:
    """Return (rate, samples between -1 and 1) of the first `seconds` of a sound file, mixed to mono and
    brought to `rate` samples a second; the highest peak of that stretch comes to 1.

    WAV of any width, FLAC, Ogg and whatever else libsndfile decodes; no more is decoded or held than asked
    for. A file that ends before its header says so gives what is there. Raises ValueError with the reason if
    it cannot be opened, is no sound file, is empty or holds what is no number.
    """
    place = Path(path)
    if place.exists() and not place.is_file():  # a pipe would be waited for without end
        raise ValueError(
            f"{path}: it is {'a folder' if place.is_dir() else 'no plain file'}; name a sound file"
        )
    try:
        place.open("rb").close()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise ValueError(f"{path}: {getattr(error, 'strerror', None) or error}; name a sound file") from None
    try:
        if place.suffix.lower() == ".raw":  # libsndfile would want to be told all that a header says
            raise ValueError("no sound file that can be read (it has no header); save it as 16-bit WAV")
        with soundfile.SoundFile(place) as file:
            blocks = list(_resampled(file, rate, min(seconds, MOST_SECONDS)))
    except soundfile.SoundFileError as error:
        reason = str(getattr(error, "error_string", "") or error).strip(" .")
        raise ValueError(
            f"{path}: no sound file that can be read ({reason}); save it as 16-bit WAV"
        ) from None
    except ValueError as error:
        raise ValueError(f"{path}: {error}") from None
    out = np.concatenate(blocks) if blocks else np.zeros(0)
    if out.size == 0:
        raise ValueError(f"{path}: it holds no sound")
    peak = float(np.abs(out).max())
    if not math.isfinite(peak):
        raise ValueError(f"{path}: its samples are beyond any number; save it as 16-bit WAV")
    return rate, np.asarray(out / peak if peak > 0.0 else out, dtype=np.float64)


def _resampled(file: soundfile.SoundFile, rate: float, seconds: float) -> Iterator[FloatArray]:
    """Give the beginning of an open file at `rate`, block by block, in mono."""
    low, high = RATES
    if not low <= file.samplerate <= high:
        raise ValueError(
            f"its header states {file.samplerate} samples a second; {low} to {high} are read: is it damaged?"
        )
    left = math.ceil(seconds * file.samplerate)
    block = max(_BLOCK // file.channels, 1)
    converter = soxr.ResampleStream(file.samplerate, rate, 1, dtype="float64")
    share = np.full(file.channels, 1.0 / file.channels)  # a product is ten times as quick as a mean
    done = 0
    while left > 0:
        frames = file.read(min(block, left), dtype="float64", always_2d=True)
        if not len(frames):
            break
        mono = frames @ share
        sound = np.isfinite(mono)
        if not sound.all():
            raise ValueError(f"sample {done + int(np.argmin(sound)) + 1} of it is no finite number")
        done, left = done + len(mono), left - len(mono)
        yield converter.resample_chunk(mono)
    if done:
        yield converter.resample_chunk(np.zeros(0), last=True)
