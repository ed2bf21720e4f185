"""Where an output ends, worked by hand from drives whose distortion and output are set down beforehand.

The studies behind `audio` are replaced by these drives; what is held is what is made of them.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _audio
from receiver_sim.engine import Bench
from receiver_sim.measure.audio_unrest import Unrest
from receiver_sim.results.audio import ClassA, Drive
from receiver_sim.schema import Build
from receiver_sim.studies import audio_response, distortion, noise, transformer_energy

INPUTS = (1e-3, 2e-3, 4e-3, 8e-3, 16e-3)
THD = (0.002, 0.008, 0.03, 0.13, 0.27)
OUT = (0.10, 0.20, 0.39, 0.66, 0.80)
WATTS = (1e-6, 4e-6, 15e-6, 43e-6, 64e-6)


@pytest.fixture
def limits(monkeypatch: pytest.MonkeyPatch, bench: Bench, demo: Build) -> Any:
    drives = [
        Drive(i, o, w, 70.0, t, np.zeros(9)) for i, o, w, t in zip(INPUTS, OUT, WATTS, THD, strict=True)
    ]
    classes = [ClassA("audio", i, 0.5, -1.0, 0.0, i < 6e-3) for i in INPUTS]
    runs = [((drive,), (one,)) for drive, one in zip(drives, classes, strict=True)]
    monkeypatch.setattr(distortion, "run", lambda *_a, **_k: runs)
    monkeypatch.setattr(noise, "run", lambda *_a, **_k: ((3e-5, {"resistors": 1.0}),))
    monkeypatch.setattr(audio_response, "run", lambda *_a, **_k: None)
    monkeypatch.setattr(transformer_energy, "run", lambda *_a, **_k: None)
    study = api.audio_in_depth(demo, rotation=0.4, inputs=INPUTS, bench=bench)
    assert study.frequency_hz == 1000.0
    return study.levels[0].limits


def test_ten_per_cent_distortion(limits: Any) -> None:
    """Between 3 and 13 % at 4 and 8 mV: seven tenths of the way, 4 mV 2^0.7; power too."""
    assert limits.clip_v == pytest.approx(4e-3 * 2**0.7)
    assert limits.clip_w == pytest.approx(15e-6 + 0.7 * 28e-6)


def test_one_decibel_of_compression(limits: Any, demo: Build) -> None:
    """The gain is 100 at first; at 8 mV 82.5, 1.67 dB down, at 4 mV 97.5, 0.22 dB down."""
    lost = [20 * math.log10(100.0 * i / o) for i, o in zip(INPUTS, OUT, strict=True)]
    assert lost[2:4] == pytest.approx([0.22, 1.67], abs=0.01)
    share = (1.0 - lost[2]) / (lost[3] - lost[2])
    assert limits.compression_v == pytest.approx(4e-3 * 2**share)
    assert limits.compression_w == pytest.approx(15e-6 + share * 28e-6)


def test_class_a_noise_and_their_levels(limits: Any, demo: Build) -> None:
    """Class A up to the last input below 6 mV; dB SPL by the phones' sensitivity for a milliwatt at 1 kHz."""
    assert limits.class_a_v == 4e-3
    phone = demo.phones[0]
    assert limits.clip_db == pytest.approx(phone.sensitivity + 10 * math.log10(limits.clip_w / 1e-3))
    # 30 uV in 2.2 kohm and 1.7 H: V^2 R/(R^2 + X^2)
    watts = (3e-5) ** 2 * 2200.0 / (2200.0**2 + (2 * math.pi * 1000.0 * 1.7) ** 2)
    assert limits.floor_v == 3e-5
    assert limits.floor_db == pytest.approx(phone.sensitivity + 10 * math.log10(watts / 1e-3), abs=0.01)


def test_what_stages_that_move_by_themselves_make_of_the_figures_is_said_first(
    bench: Bench, demo: Build, limits: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """1380 e-folds a second: one in 725 us."""
    asked: list[float] = []
    found: list[Unrest | None] = [Unrest(1380.0, 0.0), Unrest(25.0, 12.3), None]

    def unrest(_: Any, *, rotation: float) -> Unrest | None:
        asked.append(rotation)
        return found[len(asked) - 1]

    monkeypatch.setattr(_audio, "audio_unrest", unrest)
    for words in (
        "a motion without pitch grows e-fold in 720 us",
        "a motion at 12 Hz grows e-fold in 40 ms",
    ):
        first = api.audio_in_depth(demo, rotation=0.4, inputs=INPUTS, bench=bench).notes[0]
        assert first.startswith("The audio stages do not hold still with the control at 40 %: " + words)
        assert "`receiver-sim onset`" in first
    calm = api.audio_in_depth(demo, rotation=0.4, inputs=INPUTS, bench=bench)
    assert not any("hold still" in note for note in calm.notes)
    assert asked == [0.4] * 3
