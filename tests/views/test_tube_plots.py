"""Plots of tubes and substitution: what is on them, not how they look."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results.base import Status
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.swap import (
    Adjustment,
    AudioCandidate,
    BandOutcome,
    DetectionFigure,
    DetectorCandidate,
    Fitting,
    SignalNoise,
    SwapReport,
    WeakestSignal,
)
from receiver_sim.results.tube_curves import GmLine, PlateLine, PrintedMark, TransferLine, TubeCurves
from receiver_sim.results.tubes import PointError
from receiver_sim.views import plots, swap_tables, tube_tables
from receiver_sim.views.sheet import as_text
from tests.helpers import reading
from tests.helpers.drawn import bases, hold_line


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
    bases(ax, "V", "A")
    for index, line in enumerate(curves.plate_lines):
        hold_line(ax, f"family-{index}", line.plate_v, line.plate_a)
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
    bases(ax, "V", "A")
    (line,) = curves.transfer_lines
    hold_line(ax, "transfer-0", line.grid_v, line.plate_a)
    seen, recalled = by_gid(ax, "printed")
    hold_line(ax, seen, [curves.marks[0].grid_v], [curves.marks[0].plate_a])
    assert seen.get_markerfacecolor() != "white"
    assert recalled.get_markerfacecolor() == "white"


@pytest.mark.parametrize(
    ("flag", "open_"),
    [
        ("seen", False),
        ("measured", False),
        ("memory-high", True),
        ("memory-medium", True),
        ("memory-low", True),
    ],
)
def test_a_point_is_filled_if_somebody_saw_or_measured_it(curves: TubeCurves, flag: str, open_: bool) -> None:
    one = dataclasses.replace(curves, marks=(dataclasses.replace(curves.marks[0], flag=flag),))
    (mark,) = by_gid(plots.plot_plate_family(one), "printed")
    assert (mark.get_markerfacecolor() == "white") == open_


def test_words_of_tube_plots_name_their_volts(curves: TubeCurves) -> None:
    """What the screen is held at, what a line is at, the biases, the rating and the leak."""
    family = plots.plot_plate_family(curves)
    minus = "\N{MINUS SIGN}"
    said = set(reading.words_of(family))
    assert family.texts[0].get_text() == "XJ9: plate current at 100 V on the screen"
    assert {"0 V", f"{minus}2 V", f"{minus}3.5 V", "2.5 W", "extrapolated"} <= said
    current = plots.plot_screen_current(curves)
    assert current.texts[0].get_text() == "XJ9: screen current at 100 V on the screen"
    transfer = plots.plot_transfer(curves)
    assert {"plate 240 V", "screen 100 V"} <= set(reading.words_of(transfer))
    gm = plots.plot_gm_against_screen(curves)
    assert {"floating grid", "rests at -0.62 V\nplate 100 V", "grid -3.5 V", "plate 240 V"} <= set(
        reading.words_of(gm)
    )
    assert "grid leak of 2.7 Mohm to cathode" in gm.texts[1].get_text()


def test_axes_of_tube_plots_hold_what_is_drawn_on_them(curves: TubeCurves) -> None:
    """From no volts, and for the grid up to none; 7 mA at zero bias, gm of 200 umho times the root of 120."""
    family = plots.plot_plate_family(curves)
    assert family.get_xlim() == (0.0, 300.0) and family.get_ylim()[0] == 0.0
    assert 7.0 * 300.0 / 320.0 < family.get_ylim()[1] < 8.0
    transfer = plots.plot_transfer(curves)
    assert transfer.get_xlim() == (-9.0, 0.0) and 7.0 < transfer.get_ylim()[1] < 8.0
    gm = plots.plot_gm_against_screen(curves)
    top = 200.0 * 120.0**0.5
    assert gm.get_xlim() == (0.0, 120.0) and top < gm.get_ylim()[1] < 1.2 * top
    shade = sorted((p.get_x(), p.get_x() + p.get_width()) for p in by_gid(transfer, "extrapolated"))
    assert shade == [(-9.0, -3.5), (-1.5, 0.0)]


def test_lines_of_a_triode_end_where_its_rating_is_left_behind(curves: TubeCurves) -> None:
    """Its printed point at 2.9 mA and 2.5 W at 300 V, 8.3 mA: a line of zero bias that goes on to 60 mA would
    leave no room for either.
    """
    plate = curves.plate_lines[0].plate_v
    steep = dataclasses.replace(curves.plate_lines[0], plate_a=2e-4 * plate, screen_a=None)
    one = dataclasses.replace(
        curves, family_screen_v=None, screen_range=None, plate_lines=(steep,),
        marks=(dataclasses.replace(curves.marks[0], screen_v=None),),
    )  # fmt: skip
    ax = plots.plot_plate_family(one)
    assert 8.4 < ax.get_ylim()[1] < 15.0
    assert ax.texts[0].get_text() == "XJ9: plate current"
    tied = plots.plot_plate_family(dataclasses.replace(one, tied=True))
    assert tied.texts[0].get_text() == "XJ9 as triode: plate current"


def test_gm_shows_the_floating_grid_and_where_print_ends(curves: TubeCurves) -> None:
    ax = plots.plot_gm_against_screen(curves)
    bases(ax, "V", "S")
    for index, line in enumerate(curves.gm_lines):
        hold_line(ax, f"gm-{index}", line.screen_v, line.gm_siemens)
    spans = sorted((p.get_x(), p.get_x() + p.get_width()) for p in by_gid(ax, "extrapolated"))
    assert spans == [(0.0, 80.0), (100.0, 120.0)]
    (mark,) = by_gid(ax, "printed")
    assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (100.0, pytest.approx(1500.0))


def test_screen_current_is_drawn_in_milliamperes(curves: TubeCurves) -> None:
    ax = plots.plot_screen_current(curves)
    bases(ax, "V", "A")
    for index, line in enumerate(curves.plate_lines):
        hold_line(ax, f"family-{index}", line.plate_v, line.screen_a)
    (mark,) = by_gid(ax, "printed")
    hold_line(ax, mark, [240.0], [0.8e-3])


def test_residuals_tell_what_is_held_to_a_limit() -> None:
    def row(error: float, gated: bool, limit: float | None) -> PointError:
        return PointError(
            type="XJ9", index=0, connection="pentode", plate_v=240.0, screen_v=100.0, bias="-3.5 V",
            quantity="gm", printed=1.5e-3, model=1.5e-3 * (1 + error), error=error, limit=limit, gated=gated,
            source="a sheet", flag="seen",
        )  # fmt: skip

    ax = plots.plot_residuals("XJ9", [row(0.02, True, 0.05), row(-0.11, True, 0.05), row(0.3, False, None)])
    bars = [by_gid(ax, f"residual-{i}")[0] for i in range(3)]
    assert reading.axis_unit(ax.get_xlabel()) == ("1", 0.01)
    assert [b.get_width() for b in bars] == [pytest.approx(w) for w in (2.0, -11.0, 30.0)]
    assert bars[2].get_facecolor() == (1.0, 1.0, 1.0, 1.0)
    assert bars[0].get_facecolor() != bars[1].get_facecolor(), "a missed limit stands out"
    assert ax.get_yticklabels()[0].get_text() == "240/100 V, -3.5 V: gm"


@pytest.mark.parametrize(
    ("connection", "screen_v", "name"),
    [("pentode", 100.0, "240/100 V, -3.5 V: mu"), ("triode", None, "triode 240 V, -3.5 V: mu")],
)  # fmt: skip
def test_a_residual_names_its_point_and_its_figure(
    connection: str, screen_v: float | None, name: str
) -> None:
    row = PointError(
        type="XJ9", index=0, connection=connection, plate_v=240.0, screen_v=screen_v, bias="-3.5 V",
        quantity="mu", printed=70.0, model=67.2, error=-0.04, limit=0.1, gated=True, source="a sheet",
        flag="seen",
    )  # fmt: skip
    ax = plots.plot_residuals("XJ9", [row])
    assert [t.get_text() for t in ax.get_yticklabels()] == [name]
    # the limit either way, as wide as it is, and all of it in the picture
    (limit,) = [p for p in ax.patches if p.get_gid() is None]
    assert (limit.get_x(), limit.get_x() + limit.get_width()) == pytest.approx((-10.0, 10.0))
    assert ax.get_xlim()[0] < -10.0 and ax.get_xlim()[1] > 10.0


def test_the_sheet_says_which_screen_volts_are_extrapolated(curves: TubeCurves) -> None:
    text = as_text(tube_tables.curves_sheet(curves))
    rows = {line.split()[0]: line for line in text.splitlines() if line[:6].strip().isdigit()}
    assert rows["20"].endswith("* extrapolated")
    assert not rows["80"].endswith("* extrapolated")
    assert "the published points have 80 to 100 V on the screen" in text


# ---------------------------------------------------------------------------- substitution


def outcome(band: str, rotation: float | None, kind: OnsetKind | None = OnsetKind.SOFT) -> BandOutcome:
    at = None if rotation is None else ControlSetting(rotation, 60.0 * rotation)
    status = Status.DOES_NOT if rotation is None else Status.OSCILLATES
    found = Onset(
        band=band, dial_hz=3.6e6, status=status, onset=at, oscillation_hz=None, slope_per_v=0.02,
        approach_v=4.0, approach_deg=21.0, at_nine_tenths=None, gain_lowest=0.1, gain_highest=1.7,
        stops_at=None, tuning_farad=None, evaluations=7,
    )  # fmt: skip
    jump = None if kind is None else 0.0 if kind is OnsetKind.SOFT else 3.1
    return BandOutcome(found, kind, jump, None if jump is None else 4.0 * jump, None)


def candidate(tube: str, rank: int, bands: tuple[BandOutcome, ...], **other: object) -> DetectorCandidate:
    fitting = Fitting(
        heater_v=4.0, heater_a=0.65, heater_fits=False, heater="4 V, 0.65 A: a winding of its own",
        base="side-contact", other_base=True, pins=("side-contact socket: 1 g3",), cap="g1",
        shield="shield can, grounded", drop_in=False,
    )  # fmt: skip
    values: dict[str, object] = {
        "rank": rank, "tube": tube, "in_place": False, "bands": bands, "detection": None, "noise": None,
        "working": None, "ratings": (), "extrapolated": (f"{tube}: screen at 22 V",), "fitting": fitting,
        "remedies": (), "reasons": ("because",), "failed": None,
    }  # fmt: skip
    return DetectorCandidate(**{**values, **other})  # type: ignore[arg-type]


@pytest.fixture
def report() -> SwapReport:
    detection = DetectionFigure(320.0, 390.0, 70.0, 160.0, 1.1e-3, -0.61)
    weakest = (WeakestSignal(500.0, 1.4e-6, 0.37e-6), WeakestSignal(3000.0, 3.4e-6, 0.91e-6))
    noise = SignalNoise("80 m", 3.6e6, 0.9, 4300.0, 21e3, 0.7, 3.8, 10.0, weakest)
    remedies = (
        Adjustment(
            "end resistor above the control", "80 m", "regeneration.top", 22e3, None, 0.42, None, False, "why"
        ),
        Adjustment("tap", "80 m", "bands[0].coil.tap", 0.04, 0.053, 0.42, 0.431, True, None),
        Adjustment("tap", "40 m", "bands[1].coil.tap", 0.05, 0.061, 0.37, 0.52, False, "misses"),
    )
    return SwapReport(
        title="Shed set",
        socket="detector",
        reference="XJ9",
        band="80 m",
        detectors=(
            candidate(
                "XJ9", 1, (outcome("80 m", 0.42), outcome("40 m", 0.37)),
                in_place=True, detection=detection, noise=noise,
            ),
            candidate(
                "XJ8", 2, (outcome("80 m", 0.71, OnsetKind.HARD), outcome("40 m", None, None)),
                remedies=remedies,
            ),
            candidate("XJ7", 3, (), failed="no convergence", reasons=("the simulation failed",)),
        ),
        audios=(),
        left_out=("XT1: no screen to control",),
        notes=("Rank: so and so.",),
        evaluations=99,
    )  # fmt: skip


def test_swap_plot_marks_onsets_hard_ones_open(report: SwapReport) -> None:
    ax = plots.plot_swap(report)
    (soft,), (hard,) = by_gid(ax, "onset-0-0"), by_gid(ax, "onset-1-0")
    assert (soft.get_xdata()[0], hard.get_xdata()[0]) == (pytest.approx(42.0), pytest.approx(71.0))
    assert soft.get_markerfacecolor() != "white"
    assert hard.get_markerfacecolor() == "white"
    assert by_gid(ax, "onset-1-1") == []
    words = " ".join(t.get_text() for t in ax.texts)
    assert "does not oscillate on 40 m" in words
    assert "the simulation failed" in words
    assert "0.37 uV" in words
    assert [t.get_text() for t in ax.get_yticklabels()] == ["XJ9", "XJ8", "XJ7"]


def test_bands_without_an_onset_are_told_by_what_each_does(report: SwapReport) -> None:
    without = outcome("", None, None)
    bands = tuple(
        dataclasses.replace(without, onset=dataclasses.replace(without.onset, band=name, status=status))
        for name, status in (
            ("80 m", Status.NOT_IN_RANGE), ("40 m", Status.DOES_NOT), ("20 m", Status.FAILED),
            ("15 m", Status.DOES_NOT),
        )
    )  # fmt: skip
    one = dataclasses.replace(report.detectors[0], bands=bands)
    ax = plots.plot_swap(dataclasses.replace(report, detectors=(one,)))
    said = (
        "oscillates at every setting on 80 m; does not oscillate on 40 m, 15 m; the simulation failed on 20 m"
    )
    assert said in [t.get_text() for t in ax.texts]


def test_swap_sheet_shows_what_misses_and_why(report: SwapReport) -> None:
    text = as_text(swap_tables.swap_sheet(report))
    assert all(len(line) <= 100 for line in text.splitlines())
    (row,) = [line for line in text.splitlines() if line.startswith("XJ8 ") and "(43 %)" in line]
    assert row.split() == ["XJ8", "-", "5.3", "%", "(43", "%)", "X", "6.1", "%", "(52", "%)"]
    assert " - end resistor above the control: why (XJ8)" in text
    first, further = [line for line in text.splitlines() if line.startswith("1  >XJ9*")]
    assert [first.split()[-1], *further.split()[-2:]] == ["4.3", "0.37", "0.91"]
    assert "no onset" in text
    assert "71 % h" in text


def test_audio_candidates_beyond_a_rating_are_open_bars(report: SwapReport) -> None:
    fitting = report.detectors[0].fitting
    over = RatingLine("audio XT2", "plate dissipation", 3.1, 2.5, "W")

    def one(tube: str, gain: float, ratings: tuple[RatingLine, ...]) -> AudioCandidate:
        return AudioCandidate(
            tube=tube, in_place=False, fitting=fitting, rank=1, ratings=ratings, tied=False, gain=gain,
            plate_a=4.2e-3, cathode_v=5.1, noise_ohm=900.0,
        )  # fmt: skip

    audio = dataclasses.replace(
        report, socket="audio", detectors=(), audios=(one("XT1", 12.5, ()), one("XT2", 14.0, (over,)))
    )
    ax = plots.plot_swap(audio)
    (kept,), (exceeded,) = by_gid(ax, "gain-0"), by_gid(ax, "gain-1")
    assert (kept.get_width(), exceeded.get_width()) == (12.5, 14.0)
    assert exceeded.get_facecolor() == (1.0, 1.0, 1.0, 1.0)
    assert kept.get_facecolor() != exceeded.get_facecolor()
