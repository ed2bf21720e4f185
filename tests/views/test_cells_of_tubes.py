"""Every figure of the tables of `swap` and `tubes`: value, unit, column (`tests/helpers/cells.py`)."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
import yaml

from receiver_sim.data import folder
from receiver_sim.results import swap, tubes
from receiver_sim.results.base import Status
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import SCREEN, ControlSetting, Onset
from receiver_sim.results.tube_curves import GmLine, TubeCurves
from receiver_sim.schema.card import card_for
from receiver_sim.views import swap_tables, tube_tables
from tests.helpers import reading
from tests.helpers.cells import Column, always, figure, free, hold, note_with, the, words
from tests.helpers.filling import Source, filled

BANDS = ("80 m", "40 m")


def outcome(source: Source, band: str, kind: OnsetKind | None = OnsetKind.HARD) -> swap.BandOutcome:
    # onset at screen volts of two digits before the point, as sets have them
    at = ControlSetting(source.number("rotation"), 10.0 * source.number("screen_v"))
    found = filled(Onset, source, band=band, status=Status.OSCILLATES, onset=at)
    return filled(swap.BandOutcome, source, onset=found, kind=kind)


@pytest.fixture
def report() -> swap.SwapReport:
    source = Source()

    def one(rank: int, tube: str, in_place: bool) -> swap.DetectorCandidate:
        remedies = (
            filled(swap.Adjustment, source, what="end resistor", band="80 m", key="regeneration.top",
                   after=1e5 * source.mantissa(), reason=None),
            filled(swap.Adjustment, source, what="tap", band="80 m", key="bands[0].coil.tap", reason=None),
            filled(swap.Adjustment, source, what="tap (turns)", band="40 m", key="bands[1].coil.tap",
                   works=False, after=1.0 + source.mantissa(), reason=None),
        )  # fmt: skip
        figure_ = filled(swap.DetectionFigure, source, total_per_v=1000.0 * source.mantissa())
        used = filled(
            swap.Fitted, source, detection_low_per_v=1000.0 * source.mantissa(),
            detection=filled(swap.DetectionFigure, source, total_per_v=1000.0 * source.mantissa()),
            detection_high_per_v=1000.0 * source.mantissa(),
            range=filled(
                swap.OnsetRange, source, quantity=SCREEN, unit="V",
                figure_low=10.0 * source.mantissa(), figure_high=10.0 + 10.0 * source.mantissa(),
            ),
        )  # fmt: skip
        return filled(
            swap.DetectorCandidate, source, rank=rank, tube=tube, in_place=in_place, extrapolated=(),
            bands=tuple(outcome(source, band) for band in BANDS), detection=figure_, fitted=used,
            remedies=() if in_place else remedies, failed=None,
        )  # fmt: skip

    detectors = (one(1, "XJ7", False), one(2, "XJ8", True))
    return filled(swap.SwapReport, source, socket="detector", band="40 m", detectors=detectors, audios=())


def mine(candidate: swap.DetectorCandidate) -> Onset:
    return candidate.bands[1].onset


def at(candidate: swap.DetectorCandidate) -> ControlSetting:
    found = mine(candidate).onset
    assert found is not None
    return found


def weakest(number: int):  # type: ignore[no-untyped-def]
    return lambda c: c.noise.weakest[number].aerial_v


def test_detectors_ranked(report: swap.SwapReport) -> None:
    """Figures of the band that they are compared on; the largest backlash of all bands."""
    columns: list[Column] = [
        ("#", lambda c: f"{'=' if c.alike else ''}{c.rank}"),
        ("tube", lambda c: f"{'>' if c.in_place else ''}{c.tube}"),
        ("bands", always("2/2")),
        ("knob %", (lambda c: at(c).rotation, "1")),
        ("screen V", (lambda c: at(c).screen_v, "V")),
        ("slope per V", (lambda c: mine(c).slope_per_v, "1/V")),
        ("approach deg", (lambda c: mine(c).approach_deg, "deg")),
        ("backlash V", (lambda c: max(o.backlash_v for o in c.bands), "V")),
        ("detection 1/V", figure("detection.total_per_v", "1/V")),
        ("as used 1/V", figure("fitted.detection.total_per_v", "1/V")),
        ("8 of 10 1/V", free),
        ("noise kohm", figure("noise.tube_ohm", "ohm")),
        ("weakest 500 Hz uV", (weakest(0), "V")),
        ("weakest 3 kHz uV", (weakest(1), "V")),
    ]
    page = swap_tables.swap_sheet(report)
    found = the(page, "Candidates, best first")
    # the bandwidth in the heading is no unit of the column
    heads = tuple(re.sub(r" (500 Hz|3 kHz) uV", r" \1 V", h) for h in found.headings)
    assert [h for h in found.headings if h.startswith("weakest")] == ["weakest 500 Hz uV", "weakest 3 kHz uV"]
    micro = tuple((*row[:12], *(f"{cell} uV" for cell in row[12:])) for row in found.rows)
    columns[12:] = [("weakest 500 Hz V", columns[12][1]), ("weakest 3 kHz V", columns[13][1])]
    hold(reading.Table(found.section, heads, micro), report.detectors, columns)
    for cell, c in zip(found.column("8 of 10 1/V"), report.detectors, strict=True):
        assert c.fitted is not None
        low, high = (float(text) for text in cell.split(" to "))
        wanted = (c.fitted.detection_low_per_v, c.fitted.detection_high_per_v)
        assert (low, high) == pytest.approx(wanted, abs=0.51)


def test_onset_of_each_tube_on_every_band(report: swap.SwapReport) -> None:
    found = the(swap_tables.swap_sheet(report), "Onset on every band")
    assert found.headings == ("tube", "80 m V knob", "40 m V knob")
    for row, candidate in zip(found.rows, report.detectors, strict=True):
        assert row[0] == candidate.tube
        for cell, band in zip(row[1:], candidate.bands, strict=True):
            assert band.onset.onset is not None
            volts, knob, mark = re.fullmatch(r"(\S+)  (\d+ %)( h)", cell).groups()  # type: ignore[union-attr]
            assert mark == " h"
            reading.check(volts, "V", band.onset.onset.screen_v, "V", digits=2)
            assert reading.read(knob).value == pytest.approx(band.onset.onset.rotation, abs=6e-3)


def test_how_far_tubes_of_one_type_differ(report: swap.SwapReport) -> None:
    """Per cent of the knob, volts of the screen, degrees of turning; how many of the tubes drawn begin."""
    found = the(swap_tables.swap_sheet(report), "How far tubes of one type differ, as used")
    first = report.detectors[0].fitted
    assert first is not None
    assert found.headings == (
        "tube", f"onset of {first.range.drawn}", "knob %", "screen V", "approach deg", "detection 1/V"
    )  # fmt: skip
    for row, candidate in zip(found.rows, report.detectors, strict=True):
        assert candidate.fitted is not None
        one = candidate.fitted.range
        assert row[1] == str(one.with_onset)
        ends = [tuple(float(text) for text in cell.split(" to ")) for cell in row[2:5]]
        assert one.knob_low is not None and one.knob_high is not None
        assert ends[0] == pytest.approx((100.0 * one.knob_low, 100.0 * one.knob_high), rel=0.05)
        assert ends[1] == pytest.approx((one.figure_low, one.figure_high), abs=0.051)
        assert ends[2] == pytest.approx((one.approach_low_deg, one.approach_high_deg), rel=0.05)


def test_what_brings_a_tube_to_the_same_onset(report: swap.SwapReport) -> None:
    """Ohms for the end resistor, per cent or turns for the taps; in brackets where the knob then is."""
    found = the(swap_tables.swap_sheet(report), "What brings it to the onset.*")
    assert found.headings == ("tube", "end resistor (40 m)", "tap 80 m", "tap 40 m")
    resistor, share, turns = report.detectors[0].remedies
    (row,) = found.rows
    # the resistor was sought on 80 m, the table speaks of 40 m
    assert row[:2] == ("XJ7", "-")
    assert share.after is not None and share.found is not None
    assert turns.after is not None and turns.found is not None
    assert row[2] == f"{100 * share.after:.4g} % ({100 * share.found:.0f} %)"
    assert row[3] == f"X {turns.after:.4g} turns ({100 * turns.found:.0f} %)"
    page = swap_tables.swap_sheet(_compared_on(report, "80 m"))
    cell = the(page, "What brings it to the onset.*").rows[0][1]
    assert resistor.after is not None and resistor.found is not None
    # two digits, as resistors are sold
    seen = reading.figures(cell)
    reading.in_order(seen, [(resistor.after, "ohm"), (resistor.found, "1")], rel=0.05)


def _compared_on(report: swap.SwapReport, band: str) -> swap.SwapReport:
    import dataclasses

    return dataclasses.replace(report, band=band)


def test_audio_tubes_ranked() -> None:
    source = Source()
    audios = tuple(
        filled(
            swap.AudioCandidate, source, rank=rank, tube=f"XT{rank}", in_place=rank == 2, tied=rank == 1,
            extrapolated=(), gain=30.0 * source.mantissa(), failed=None,
            remedies=(filled(swap.Adjustment, source, after=1e4 * source.mantissa(), found=7e-3 / rank),),
        )
        for rank in (1, 2)
    )  # fmt: skip
    report = filled(swap.SwapReport, source, socket="audio", detectors=(), audios=audios)
    columns: list[Column] = [
        ("#", lambda c: str(c.rank)),
        ("tube", lambda c: f"{'>' if c.in_place else ''}{c.tube}"),
        ("as", lambda c: "triode" if c.tied else "own"),
        ("gain", figure("gain", "1")),
        ("plate mA", figure("plate_a", "A")),
        ("cathode V", figure("cathode_v", "V")),
        ("noise kohm", figure("noise_ohm", "ohm")),
        ("cathode resistor", (lambda c: c.remedies[0].after, "ohm")),
        ("draws mA", (lambda c: c.remedies[0].found, "A")),
    ]
    found = the(swap_tables.swap_sheet(report), "Candidates, best first")
    hold(found, audios, columns, digits=2)


def test_rf_tubes_ranked_and_on_each_band() -> None:
    """A row each tube: bias and the limit it comes closest to; on each band the figures beside the tube in
    place.
    """
    source = Source()
    candidates = tuple(
        filled(
            swap.RfCandidate, source, rank=rank, tube=f"XT{rank}", in_place=rank == 2, extrapolated=(),
            failed=None, ratings=(
                RatingLine("r.f. X", "plate volts", 60.0 * rank, 300.0, "V"),
                RatingLine("r.f. X", "screen volts", 41.0 * rank, 100.0, "V"),
            ),
            bands=tuple(
                filled(
                    swap.RfBand, source, band=band, gain_db=3.0 * sign * rank,
                    radiation_db=-2.0 * sign - rank, moved_rotation=-0.031 * sign * rank,
                )
                for band, sign in (("80 m", 1.5), ("40 m", 1.0))
            ),
        )
        for rank in (1, 2)
    )  # fmt: skip
    report = filled(
        swap.SwapReport, source, socket="rf", detectors=(), audios=(), rf_stages=candidates, title="set"
    )
    page = swap_tables.swap_sheet(report)
    assert page.title == "set: tubes for the r.f. socket"
    columns: list[Column] = [
        ("#", lambda c: str(c.rank)),
        ("tube", lambda c: f"{'>' if c.in_place else ''}{c.tube}"),
        ("signal dB", (lambda c: 3.75 * c.rank, "dB")),
        ("radiated dB", (lambda c: -2.5 - c.rank, "dB")),
        ("plate mA", figure("plate_a", "A")),
        ("screen mA", figure("screen_a", "A")),
        ("cathode V", figure("cathode_v", "V")),
        ("of rating %", (lambda c: 0.41 * c.rank, "1")),
    ]
    hold(the(page, "Candidates, best first"), candidates, columns, digits=2)
    for number, band in enumerate(BANDS):
        rows = [(c, c.bands[number]) for c in candidates]
        on_band: list[Column] = [
            ("tube", lambda row: f"{'>' if row[0].in_place else ''}{row[0].tube}"),
            ("aerial to tank V/V", (lambda row: row[1].front.aerial_gain, "1")),
            ("against dB", (lambda row: row[1].gain_db, "dB")),
            ("radiated", (lambda row: row[1].front.power_w, "W")),
            ("against dB", (lambda row: row[1].radiation_db, "dB")),
            ("onset knob %", (lambda row: row[1].front.onset.rotation, "1")),
            ("moves %", (lambda row: row[1].moved_rotation, "1")),
            ("weakest signal", (lambda row: row[1].front.weakest_v, "V")),
        ]
        hold(the(page, f"With each tube on {band}"), rows, on_band)


def test_practical_side_names_heater_and_pins() -> None:
    source = Source()
    fitting = filled(
        swap.Fitting, source, drop_in=False, other_base=False, base="octal", pins=("pin 3: g3 becomes g2",)
    )
    one = filled(swap.AudioCandidate, source, fitting=fitting, in_place=False, ratings=(
        RatingLine("audio X", "plate volts", 1.0, 2.0, "V"),), failed=None)  # fmt: skip
    report = filled(swap.SwapReport, source, socket="audio", detectors=(), audios=(one,), reference="6J5")
    text = note_with(swap_tables.swap_sheet(report), "rewired")
    assert text == f"heater {fitting.heater}; same octal socket rewired: {fitting.pins[0]}; {fitting.shield}"


# ---------------------------------------------------------------------------- cards


def test_a_card_is_shown_as_its_file_states_it() -> None:
    """The file read by PyYAML alone, its figures with their units as printed there."""
    card = card_for("6SJ7")
    written = yaml.safe_load((folder("models") / "6SJ7.yaml").read_text(encoding="utf-8"))
    page = tube_tables.card_sheet(card)
    found = the(page, "Published points")
    heads = {"plate V": "plate", "screen V": "screen", "plate mA": "plate_current",
             "screen mA": "screen_current", "gm umho": "gm"}  # fmt: skip
    assert len(found.rows) == len(written["points"])
    for row, point in zip(found.rows, written["points"], strict=True):
        cells = dict(zip(found.headings, row, strict=True))
        for heading, key in heads.items():
            if key in point:
                stated = reading.read(str(point[key]))
                reading.check(cells[heading], heading, stated.value, stated.base, digits=4)
            else:
                assert cells[heading] == "-"
        stated = reading.read(str(point.get("grid", point.get("cathode_resistor"))))
        reading.check(cells["bias"], "", stated.value, stated.base, digits=3)
    capacitances = note_with(page, "capacitances:")
    stated = [reading.read(written["capacitances"][key]) for key in ("cgp", "cgk", "cpk")]
    reading.in_order(reading.figures(capacitances), [(s.value, s.base) for s in stated], rel=5e-3)
    limits = written["ratings"]
    keys = [k for k in ("plate", "plate_power", "screen", "screen_power") if k in limits]
    stated = [reading.read(limits[key]) for key in keys]
    greatest = note_with(page, "maximum")
    reading.in_order(reading.figures(greatest), [(s.value, s.base) for s in stated], rel=5e-3)
    heater = [reading.read(written["heater"][key]) for key in ("volts", "amps")]
    seen = reading.figures(note_with(page, "cut-off; heater"))
    reading.in_order(seen[:2], [(s.value, s.base) for s in heater], rel=5e-3)
    fitted = the(page, "Fitted law")
    for name, cell, one_deviation, held in fitted.rows:
        stated_ = written["fit"]["parameters"][name]
        assert float(cell) == pytest.approx(stated_["value"], rel=5e-5)
        assert float(one_deviation) == pytest.approx(stated_["deviation"], rel=0.05)
        assert held == stated_["held_by"]


def test_the_list_of_cards() -> None:
    cards = [card_for(name) for name in ("6SJ7", "6C5")]
    columns: list[Column] = [
        ("type", words("type")),
        ("kind", words("kind")),
        ("cut-off", words("cutoff")),
        ("heater V", figure("heater.volts", "V")),
        ("heater A", figure("heater.amps", "A")),
        ("base", words("base", 22)),
        ("top cap", lambda c: c.cap or "-"),
        ("points", lambda c: str(len(c.points))),
    ]
    hold(the(tube_tables.list_table(cards), "Tube cards"), cards, columns)


def error_row(
    source: Source, quantity: str, printed: float, error: float, **other: object
) -> tubes.PointError:
    return filled(
        tubes.PointError, source, quantity=quantity, printed=printed, model=printed * (1.0 + error),
        error=error, bias="-3.5 V", flag="memory-high", plate_v=250.0, screen_v=100.0, **other,
    )  # fmt: skip


UNITS = {"plate_current": "A", "screen_current": "A", "gm": "S", "mu": "1", "rp": "ohm", "bias": "V"}


def test_points_against_the_model() -> None:
    """Print and model in the unit of their quantity, the error with its sign, the limit kept or missed."""
    source = Source()
    given = (("plate_current", 3.1e-3, 0.021), ("screen_current", 0.83e-3, -0.117), ("gm", 1.57e-3, 0.064),
             ("mu", 19.3, -0.012), ("rp", 9.7e3, 0.133), ("bias", -8.3, 0.09))  # fmt: skip
    rows = [error_row(source, name, printed, error, limit=0.1, gated=True) for name, printed, error in given]
    page = tube_tables.check_table(tubes.TubeTable(tuple(rows), 1.0, 3))
    columns: list[Column] = [
        ("type", words("type")),
        ("as", words("connection")),
        ("plate V", figure("plate_v", "V")),
        ("screen V", figure("screen_v", "V")),
        ("bias", words("bias")),
        ("", free),
        ("printed", free),
        ("model", free),
        ("error %", figure("error", "1")),
        ("", lambda r: "X MISSED" if abs(r.error) > 0.1 else "within"),
        ("flag", always("high")),
    ]
    found = the(page, "Published points against ngspice")
    hold(found, rows, columns)
    names = ["Ip", "Is", "gm", "mu", "rp", "cut-off"]
    for cells, row, name in zip(found.rows, rows, names, strict=True):
        assert cells[5] == name
        reading.check(cells[6], "", row.printed, UNITS[row.quantity], digits=3)
        reading.check(cells[7], "", row.model, UNITS[row.quantity], digits=3)
    # two beyond 10 %; medians of |error|: 2.1 and 6.4 % are 4.25 %, the others stand alone
    first = note_with(page, "counted")
    assert first.startswith("6 figures counted, 2 missed")
    medians = [float(m) for m in re.findall(r"([\d.]+) %", first)]
    assert medians == pytest.approx([4.25, 11.7, 1.2, 13.3, 9.0], abs=0.051)


def test_leave_one_out_tells_median_and_nine_of_ten() -> None:
    """Errors of 1 to 10 %: the middle is 5.5 %, nine of ten lie within 9 %."""
    source = Source()
    errors = tuple(
        error_row(source, "plate_current", 1e-3, 0.01 * n * (-1) ** n, limit=0.05, gated=True)
        for n in range(1, 11)
    )
    left = tubes.LeftOut("X", 0, errors, (0.05,) * 10)
    page = tube_tables.leave_one_out_table([tubes.LeaveOneOut("X", (left,))])
    # 1.2816 deviations of 5 % are 6.41 %: ln(1.06) = 5.8 % lies within, ln(0.93) = -7.3 % does not
    assert note_with(page, "80 %") == "80 % ranges: 60 % of 10 figures lie within"
    assert note_with(page, "median") == "plate current and gm: median 5.5 %, nine of ten within 9.0 %"


def test_detector_conditions_of_a_tube() -> None:
    """At 20 V on the screen, half way between the points of the curve; gm and the cathode's in micromhos."""
    line = GmLine(None, 90.0, np.array([10.0, 30.0]), np.array([-0.5, -0.7]), np.array([310e-6, 530e-6]),
                  np.array([410e-6, 670e-6]))  # fmt: skip
    curves = filled(
        TubeCurves, gm_lines=(line,), screen_range=(25.0, 100.0), leak_ohm=2.7e6, type="X", tied=False
    )
    found = the(tube_tables.curves_sheet(curves), "As a detector.*")
    assert found.headings == ("screen V", "grid rests at V", "gm umho", "cathode gm umho", "")
    by_volts = {row[0]: row[1:] for row in found.rows}
    assert by_volts["20"] == ("-0.60", "420", "540", "* extrapolated")
    assert by_volts["30"] == ("-0.70", "530", "670", "")


def test_a_set_with_nothing_to_bring_onset_back_with_says_so(report: swap.SwapReport) -> None:
    """A set with a throttle and a tickler read 'nothing to bring there', and no reason."""
    bare = tuple(dataclasses.replace(one, remedies=()) for one in report.detectors)
    text = note_with(
        swap_tables.swap_sheet(dataclasses.replace(report, detectors=bare)), "No change was tried"
    )
    assert "neither a resistor above the control nor a tap" in text and "tickler's turns" in text
