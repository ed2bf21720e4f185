"""The pictures that turn, read back by the labels of their own axes: curves and marks lie as they should."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from receiver_sim.physics.hearing import ISO_226_2003
from tests.helpers.pages import Page

READ = """
const svg = document.getElementById(arguments[0]);
const all = (kind) => [...svg.querySelectorAll(kind)], of = (one, name) => Number(one.getAttribute(name));
const texts = all('text').map(t => [of(t, 'x'), of(t, 'y'), t.textContent]);
const curves = all('path').map(p => [p.getAttribute('class'), p.getAttribute('d')]);
const points = all('circle').map(c => [of(c, 'cx'), of(c, 'cy')]);
return [texts, curves, points, {...svg.dataset}];
"""

BOTTOM, LEFT = 172.0, 36.0
"""Where the axes cross; labels of y stand to the left, of x below."""


@pytest.fixture
def page(browser: Any, made: Any) -> Page:
    return Page(browser, made.file)


class Picture:
    """A picture with its axes: figures of the labels against their places."""

    def __init__(self, page: Page, name: str, *, log_x: bool = False, root_x: bool = False) -> None:
        """log_x: hertz on a logarithmic scale; root_x: kilohertz on one that opens in the middle."""
        texts, curves, self.points, self.data = page.script(READ, name)
        self.curves = [
            (kind, [tuple(map(float, p)) for p in re.findall(r"[ML]([-\d.]+) ([-\d.]+)", d)])
            for kind, d in curves
        ]
        below = [(x, _figure(t, 1e3 if log_x else 1.0)) for x, y, t in texts if y > BOTTOM + 8.0]
        beside = [(y - 3.0, _figure(t)) for x, y, t in texts if x < LEFT]
        self._turn: Callable[[float], float] = math.log if log_x else _root if root_x else float
        self._x = np.polyfit([x for x, _ in below], [self._turn(v) for _, v in below], 1)
        self._y = np.polyfit([y for y, _ in beside], [v for _, v in beside], 1)
        # the labels themselves lie on one scale, whatever it is
        assert np.polyval(self._x, [x for x, _ in below]) == pytest.approx(
            [self._turn(v) for _, v in below], abs=0.35
        )

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return what a place stands for."""
        turned = float(np.polyval(self._x, x))
        back = (
            math.exp(turned)
            if self._turn is math.log
            else turned * abs(turned)
            if self._turn is _root
            else turned
        )
        return back, float(np.polyval(self._y, y))

    def curve(self, kind: str, number: int = 0) -> list[tuple[float, float]]:
        found = [points for name, points in self.curves if name == kind]
        return [self.at(*p) for p in found[number]]


def _root(value: float) -> float:
    return math.copysign(math.sqrt(abs(value)), value)


def _figure(text: str, kilohertz: float = 1.0) -> float:
    """Read a label; `kilohertz`: what one is worth on its axis. 'k' right behind a number is a thousand."""
    found = re.fullmatch(r"(-?[\d.]+)(k?)(?: (dB|kHz|%|mV|V))?", text)
    assert found is not None, text
    scale = {"kHz": kilohertz, "mV": 1e-3}.get(found[3], 1.0)
    return float(found[1]) * (1e3 if found[2] else 1.0) * scale


def test_strength_stands_over_the_knob(page: Page, made: Any) -> None:
    band = made.report.turned[1]  # with backlash: the two ways differ
    page.script(
        "const b = document.getElementById('band'); b.selectedIndex = 1; b.dispatchEvent(new Event('change'))"
    )
    page.set_range("knob", 0.0)
    page.set_range("knob", 80.0)
    picture = Picture(page, "strength")
    at = int(page.script("return document.body.dataset.at"))
    (mark,) = (picture.at(*p) for p in picture.points)
    top = float(band.up_v.max())
    # the label on top has two digits
    assert mark == (
        pytest.approx(100.0 * float(band.rotation[at]), abs=0.5),
        pytest.approx(float(band.up_v[at]), rel=0.03),
    )
    for kind, due in (("curve", band.up_v), ("other", band.down_v)):
        seen = np.array(picture.curve(kind))
        assert seen[:, 0] == pytest.approx(100.0 * band.rotation, abs=0.5), kind
        assert seen[:, 1] == pytest.approx(due, abs=0.03 * top), kind


def test_resonance_stands_over_kilohertz_and_decibels(page: Page, made: Any) -> None:
    band = made.report.turned[page.band_index()]
    page.choose("station", "carrier")
    page.set_range("knob", 38.2)
    page.set_range("dial", 800.0)
    at = int(page.script("return document.body.dataset.at"))
    picture = Picture(page, "resonance", root_x=True)
    seen, row = np.array(picture.curve("curve")), np.array(band.level_db[at])
    assert 1e3 * seen[:, 0] == pytest.approx(band.offset_hz, abs=150.0)
    shown = np.clip(row, -30.0, 50.0)  # what leaves the picture stays at its edge
    assert seen[:, 1] == pytest.approx(shown, abs=0.7)
    first = np.array(picture.curve("thin"))
    assert first[:, 1] == pytest.approx(np.clip(band.level_db[0], -30.0, 50.0), abs=0.7)
    # the dial stands 800 Hz above the station, so the station lies below
    (station,) = (picture.curve("bar", n) for n in range(1))
    assert 1e3 * station[0][0] == pytest.approx(-800.0, abs=60.0)


def test_the_spectrum_stands_over_hertz_and_decibels_of_sound_pressure(page: Page, made: Any) -> None:
    """A whistle of 0.02 V peak where 1 V r.m.s. is 90 dB SPL; it glides while it is looked at.
    The threshold of hearing is ISO 226:2003.
    """
    band = made.report.turned[page.band_index()]
    page.choose("station", "carrier")
    page.set_range("knob", 106.0 * band.onset.rotation)
    page.set_range("dial", 800.0)
    picture = Picture(page, "spectrum", log_x=True)
    hertz, level = max(picture.curve("curve"), key=lambda p: p[1])
    assert hertz == pytest.approx(float(picture.data["pitch"]), rel=0.01)
    assert level == pytest.approx(float(picture.data["level"]), abs=0.7)
    piece = made.report.heard[-1]
    # a Hann window about where the whistle is as far off as the dial: amplitude of its lines, textbook
    share = (-800.0 - piece.from_hz) / (piece.to_hz - piece.from_hz)
    first = round(share * piece.volts.size - 1024)
    window = 1.0 - np.cos(2.0 * np.pi * np.arange(2048) / 2048)
    lines = np.abs(np.fft.rfft(piece.volts[first : first + 2048] * window)) * 2.0 / 2048
    due_db = 90.0 + 20.0 * math.log10(float(lines.max()) / math.sqrt(2.0))
    assert level == pytest.approx(due_db, abs=0.7)  # half a pixel
    assert float(picture.data["level"]) == pytest.approx(due_db, abs=0.1)
    heard = np.array(picture.curve("thin"))
    due = [(f, db) for f, db in ISO_226_2003 if 50.0 <= f <= 5000.0]
    assert heard[:, 0] == pytest.approx([f for f, _ in due], rel=0.01)
    assert heard[:, 1] == pytest.approx([max(db, -10.0) for _, db in due], abs=0.7)


def test_rounds_of_the_loop_add_up(page: Page, made: Any) -> None:
    """Each arrow is T times the one before; together they come to 1/(1 - T) of the first (textbook)."""
    band = made.report.turned[page.band_index()]
    page.set_range("knob", 20.0)
    at = int(page.script("return document.body.dataset.at"))
    gain = float(band.gain[at])
    texts, curves, _, data = page.script(READ, "loop")
    lines = [re.findall(r"[ML]([-\d.]+) ([-\d.]+)", d) for _, d in curves]
    arrows = [float(b[0]) - float(a[0]) for a, b in (one for one in lines if len(one) == 2)]
    assert len(arrows) == int(data["rounds"])
    ratios = [b / a for a, b in pairwise(arrows[:5])]
    assert ratios == pytest.approx([gain] * len(ratios), abs=0.02)
    words = " ".join(text for _, _, text in texts)
    assert f"T = {gain:.3f}" in words
    (said,) = re.findall(r"sum of all rounds: ([\d.]+) times the first", words)
    assert float(said) == pytest.approx(1.0 / (1.0 - gain), rel=6e-3)
