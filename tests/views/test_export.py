import dataclasses
import json
import math
import os

import numpy as np
import pytest

from receiver_sim.results.base import plain
from receiver_sim.views import files
from receiver_sim.views.export import document, write_json, write_text


def test_json_holds_the_result_and_repeats_byte_for_byte(report, tmp_path):
    path = tmp_path / "new" / "folder" / "check.json"
    assert write_json(report, path) == path
    first = path.read_bytes()
    assert json.loads(first) == plain(report)
    write_json(report, path)
    assert path.read_bytes() == first
    assert os.listdir(path.parent) == ["check.json"]


def test_names_keep_their_letters(report):
    assert "\u00e4 la carte" in document(report)


def test_nan_is_refused_and_the_old_file_stays(curves, tmp_path):
    path = write_text("old\n", tmp_path / "loop.json")
    spoilt = dataclasses.replace(curves[0], gain=np.array([0.4, math.nan]))
    with pytest.raises(ValueError, match=r"^a result holds NaN or infinity$"):
        write_json(spoilt, path)
    assert path.read_text() == "old\n"


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    path = write_text("old\n", tmp_path / "deck.cir")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "replace", full)
    with pytest.raises(OSError, match="No space left on device"):
        write_text("new\n", path)
    assert path.read_text() == "old\n"
    assert os.listdir(tmp_path) == ["deck.cir"]


def test_files_are_as_readable_as_the_user_wants_them(tmp_path):
    """A draft made by tempfile would be readable by its owner only."""
    before = os.umask(0o027)
    try:
        path = write_text("deck\n", tmp_path / "deck.cir")
    finally:
        os.umask(before)
    assert path.stat().st_mode & 0o777 == 0o640


def test_slug():
    assert files.slug("40 m") == "40-m"
    assert files.slug("../80/160 m: night") == "80-160-m-night"
    assert files.slug("\u00e9\u00e9") == "unnamed"
