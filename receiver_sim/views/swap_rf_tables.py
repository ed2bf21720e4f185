"""Tables of a substitution in the r.f. stage: ranked candidates with their bias, what each does on a band."""

from __future__ import annotations

from receiver_sim.results.cautions import PLATE_SUPPLY, RADIATION
from receiver_sim.results.swap import Candidate, RfBand, SwapReport
from receiver_sim.views.numbers import NOTHING, engineering, fixed
from receiver_sim.views.rf_tables import onset_place
from receiver_sim.views.sheet import Column, Grid, Note, Section


def name_of(c: Candidate) -> str:
    """Return the type, marked for what the notes under the table say."""
    return f"{'>' if c.in_place else ''}{c.tube}{'*' if c.extrapolated else ''}"


def rf_rank(report: SwapReport) -> Section:
    """Return the candidates best first, with bias and the highest part of a rating."""
    columns = (
        Column("#"), Column("tube", "left"), Column("signal\ndB"), Column("radiated\ndB"),
        Column("plate\nmA"), Column("screen\nmA"), Column("cathode\nV"), Column("of rating\n%"),
    )  # fmt: skip
    rows, styles = [], []
    for c in report.rf_stages:
        worst = max((line.value / line.limit for line in c.ratings), default=None)
        rows.append(
            (
                str(c.rank),
                name_of(c),
                _mean([o.gain_db for o in c.bands]),
                _mean([o.radiation_db for o in c.bands]),
                fixed(c.plate_a, 2, 1e3),
                fixed(c.screen_a, 2, 1e3),
                fixed(c.cathode_v, 2),
                fixed(worst, 0, 100.0),
            )
        )
        styles.append("bold" if c.in_place else "")
    notes = [
        Note(
            f"> the tube in place. Signal at the tank and power radiated against the {report.reference}, "
            "mean of all bands; of rating: the limit of its sheet that it comes closest to."
        )
    ]
    if any(c.extrapolated for c in report.rf_stages):
        notes.append(Note("* works outside the published points its model was fitted on."))
    grid = Grid(columns, tuple(rows), tuple(styles), 2)
    return Section("Candidates, best first", (grid, *notes), (*PLATE_SUPPLY, *RADIATION))


def rf_bands(report: SwapReport) -> tuple[Section, ...]:
    """Return a table for each band: signal, radiation, onset and weakest signal with each tube."""
    names = next((tuple(o.band for o in c.bands) for c in report.rf_stages if c.failed is None), ())
    return tuple(_band(report, name) for name in names)


def _band(report: SwapReport, name: str) -> Section:
    columns = (
        Column("tube", "left"), Column("aerial to\ntank V/V"), Column("against\ndB"), Column("\nradiated"),
        Column("against\ndB"), Column("onset\nknob %"), Column("moves\n%"), Column("weakest\nsignal"),
    )  # fmt: skip
    found = [(c, o) for c in report.rf_stages for o in c.bands if o.band == name]
    grid = Grid(
        columns, tuple((name_of(c), *_row(o)) for c, o in found),
        tuple("bold" if c.in_place else "" for c, _ in found),
    )  # fmt: skip
    note = Note(
        f"Middle of the dial. Against: the {report.reference}. Radiated: for 1 V peak at the hot end. "
        "Weakest signal: e.m.f. in the aerial 10 dB above the set's own noise in 3 kHz."
    )
    return Section(f"With each tube on {name}", (grid, note), (*PLATE_SUPPLY, *RADIATION))


def _row(o: RfBand) -> tuple[str, ...]:
    end = o.front
    return (
        fixed(end.aerial_gain, 2),
        _signed(o.gain_db),
        engineering(end.power_w, "W"),
        _signed(o.radiation_db),
        onset_place(end),
        NOTHING if o.moved_rotation is None else _signed(100.0 * o.moved_rotation),
        NOTHING if end.weakest_v is None else engineering(end.weakest_v, "V"),
    )


def _mean(values: list[float]) -> str:
    return _signed(sum(values) / len(values)) if values else NOTHING


def _signed(value: float) -> str:
    """Return a figure with its sign, none before a zero."""
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text
