import dataclasses
import json
import math
import os

import numpy as np
import pytest

from receiver_sim import outputs
from receiver_sim.results.base import plain
from receiver_sim.views import files
from receiver_sim.views.export import document, encoded


def test_json_holds_the_result_and_repeats_byte_for_byte(report, tmp_path):
    path = tmp_path / "new" / "folder" / "check.json"
    assert outputs.write(path, encoded(report)) == path
    first = path.read_bytes()
    assert json.loads(first) == plain(report)
    outputs.write(path, encoded(report))
    assert path.read_bytes() == first
    assert os.listdir(path.parent) == ["check.json"]


def test_names_keep_their_letters(report):
    assert "\u00e4 la carte" in document(report)


def test_nan_is_refused_and_the_old_file_stays(curves, tmp_path):
    path = outputs.write(tmp_path / "loop.json", b"old\n")
    spoilt = dataclasses.replace(curves[0], gain=np.array([0.4, math.nan]))
    with pytest.raises(ValueError, match=r"^a result holds NaN or infinity$"):
        outputs.write(path, encoded(spoilt))
    assert path.read_text() == "old\n"


def test_names_that_would_be_one_file_are_told_apart():
    """Bands whose names give the same file name overwrote each other's plots."""
    names = ["40 m", "40-M", "40 m 2", "\u00e9", "\u00e8", "40_m"]
    assert files.slugs(names) == ["40-m", "40-m-2", "40-m-2-2", "unnamed", "unnamed-2", "40-m-3"]
    long = ["x" * 300 + "1", "x" * 300 + "2"]
    assert len(set(files.slugs(long))) == 2 and all(len(name) < 120 for name in files.slugs(long))


def test_slug():
    assert files.slug("40 m") == "40-m"
    assert files.slug("../80/160 m: night") == "80-160-m-night"
    assert files.slug("\u00e9\u00e9") == "unnamed"
