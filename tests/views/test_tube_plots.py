"""Plots of tubes and substitution: what is on them, not how they look."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results.tube_curves import GmLine, PlateLine, PrintedMark, TransferLine, TubeCurves
from receiver_sim.results.tubes import PointError
from receiver_sim.views import plots, tube_tables
from receiver_sim.views.sheet import as_text


@pytest.fixture
def curves() -> TubeCurves:
    plate = np.linspace(0.0, 300.0, 31)
    grid = np.linspace(-9.0, 0.0, 19)
    screen = np.linspace(2.0, 120.0, 40)
    rise = plate / (plate + 20.0)
    return TubeCurves(
        type="XJ9",
        connection="pentode",
        tied=False,
        family_screen_v=100.0,
        plate_lines=tuple(
            PlateLine(v, plate, 7e-3 * rise * (1 + v / 6.0), 2e-3 * (2.0 - rise) * (1 + v / 6.0))
            for v in (0.0, -2.0, -3.5)
        ),
        transfer_lines=(TransferLine(240.0, 100.0, grid, 7e-3 * np.exp(grid / 3.0)),),
        gm_lines=(
            GmLine(None, 100.0, screen, np.full(40, -0.62), 2e-4 * np.sqrt(screen), 2.6e-4 * np.sqrt(screen)),
            GmLine(-3.5, 240.0, screen, np.full(40, -3.5), 1.5e-5 * screen, 2e-5 * screen),
        ),
        leak_ohm=2.7e6,
        marks=(
            PrintedMark(240.0, 100.0, -3.5, 2.9e-3, 0.8e-3, 1500e-6, "seen", "a sheet"),
            PrintedMark(240.0, 80.0, -3.5, 1.4e-3, None, None, "memory-medium", "another"),
        ),
        plate_range=(90.0, 240.0),
        screen_range=(80.0, 100.0),
        grid_range=(-3.5, -1.5),
        rating_v=300.0,
        rating_w=2.5,
        evaluations=17,
    )


def by_gid(ax, gid):
    return [a for a in (*ax.lines, *ax.patches) if a.get_gid() == gid]


def test_plate_family_holds_lines_points_rating_and_shade(curves: TubeCurves) -> None:
    ax = plots.plot_plate_family(curves)
    for index, line in enumerate(curves.plate_lines):
        (drawn,) = by_gid(ax, f"family-{index}")
        np.testing.assert_allclose(drawn.get_ydata(), 1e3 * line.plate_a)
    # only the point printed for the family's own screen volts belongs on it
    (mark,) = by_gid(ax, "printed")
    assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (240.0, pytest.approx(2.9))
    (rating,) = by_gid(ax, "rating")
    np.testing.assert_allclose(rating.get_xdata() * rating.get_ydata(), 2500.0)
    spans = sorted((p.get_x(), p.get_x() + p.get_width()) for p in by_gid(ax, "extrapolated"))
    assert spans == [(0.0, 90.0), (240.0, 300.0)]


def test_lines_beyond_the_published_bias_are_dotted(curves: TubeCurves) -> None:
    ax = plots.plot_plate_family(curves)
    looks = [by_gid(ax, f"family-{i}")[0].get_linestyle() for i in range(3)]
    assert looks[0] != "-" and looks[1:] == ["-", "-"]


def test_recalled_points_are_open_and_seen_ones_filled(curves: TubeCurves) -> None:
    ax = plots.plot_transfer(
        dataclasses.replace(
            curves,
            marks=tuple(dataclasses.replace(m, screen_v=100.0) for m in curves.marks),
        )
    )
    seen, recalled = by_gid(ax, "printed")
    assert seen.get_markerfacecolor() != "white"
    assert recalled.get_markerfacecolor() == "white"


def test_gm_shows_the_floating_grid_and_where_print_ends(curves: TubeCurves) -> None:
    ax = plots.plot_gm_against_screen(curves)
    (floating,) = by_gid(ax, "gm-0")
    np.testing.assert_allclose(floating.get_ydata(), 1e6 * curves.gm_lines[0].gm_siemens)
    spans = sorted((p.get_x(), p.get_x() + p.get_width()) for p in by_gid(ax, "extrapolated"))
    assert spans == [(0.0, 80.0), (100.0, 120.0)]
    (mark,) = by_gid(ax, "printed")
    assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (100.0, pytest.approx(1500.0))


def test_screen_current_is_drawn_in_milliamperes(curves: TubeCurves) -> None:
    ax = plots.plot_screen_current(curves)
    (drawn,) = by_gid(ax, "family-1")
    np.testing.assert_allclose(drawn.get_ydata(), 1e3 * curves.plate_lines[1].screen_a)


def test_residuals_tell_what_is_held_to_a_limit() -> None:
    def row(error: float, gated: bool, limit: float | None) -> PointError:
        return PointError(
            type="XJ9", index=0, connection="pentode", plate_v=240.0, screen_v=100.0, bias="-3.5 V",
            quantity="gm", printed=1.5e-3, model=1.5e-3 * (1 + error), error=error, limit=limit, gated=gated,
            source="a sheet", flag="seen",
        )  # fmt: skip

    ax = plots.plot_residuals("XJ9", [row(0.02, True, 0.05), row(-0.11, True, 0.05), row(0.3, False, None)])
    bars = [by_gid(ax, f"residual-{i}")[0] for i in range(3)]
    assert [b.get_width() for b in bars] == [pytest.approx(w) for w in (2.0, -11.0, 30.0)]
    assert bars[2].get_facecolor() == (1.0, 1.0, 1.0, 1.0)
    assert bars[0].get_facecolor() != bars[1].get_facecolor(), "a missed limit stands out"
    assert ax.get_yticklabels()[0].get_text() == "240/100 V, -3.5 V: gm"


def test_the_sheet_says_which_screen_volts_are_extrapolated(curves: TubeCurves) -> None:
    text = as_text(tube_tables.curves_sheet(curves))
    rows = {line.split()[0]: line for line in text.splitlines() if line[:6].strip().isdigit()}
    assert rows["20"].endswith("* extrapolated")
    assert not rows["80"].endswith("* extrapolated")
    assert "the published points have 80 to 100 V on the screen" in text
