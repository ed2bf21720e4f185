"""Sound files from strangers: each gives its sound or a sentence, within seconds and bounded memory.

Files are written byte by byte after the published layout of RIFF/WAVE (Multimedia Programming Interface and
Data Specifications 1.0, 1991; from memory, high), so not by the library that reads them.
"""

from __future__ import annotations

import os
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from receiver_sim.views.sound import read_sound

PCM, FLOAT = 1, 3


def _wav(
    path: Path,
    data: bytes,
    *,
    rate: int = 8000,
    channels: int = 1,
    bits: int = 16,
    form: int = PCM,
    stated: int | None = None,
) -> Path:
    """Write a WAV file; `stated` is what the header gives as length of the data in place of the true one."""
    size = len(data) if stated is None else stated
    frame = channels * bits // 8
    layout = struct.pack("<HHIIHH", form, channels, rate, rate * frame & 0xFFFFFFFF, frame & 0xFFFF, bits)
    head = (
        b"RIFF" + struct.pack("<I", (36 + size) & 0xFFFFFFFF) + b"WAVEfmt " + struct.pack("<I", 16) + layout
    )
    path.write_bytes(head + b"data" + struct.pack("<I", size) + data)
    return path


def _tone(hertz: float, rate: int, seconds: float, size: float = 0.4) -> np.ndarray:
    return size * np.sin(2.0 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)


def _packed(values: np.ndarray, bits: int, form: int) -> bytes:
    if form == FLOAT:
        return values.astype("<f4" if bits == 32 else "<f8").tobytes()
    if bits == 8:  # unsigned, with the middle at 128
        return np.round(values * 127 + 128).astype(np.uint8).tobytes()
    whole = np.round(values * (2.0 ** (bits - 1) - 1)).astype("<i4")
    raw = whole.astype("<i4").view(np.uint8).reshape(-1, 4)
    return raw[:, : bits // 8].tobytes()


def _hertz(samples: np.ndarray, rate: float) -> float:
    """Return the strongest frequency of a record, by the peak of its spectrum between bins."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    peak = int(spectrum.argmax())
    a, b, c = np.log(spectrum[peak - 1 : peak + 2])
    return float((peak + 0.5 * (a - c) / (a - 2 * b + c)) * rate / samples.size)


@pytest.mark.parametrize(
    ("bits", "form"), [(8, PCM), (16, PCM), (24, PCM), (32, PCM), (32, FLOAT), (64, FLOAT)]
)
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("rate", [8000, 44100, 4000])
def test_a_tone_is_read_whatever_the_width_and_rate(
    tmp_path: Path, bits: int, form: int, channels: int, rate: int
) -> None:
    tone = _tone(437.0, rate, 1.5)
    frames = np.repeat(tone, channels)
    path = _wav(
        tmp_path / "a.wav", _packed(frames, bits, form), rate=rate, channels=channels, bits=bits, form=form
    )
    read_rate, samples = read_sound(path)
    assert read_rate == 8000.0
    assert samples.size == pytest.approx(12000, abs=2)
    assert np.abs(samples).max() == pytest.approx(1.0)
    assert _hertz(samples, 8000.0) == pytest.approx(437.0, abs=0.2)  # a third of a bin of 0.67 Hz
    # the middle, away from the edges that a filter rounds: a full sine of the peak of 1 has 0.707 r.m.s.;
    # 8 bits are 1 part in 51 of this tone's peak
    middle = samples[2000:10000]
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(2.0**-0.5, rel=0.03 if bits == 8 else 0.01)


def test_both_ears_are_mixed(tmp_path: Path) -> None:
    left, right = _tone(300.0, 8000, 1.0), _tone(1100.0, 8000, 1.0, size=0.2)
    frames = np.column_stack([left, right]).ravel()
    _, samples = read_sound(_wav(tmp_path / "a.wav", _packed(frames, 16, PCM), channels=2))
    spectrum = np.abs(np.fft.rfft(samples))
    bin_of = samples.size / 8000.0
    assert spectrum[round(1100 * bin_of)] / spectrum[round(300 * bin_of)] == pytest.approx(0.5, rel=0.02)


def test_no_more_is_decoded_than_asked_for(tmp_path: Path) -> None:
    """A sample that is no number, one second in, is met only by whoever wants that second."""
    tone = _tone(300.0, 8000, 3.0)
    tone[9000] = np.nan
    path = _wav(tmp_path / "a.wav", _packed(tone, 32, FLOAT), bits=32, form=FLOAT)
    assert read_sound(path, seconds=1.0)[1].size == pytest.approx(8000, abs=2)
    with pytest.raises(ValueError, match=r"a\.wav: sample 9001 of it is no finite number$"):
        read_sound(path)


def test_a_file_that_ends_too_soon_gives_what_is_there(tmp_path: Path) -> None:
    tone = _packed(_tone(300.0, 8000, 0.5), 16, PCM)
    path = _wav(tmp_path / "a.wav", tone, stated=80_000_000)
    assert read_sound(path)[1].size == pytest.approx(4000, abs=2)


def test_flac_and_ogg_are_read_too(tmp_path: Path) -> None:
    for name in ("a.flac", "a.ogg"):
        soundfile.write(tmp_path / name, _tone(437.0, 16000, 1.0), 16000)
        assert _hertz(read_sound(tmp_path / name)[1], 8000.0) == pytest.approx(437.0, abs=0.3)


def _refusals(folder: Path) -> dict[str, tuple[Path, str]]:
    some = b"\x01\x02" * 400
    (folder / "cut.wav").write_bytes(_wav(folder / "x.wav", some).read_bytes()[:30])
    (folder / "text.wav").write_bytes(b"no sound at all")
    (folder / "empty.wav").write_bytes(b"")
    (folder / "some.raw").write_bytes(some)
    os.mkfifo(folder / "pipe.wav")
    return {
        "cut header": (folder / "cut.wav", "no sound file that can be read"),
        "text": (folder / "text.wav", "no sound file that can be read"),
        "empty": (folder / "empty.wav", "no sound file that can be read"),
        "headerless": (folder / "some.raw", "no sound file that can be read"),
        "pipe": (folder / "pipe.wav", "it is no plain file; name a sound file"),
        "device": (Path("/dev/zero"), "it is no plain file; name a sound file"),
        "folder": (folder, "it is a folder; name a sound file"),
        "missing": (folder / "nothing.wav", "No such file or directory; name a sound file"),
        "no frames": (_wav(folder / "none.wav", b""), "it holds no sound"),
        "rate of 4 GHz": (_wav(folder / "fast.wav", some, rate=4_000_000_000), ""),
        "rate of 2 GHz": (
            _wav(folder / "fast2.wav", some, rate=2_000_000_000),
            "2000000000 samples a second",
        ),
        "rate of 0": (_wav(folder / "still.wav", some, rate=0), ""),
        "rate of 7 Hz": (_wav(folder / "slow.wav", some, rate=7), "its header states 7 samples a second"),
        "no channels": (_wav(folder / "mute.wav", some, channels=0), ""),
        "60000 channels": (_wav(folder / "many.wav", some, channels=60000), ""),
        "not a number": (
            _wav(folder / "nan.wav", np.full(9, np.nan, "<f4").tobytes(), bits=32, form=FLOAT),
            "sample 1 of it is no finite number",
        ),
        "infinite": (
            _wav(folder / "inf.wav", np.full(9, np.inf, "<f8").tobytes(), bits=64, form=FLOAT),
            "sample 1 of it is no finite number",
        ),
    }


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices")
def test_what_is_no_sound_gets_a_sentence(tmp_path: Path) -> None:
    for what, (path, message) in _refusals(tmp_path).items():
        start = time.monotonic()
        with pytest.raises(ValueError) as caught:
            read_sound(path)
        assert str(caught.value).startswith(f"{path}: "), what
        assert message in str(caught.value), what
        assert time.monotonic() - start < 2.0, what


# One run in a process of its own: the limit is on its memory, and starting numpy and scipy takes part of it.
_BOUNDED = """
import resource, sys, time
from receiver_sim.views.sound import read_sound
held = int(open('/proc/self/statm').read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (held + 150_000_000,) * 2)
start = time.monotonic()
rate, samples = read_sound(sys.argv[1], seconds=float(sys.argv[2]))
print(samples.size, time.monotonic() - start)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits and sizes as Linux has them")
@pytest.mark.parametrize(
    ("rate", "channels", "seconds"), [(8000, 1, 5.0), (768_000, 2, 60.0), (1_000_000, 100, 0.5)]
)
def test_two_gigabytes_of_samples_are_read_in_little_memory(
    tmp_path: Path, rate: int, channels: int, seconds: float
) -> None:
    """150 MB beyond what the imports hold, for a file of 2 GB (sparse: it takes no room on the disk)."""
    size = 2_000_000_000 // (2 * channels) * 2 * channels
    path = _wav(tmp_path / "long.wav", b"", rate=rate, channels=channels, stated=size)
    os.truncate(path, path.stat().st_size + size)
    with path.open("r+b") as file:  # a click, so that it isn't all silence
        file.seek(44 + 2 * channels * (rate // 10))
        file.write(b"\x00\x40" * channels)
    done = subprocess.run(
        [sys.executable, "-c", _BOUNDED, str(path), str(seconds)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    count, took = done.stdout.split()
    assert int(count) == pytest.approx(8000 * seconds, abs=2)
    assert float(took) < 20.0


def test_the_limit_of_memory_bites() -> None:
    """The check above can fail: 200 MB more than the imports hold are refused."""
    script = _BOUNDED.split("start =", maxsplit=1)[0] + "bytearray(200_000_000)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode != 0 and "MemoryError" in done.stderr
