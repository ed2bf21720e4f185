"""Plots to files: what happens when one of several can't be drawn, and which are taken as they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from receiver_sim.errors import OutputFailed
from receiver_sim.outputs import FileSet
from receiver_sim.views.plots import saving, style


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names in the place of pictures: no figure is rendered. Returns the stems that were, in order."""
    stems: list[str] = []

    def contents(_figure: Figure, stem: str) -> dict[str, bytes]:
        stems.append(stem)
        return {f"{stem}.png": b"png of " + stem.encode(), f"{stem}.svg": b"svg of " + stem.encode()}

    monkeypatch.setattr(saving, "contents", contents)
    return stems


def fine() -> Axes:
    return Figure().add_subplot()


def broken(text: str) -> Axes:
    raise ZeroDivisionError(text)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_plot_that_failed_is_raised_though_others_were_written(tmp_path: Path) -> None:
    work = [("a", fine), ("b", lambda: broken("b is broken")), ("c", fine)]
    with pytest.raises(ZeroDivisionError, match=r"^b is broken$"):
        saving.save_all(work, tmp_path, title="A set")
    assert names(tmp_path) == ["a.png", "a.svg", "c.png", "c.svg"]


def test_of_several_that_failed_the_first_is_raised(tmp_path: Path) -> None:
    work = [("a", lambda: broken("first")), ("b", lambda: broken("second"))]
    with pytest.raises(ZeroDivisionError, match=r"^first$"):
        saving.save_all(work, tmp_path, title="")


def test_a_disk_that_takes_nothing_ends_it_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What can't be written once can't be written ten times: the rest is not drawn, and no fault of a drawing
    hides the reason.
    """
    tried: list[str] = []

    def full(path: Path, _content: bytes) -> Path:
        tried.append(path.name)
        raise OutputFailed(path, "no room left")

    monkeypatch.setattr(saving.outputs, "write", full)
    work = [("a", lambda: broken("a")), ("b", fine), ("c", fine)]
    with pytest.raises(OutputFailed, match="no room left"):
        saving.save_all(work, tmp_path, title="")
    assert tried == ["b.png"]


def test_progress_counts_those_that_failed_too(tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    with pytest.raises(ZeroDivisionError):
        saving.save_all(
            [("a", lambda: broken("a")), ("b", fine)], tmp_path, lambda *step: told.append(step), title=""
        )
    assert told == [("drawing", 0, 2), ("drawing", 1, 2), ("drawing", 2, 2)]


def test_paths_come_in_the_order_of_the_plots_whoever_drew_them(tmp_path: Path, quick: list[str]) -> None:
    drawn = {"b.png": b"1", "b.svg": b"2", "c.svg": b"alone"}
    work = [("c", fine), ("b", lambda: broken("is drawn already")), ("a", fine)]
    written = saving.save_all(work, tmp_path, drawn=drawn, title="")
    assert [p.name for p in written] == ["c.png", "c.svg", "b.png", "b.svg", "a.png", "a.svg"]
    assert quick == ["c", "a"]
    # one file of two is no plot: both are made anew
    assert (tmp_path / "c.svg").read_bytes() == b"svg of c"
    assert ((tmp_path / "b.png").read_bytes(), (tmp_path / "b.svg").read_bytes()) == (b"1", b"2")


def test_a_set_of_files_holds_them_until_it_is_written(tmp_path: Path) -> None:
    kept = FileSet(tmp_path, "plot")
    written = saving.save_all([("a", fine)], kept, title="")
    assert kept.names == ("a.png", "a.svg") == tuple(path.name for path in written)
    assert names(tmp_path) == []


@pytest.mark.parametrize(("title", "shown"), [("A set", ["A set"]), ("", [])])
def test_the_title_of_a_set_stands_on_its_plots_and_none_where_there_is_no_set(
    title: str, shown: list[str]
) -> None:
    figure = saving.signed(fine(), title)
    assert [t.get_text() for t in figure.texts if t.get_gid() == "set"] == shown


def test_a_title_is_cut_where_it_would_leave_the_picture() -> None:
    """At 8.5 points a letter of this font is about half as wide as high: some 13 of them an inch."""
    figure = style.new_axes().get_figure(root=True)
    assert figure is not None
    style.sign(figure, "A regenerative set " * 20)
    (words,) = [t for t in figure.texts if t.get_gid() == "set"]
    assert words.get_text().endswith("...")
    figure.canvas.draw()
    box = words.get_window_extent()
    # not so short either that the set can't be told
    assert 0.6 * figure.bbox.width < box.x1 <= figure.bbox.width
