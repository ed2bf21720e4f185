"""Makes the strip that README shows: `python notebooks/pictures/strip.py`.

What it shows is kept beside it (`strip.json`), so that a test need not draw a hundred sets to see that the
picture is current; another test holds the onsets of today against it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from receiver_sim import api
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.spread import BandSpread
from receiver_sim.views import plots

PICTURE, DATA = Path(__file__).with_name("strip.svg"), Path(__file__).with_name("strip.json")


def found() -> dict[str, Any]:
    """Return what the picture shows of the demo: per band onset, and where it lies in eight of ten sets."""
    report = api.check(api.shipped_build("demo"))
    assert report.sure is not None
    bands = []
    for band, sets in zip(report.bands, report.sure.bands, strict=True):
        onset = band.middle.onset
        assert onset is not None and sets.knob_low is not None and sets.knob_high is not None
        places = {"onset": onset.rotation, "low": sets.knob_low, "high": sets.knob_high}
        counts = {"sets": sets.sets, "oscillating": sets.oscillating}
        bands.append({"band": band.band, **{k: round(v, 4) for k, v in places.items()}, **counts})
    return {"title": report.title, "bands": bands}


def _onset(row: dict[str, Any]) -> Onset:
    at = ControlSetting(row["onset"], None)
    nothing: list[Any] = [None] * 8
    return Onset(row["band"], 0.0, Status.OSCILLATES, at, *nothing, None, 0)


def picture(data: dict[str, Any]) -> bytes:
    """Return the strip as SVG."""
    none = np.array([])
    ranges = [
        BandSpread(
            row["band"], row["sets"], row["oscillating"], 0, 0, 0, none, none, row["low"], None, row["high"],
            None, None, None, None, None, None,
        )
        for row in data["bands"]
    ]  # fmt: skip
    axes = plots.plot_strip([_onset(row) for row in data["bands"]], ranges=ranges)
    return plots.contents(plots.signed(axes, data["title"]), "strip")["strip.svg"]


if __name__ == "__main__":
    today = found()
    DATA.write_text(json.dumps(today, indent=1) + "\n", encoding="utf-8")
    PICTURE.write_bytes(picture(today))
