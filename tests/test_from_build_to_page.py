"""From the build to the cell of the printed page, the point of the plot and the key of the JSON, in one run
each.

`check` of the demo is run once by its command; the figures are worked out here from the build's text and by
other runs, and looked for in the page as printed, in the document and in the drawing as saved.
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.schema import Build
from tests.decks import receiver_deck, receiver_on
from tests.helpers import reading
from tests.test_cli import DEMO, call


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, Any], Path]:
    """What `check` prints, its document, the folder it writes to."""
    out = tmp_path_factory.mktemp("page") / "results"
    answer = call("check", DEMO, "--out", out)
    assert answer.code == 0
    return answer.out, json.loads((out / "check.json").read_text(encoding="utf-8")), out


def section(text: str, heading: str) -> list[str]:
    """Return the lines of a section of a printed page."""
    lines = text.splitlines()
    start = lines.index(heading)
    end = next((n for n in range(start + 1, len(lines)) if not lines[n] and n > start + 3), len(lines))
    return lines[start + 1 : end]


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in re.split(r" {2,}", line.strip())]


def test_onset_of_a_band(page: tuple[str, dict[str, Any], Path], bench: Bench, demo: Build) -> None:
    """The loop gain measured afresh at the printed knob is one; the screen volts there are those printed.

    Middle of the dial: sqrt(7.0 x 7.2) MHz = 7.099 MHz.
    """
    text, document, out = page
    (line,) = [row for row in section(text, "Onset of oscillation") if " 7.099 " in f" {row} "]
    _, status, knob, screen, frequency, slope, approach_v, approach_deg = cells(line)
    assert status == "oscillates"
    band = document["result"]["bands"][2]
    found = band["onsets"][1]
    assert found["dial_hz"] == pytest.approx(math.sqrt(7.0e6 * 7.2e6))
    reading.check(knob, "knob %", found["onset"]["rotation"], "1", digits=3)
    build, cards = demo, api.cards_for(demo)
    here = build.bands[2]
    deck = receiver_deck(build, cards, band=here, dial_hz=found["dial_hz"], rotation=0.5)
    with bench.session(deck) as session:
        on = receiver_on(session, build, cards, band=here, dial_hz=found["dial_hz"])
        probe = Probe(on, band=here, dial_hz=found["dial_hz"])
        probe.tune(found["tuning_farad"])
        at, near = (
            probe.measure(found[key]["rotation"]) for key in ("onset", "at_nine_tenths")
        )  # the demo's control is linear
    assert at.gain == pytest.approx(1.0, abs=1e-3) and near.gain == pytest.approx(0.9, abs=3e-3)
    reading.check(screen, "screen V", at.figure, "V", digits=3)
    reading.check(frequency, "frequency MHz", at.frequency, "Hz", digits=5)
    # by two samples a tenth of loop gain apart; the curve bends by some per cent
    assert float(slope) == pytest.approx((at.gain - near.gain) / (at.figure - near.figure), rel=0.15)
    assert float(approach_v) == pytest.approx(at.figure - near.figure, abs=0.051)  # a decimal shown
    turned = 270.0 * (found["onset"]["rotation"] - found["at_nine_tenths"]["rotation"])
    assert float(approach_deg) == pytest.approx(turned, abs=0.51)  # whole degrees shown
    assert document["units"]["_farad"] == "F"
    # tuned by some tens of picofarads: 1/(w^2 L) less strays, tube and aerial
    assert found["tuning_farad"] == pytest.approx(1.0 / ((2 * math.pi * 7.099e6) ** 2 * 5.6e-6), rel=0.25)
    assert found["tuning_farad"] < 1.0 / ((2 * math.pi * 7.099e6) ** 2 * 5.6e-6)
    _marks(out / "control.svg", document)


def _marks(path: Path, document: dict[str, Any]) -> None:
    """Hold the marks of onset in the drawing as saved: their places between the ticks of 0 and 100 %."""
    space = {"s": "http://www.w3.org/2000/svg"}
    root = ElementTree.parse(path).getroot()

    def places(gid: str) -> list[tuple[float, float]]:
        (group,) = [g for g in root.iter("{http://www.w3.org/2000/svg}g") if g.get("id") == gid]
        uses = group.findall(".//s:use", space)
        return [(float(u.get("x", "nan")), float(u.get("y", "nan"))) for u in uses]

    ticks = []
    for number in range(1, 12):
        (group,) = [g for g in root.iter("{http://www.w3.org/2000/svg}g") if g.get("id") == f"xtick_{number}"]
        ticks.append(float(group.find(".//s:use", space).get("x", "nan")))  # type: ignore[union-attr]
    assert np.diff(ticks) == pytest.approx(np.diff(ticks)[0], rel=1e-3)
    for number, band in enumerate(document["result"]["bands"]):
        ((x, _),) = places(f"onset-{number}")
        share = (x - ticks[0]) / (ticks[-1] - ticks[0])
        assert share == pytest.approx(band["onsets"][1]["onset"]["rotation"], abs=1e-3), band["band"]


def test_the_working_setting_is_that_of_loop_gain_nine_tenths(page: tuple[str, dict[str, Any], Path]) -> None:
    text, document, _ = page
    result = document["result"]
    band = next(b for b in result["bands"] if b["band"] == result["reference_band"])
    near = band["onsets"][1]["at_nine_tenths"]
    working = result["operating_points"][1]
    assert working["label"] == "working"
    for one in (working["setting"], result["audio"]["setting"], result["hum"]["setting"]):
        assert one["rotation"] == pytest.approx(near["rotation"], rel=1e-9)
        assert one["screen_v"] == pytest.approx(near["screen_v"], rel=1e-3)
    assert result["regulator"]["rotation"] == pytest.approx(near["rotation"], rel=1e-9)
    (line,) = [row for row in text.splitlines() if row.startswith("Control working")]
    wanted = [(near["rotation"], "1"), (near["screen_v"], "V")]
    reading.in_order(reading.figures(line), wanted, rel=0.02)
    # three curves in the plane: at onset, and as far above it as loop gain 0.9 lies below
    labels = {curve["label"]: curve["setting"]["rotation"] for curve in band["nyquist"]}
    at = band["onsets"][1]["onset"]["rotation"]
    assert labels == {
        "below onset": pytest.approx(near["rotation"]),
        "onset": pytest.approx(at),
        "above onset": pytest.approx(2.0 * at - near["rotation"]),
    }


def test_volts_and_currents_obey_kirchhoff_on_the_page(page: tuple[str, dict[str, Any], Path]) -> None:
    """Printed cells against the build's resistors: 190 V less 560 ohm times all that is drawn; volts times
    amperes.
    """
    text, document, _ = page
    lines = text.splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith("Control working"))
    rows = {cells(line)[0]: cells(line) for line in lines[start : start + 8] if line.strip()}
    head = {
        "plate V": 2,
        "screen V": 3,
        "grid V": 4,
        "cathode V": 5,
        "plate mA": 6,
        "screen mA": 7,
        "plate W": 9,
    }
    volts = {name: float(v[1]) for name, v in _test_points(lines).items()}
    detector, audio = (
        {name: float(rows[socket][at]) for name, at in head.items() if rows[socket][at] != "-"}
        for socket in ("detector", "audio")
    )
    drawn = (
        volts["plate supply"] / 82e3 + (volts["plate supply"] - volts["regulator"]) / 4.7e3
        + (detector["plate mA"] + audio["plate mA"]) * 1e-3
    )  # fmt: skip
    # printed to a hundredth of a volt and a microampere
    assert volts["plate supply"] == pytest.approx(190.0 - 560.0 * drawn, abs=0.02)
    assert audio["cathode V"] == pytest.approx(1300.0 * audio["plate mA"] * 1e-3, rel=2e-3)
    assert volts["audio supply"] == pytest.approx(
        volts["plate supply"] - 2.2e3 * audio["plate mA"] * 1e-3, abs=0.02
    )
    for tube in (detector, audio):
        watts = (tube["plate V"] - tube.get("cathode V", 0.0)) * tube["plate mA"] * 1e-3
        assert tube["plate W"] == pytest.approx(watts, abs=2e-3)
    # the floating grid: its current through 2.7 Mohm
    assert float(rows["detector"][8]) * 1e-6 == pytest.approx(-detector["grid V"] / 2.7e6, abs=6e-9)
    assert detector["plate V"] == pytest.approx(volts["detector plate"], abs=0.051)
    assert document["result"]["operating_points"][1]["volts"]["plate supply"] == pytest.approx(
        volts["plate supply"], abs=6e-3
    )


def _test_points(lines: list[str]) -> dict[str, list[str]]:
    start = next(n for n, line in enumerate(lines) if line.startswith("test point"))
    out = {}
    for line in lines[start + 2 :]:
        if not line.strip() or line.startswith("Current"):
            break
        name, *figures = cells(line)
        out[name] = figures
    return out
