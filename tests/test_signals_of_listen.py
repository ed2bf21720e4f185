"""What `listen` makes of its options, without a run: signals, limits of a fade, where the control stands."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from receiver_sim.api import _listen
from receiver_sim.cli.listen import _control, _signals
from receiver_sim.errors import UserError
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import Oscillation
from receiver_sim.results.onset import ControlSetting
from tests.helpers.filling import filled

NONE: dict[str, Any] = {
    "carriers": (), "keyed": (), "broadcast": (), "voices": (), "lower": (), "fade": None, "seconds": 5.0,
}  # fmt: skip


def made(**options: Any) -> Any:
    (signal,) = _signals(**{**NONE, **options})
    return signal


@pytest.fixture
def speech(tmp_path: Path) -> Path:
    path = tmp_path / "speech.wav"
    soundfile.write(path, np.sin(np.arange(4000) * 0.3), 8000)
    return path


def test_each_sideband_is_that_of_its_option(speech: Path) -> None:
    for option, side in (("voices", "upper"), ("lower", "lower")):
        signal = made(**{option: (f"7uV@-1.5kHz:{speech}",)})
        assert (signal.kind, signal.sideband) == ("ssb", side)
        assert (signal.level_v, signal.offset_hz) == (pytest.approx(7e-6), -1500.0)


def test_a_tone_has_the_depth_of_the_am_test_and_speech_that_of_a_station(speech: Path) -> None:
    """30 %: the standard test of receivers (IEC 60315); 80 % for a programme: common practice, no source."""
    assert made(broadcast=("40uV@0Hz",)).depth == 0.3
    assert made(broadcast=(f"40uV@0Hz:{speech}",)).depth == 0.8


@pytest.mark.parametrize(("seconds", "start"), [(0.1, 0.01), (1.0, 0.1), (2.0, 0.2), (60.0, 0.2)])
def test_a_signal_begins_soon_in_a_short_sound(seconds: float, start: float) -> None:
    """A tenth of the sound passes before it at most."""
    assert made(carriers=("100uV@800Hz",), seconds=seconds).start_s == pytest.approx(start)


def test_a_fade_is_between_nothing_and_eighty_decibels() -> None:
    for text in ("0,4s", "-3,4s", "80.1,4s", "800,4s"):
        with pytest.raises(UserError, match="the depth lies above 0 and up to 80 dB"):
            made(carriers=("1uV@1Hz",), fade=text)
    signal = made(carriers=("1uV@1Hz",), fade="80dB,4s")
    assert (signal.fade_db, signal.fade_s) == (80.0, 4.0)


def test_of_onset_and_at_are_shares_not_per_cent() -> None:
    assert _control("45%", None, None) == ([(0.0, 0.45)], None)
    assert _control(None, "103%", None) == (None, pytest.approx(1.03))
    assert _control(None, None, "0s:35%,4s:45%") == ([(0.0, 0.35), (4.0, 0.45)], None)
    with pytest.raises(UserError, match="--at and --path both say where the control is"):
        _control("45%", None, "0s:35%")


def oscillation(rotation: float | None, status: Status = Status.OSCILLATES) -> Oscillation:
    onset = None if rotation is None else ControlSetting(rotation, 22.0)
    return filled(Oscillation, status=status, onset=onset, amplitudes=None)


def test_without_a_path_the_control_goes_through_onset_and_back() -> None:
    """It begins below onset, is above it in the middle, and no knob turns past its stop."""
    path = _listen.onset_path(oscillation(0.4), seconds=10.0, reach=0.05)
    assert path == [(0.0, pytest.approx(0.38)), (4.5, pytest.approx(0.42)), (5.5, pytest.approx(0.42)),
                    (10.0, pytest.approx(0.38))]  # fmt: skip
    assert max(place for _, place in _listen.onset_path(oscillation(0.98), seconds=10.0, reach=0.05)) == 1.0


@pytest.mark.parametrize(
    ("rotation", "status", "relative", "place"),
    [(0.4, Status.OSCILLATES, 1.03, 0.412), (0.98, Status.OSCILLATES, 1.05, 1.0),
     (0.4, Status.OSCILLATES, 0.5, 0.2), (None, Status.DOES_NOT, 1.03, 1.0),
     (None, Status.NOT_IN_RANGE, 1.03, 0.0)],
)  # fmt: skip
def test_a_part_of_onset_is_a_place_on_the_knob(
    rotation: float | None, status: Status, relative: float, place: float
) -> None:
    """Without an onset the end nearest to one: fully up if it never oscillates, down if it always does."""
    assert _listen._standing(oscillation(rotation, status), relative) == pytest.approx(place)
