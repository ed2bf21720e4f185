"""Drawing in a process of its own gives the very files that drawing here gives, or none at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim.results.check import CheckReport
from receiver_sim.views import check_plots
from receiver_sim.views.drawing_process import DrawingProcess
from receiver_sim.views.own_look import own_look


def test_it_draws_byte_by_byte_what_is_drawn_here(report: CheckReport, tmp_path: Path) -> None:
    bands = report.bands[:2]
    with DrawingProcess() as beside:
        beside.begin(bands, "A set")
        there = beside.contents()
    with own_look():
        assert dict(there) == check_plots.contents_of(bands, "A set")
        written = check_plots.write_bands(bands, tmp_path, title="A set")
    assert {path.name: path.read_bytes() for path in written} == dict(there)
    assert {"loop-gain.png", "control.svg", "selectivity.png"} <= set(there)
    assert any(name.startswith("nyquist-") for name in there)


def test_what_is_drawn_already_is_taken_as_it_is(report: CheckReport, tmp_path: Path) -> None:
    drawn = {"loop-gain.png": b"one", "loop-gain.svg": b"two", "control.png": b"alone"}
    check_plots.write(report, tmp_path, drawn=drawn)
    assert (tmp_path / "loop-gain.png").read_bytes() == b"one"
    assert (tmp_path / "loop-gain.svg").read_bytes() == b"two"
    assert (tmp_path / "control.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("bands", [(), ("no band",)])
def test_a_process_that_draws_nothing_leaves_it_to_the_caller(bands: tuple[object, ...]) -> None:
    with DrawingProcess() as beside:
        beside.begin(bands, "A set")  # type: ignore[arg-type]
        assert dict(beside.contents()) == {}


def test_one_that_was_never_begun_has_drawn_nothing() -> None:
    with DrawingProcess() as beside:
        assert dict(beside.contents()) == {}
