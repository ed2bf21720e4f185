"""The exported netlist of each study: what drives it, over which frequencies, and what it prints."""

from __future__ import annotations

import math
import re

import pytest

from receiver_sim import api
from receiver_sim.errors import WrongValue
from receiver_sim.schema import Build, changed_build


def alternating(text: str) -> dict[str, float]:
    """Return the elements with an a.c. value that is not zero."""
    found = re.findall(r"^([VI]\w+) \S+ \S+ dc \S+ ac (\S+)$", text, re.MULTILINE)
    assert len(found) > 3
    return {name.lower(): float(value) for name, value in found if float(value)}


def sweep(text: str) -> list[float]:
    (line,) = re.findall(r"^\.ac lin \d+ (\S+) (\S+)$", text, re.MULTILINE)
    return [float(hertz) for hertz in line]


@pytest.mark.parametrize("dial", [None, 7.05e6])
def test_loop_lies_about_the_dial_within_the_coils_bandwidth(demo: Build, dial: float | None) -> None:
    """One volt at the probe; the middle of a band is the geometric one, sqrt(7.0 * 7.2) MHz. f/Q of the
    40 m coil (Q 150) is 47 kHz: the sweep stays well inside, and is wide enough to see the phase turn.
    """
    text = api.deck_text(demo, study="loop", band="40 m", dial_hz=dial)
    low, high = sweep(text)
    middle = math.sqrt(7.0e6 * 7.2e6) if dial is None else dial
    assert 0.5 * (low + high) == pytest.approx(middle, rel=1e-6)
    assert 0.1 * middle / 150.0 < high - low < middle / 150.0
    assert alternating(text) == {"vinj": 1.0}


@pytest.mark.parametrize(("line", "volts"), [("50 Hz", "6.3 V"), ("60 Hz", "5 V")])
def test_hum_drives_the_heaters_alone_at_the_mains(demo: Build, line: str, volts: str) -> None:
    build = changed_build(demo, {"mains.frequency": line, "heater.volts": volts})
    text = api.deck_text(build, study="hum")
    assert sweep(text) == [float(line.split(maxsplit=1)[0])] * 2
    assert alternating(text) == {"vheater": float(volts.split(maxsplit=1)[0])}


def test_heaters_on_direct_current_drive_nothing(demo: Build) -> None:
    assert alternating(api.deck_text(changed_build(demo, {"heater.supply": "dc"}), study="hum")) == {}


def test_audio_is_driven_at_the_detector_and_bias_by_nothing(demo: Build) -> None:
    text = api.deck_text(demo, study="audio")
    assert "\n.ac dec 30 10 100k\n" in text and alternating(text) == {"vinj": 1.0}
    (printed,) = re.findall(r"^\.print ac (.*)$", text, re.MULTILINE)
    assert len(printed.split()) == len(demo.phones)
    bias = api.deck_text(demo, study="bias")
    assert "\n.op\n" in bias and alternating(bias) == {}


def test_an_unknown_study_names_those_there_are(demo: Build) -> None:
    with pytest.raises(WrongValue, match=r"^no study 'noise'; there are: loop, bias, audio, hum$"):
        api.deck_text(demo, study="noise")
