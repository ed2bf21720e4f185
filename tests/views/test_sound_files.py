"""Sound that is written and read: both sides clipped, channels mixed, no more read than asked for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from receiver_sim.results.envelope import Sound
from receiver_sim.views import sound
from tests.helpers.filling import filled

STEP = 1.0 / 32768.0
"""Of a sample of 16 bit."""


def heard(volts: list[float], **given: object) -> Sound:
    values = np.array(volts)
    return filled(Sound, volts=values, peak_v=float(np.abs(values).max()), rate=8000.0, **given)


def test_samples_beyond_full_scale_are_counted_on_either_side_and_those_at_it_are_not() -> None:
    one = heard([0.5, -0.5, 0.505, -0.505, 0.495, -0.495, -0.7, 0.1])
    assert sound.clipped(one, full_scale_v=0.5) == pytest.approx(3.0 / 8.0)
    assert sound.clipped(heard([-0.7, -0.6, 0.1, 0.2]), full_scale_v=0.5) == pytest.approx(0.5)
    assert sound.clipped(heard([0.7, 0.6, -0.1, 0.2]), full_scale_v=0.5) == pytest.approx(0.5)


def test_what_is_beyond_full_scale_stays_at_its_end(tmp_path: Path) -> None:
    """It would turn over to the other sign in 16 bit."""
    path = sound.write_sound(heard([0.9, -0.9, 0.2]), tmp_path / "a.wav", full_scale_v=0.4)
    samples, _ = soundfile.read(path)
    assert samples == pytest.approx([1.0, -1.0, 0.5], abs=2.0 * STEP)


def test_silence_is_written_as_silence(tmp_path: Path) -> None:
    samples, rate = soundfile.read(sound.write_sound(heard([0.0] * 9), tmp_path / "a.wav"))
    assert rate == 8000 and samples.size == 9 and not samples.any()


@pytest.mark.parametrize(
    ("ending", "kind"),
    [
        ("wav", ("WAV", "PCM_16")),
        ("WAV", ("WAV", "PCM_16")),
        ("flac", ("FLAC", "PCM_16")),
        ("ogg", ("OGG", "VORBIS")),
    ],
)
def test_a_file_has_the_format_and_coding_of_its_ending(
    tmp_path: Path, ending: str, kind: tuple[str, str]
) -> None:
    path = sound.write_sound(heard([0.1, -0.2, 0.3] * 300), tmp_path / f"a.{ending}")
    found = soundfile.info(path)
    assert (found.format, found.subtype, found.channels) == (*kind, 1)


def test_an_ending_that_names_no_sound_is_refused_with_those_that_do(tmp_path: Path) -> None:
    with pytest.raises(
        ValueError, match=r"a\.txt: the ending says which sound file is meant; there are \.wav, "
    ):
        sound.format_of(tmp_path / "a.txt")
    # a device or a pipe has no ending: the commonest format
    assert sound.format_of(tmp_path) == ("WAV", "PCM_16")


def tone(hertz: float, seconds: float, rate: int = 8000) -> np.ndarray:
    return np.sin(2.0 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)


def test_channels_are_mixed_in_equal_parts(tmp_path: Path) -> None:
    """Left 0.6 and right 0.2 of one tone are 0.4 of it; of opposite sign they leave 0.2. What is read has its
    peak at 1, so a click of the full 1 in both keeps the scale."""
    wave = tone(437.0, 0.5)
    for sign, due in ((1.0, 0.4), (-1.0, 0.2)):
        left, right = 0.6 * wave, sign * 0.2 * wave
        left[2000] = right[2000] = 1.0
        path = tmp_path / f"a{due}.wav"
        soundfile.write(path, np.stack([left, right], axis=1), 8000, subtype="FLOAT")
        _, samples = sound.read_sound(path)
        # away from the click and the ends
        middle = samples[2500:3500]
        assert np.abs(middle).max() == pytest.approx(due, rel=0.02)


@pytest.mark.parametrize("rate", [4000, 8000, 44100])
def test_no_more_is_read_than_asked_for(tmp_path: Path, rate: int) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, 0.5 * tone(300.0, 2.0, rate), rate)
    found, samples = sound.read_sound(path, rate=6000.0, seconds=0.75)
    # a sample or two at the end of the filter
    assert found == 6000.0 and samples.size == pytest.approx(4500, abs=3)
    _, whole = sound.read_sound(path, rate=6000.0)
    assert whole.size == pytest.approx(12000, abs=3)


def test_a_quiet_file_is_brought_to_a_peak_of_one_whatever_its_sign(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wave = 0.01 * tone(300.0, 0.3)
    soundfile.write(path, np.minimum(wave, 0.004), 8000, subtype="FLOAT")
    _, samples = sound.read_sound(path)
    assert samples.min() == pytest.approx(-1.0) and samples.max() == pytest.approx(0.4, rel=0.05)


def test_a_silent_file_is_read_as_silence(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(800), 8000)
    _, samples = sound.read_sound(path)
    assert samples.size == pytest.approx(800, abs=2) and not samples.any()


@pytest.mark.parametrize(("rate", "said"), [(999, "999"), (1_000_001, "1000001")])
def test_a_rate_just_beyond_what_is_read_is_refused_with_the_limits(
    tmp_path: Path, rate: int, said: str
) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.full(2000, 0.1), rate)
    with pytest.raises(
        ValueError,
        match=f"its header states {said} samples a second; 1000 to 1000000 are read: is it damaged",
    ):
        sound.read_sound(path)


@pytest.mark.parametrize("rate", [1000, 1_000_000])
def test_a_rate_at_either_limit_is_read(tmp_path: Path, rate: int) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.full(20000, 0.1), rate)
    _, samples = sound.read_sound(path)
    assert samples.size == pytest.approx(20000 * 8000 / rate, abs=2)


def test_a_sample_that_is_no_number_is_named_by_its_place(tmp_path: Path) -> None:
    wave = tone(300.0, 0.3)
    wave[17] = np.nan
    path = tmp_path / "a.wav"
    soundfile.write(path, wave, 8000, subtype="FLOAT")
    with pytest.raises(ValueError, match="sample 18 of it is no finite number"):
        sound.read_sound(path)


def test_the_longest_stretch_is_ten_minutes() -> None:
    """As long as the longest sound that `listen` makes."""
    assert sound.MOST_SECONDS == 600.0
