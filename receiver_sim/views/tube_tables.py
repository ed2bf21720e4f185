"""Tables about tube cards: the list, one card, published points against the model, what a fit gave."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

import numpy as np

from receiver_sim.results.cautions import PLATE_SUPPLY
from receiver_sim.results.tube_curves import TubeCurves
from receiver_sim.results.tubes import FitCheck, FitResult, LeaveOneOut, PointError, TubeTable
from receiver_sim.schema.card import TubeCard
from receiver_sim.views.numbers import engineering, shorten
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet

NAMES = {
    "plate_current": ("Ip", "A"),
    "screen_current": ("Is", "A"),
    "gm": ("gm", "S"),
    "mu": ("mu", ""),
    "rp": ("rp", "ohm"),
    "bias": ("cut-off", "V"),
    "gain": ("gain", ""),
}
"""What each quantity is called in print, and its unit."""

_LEGEND = (
    "Ip, Is: plate and screen current. Flag: the printed figure was seen in its source, or recalled with "
    "high, medium or low confidence."
)


def list_table(cards: Sequence[TubeCard]) -> Section:
    """Return one line a type: what it is, heater, base, how much is known of it."""
    columns = (
        Column("type", "left"), Column("kind", "left"), Column("cut-off", "left"), Column("heater\nV"),
        Column("heater\nA"), Column("base", "left"), Column("top cap", "left"), Column("points"),
    )  # fmt: skip
    rows = tuple(
        (
            card.type,
            card.kind,
            card.cutoff,
            f"{card.heater.volts:g}",
            f"{card.heater.amps:g}",
            shorten(card.base, 22),
            card.cap or "-",
            str(len(card.points)),
        )
        for card in cards
    )
    note = Note("Points: published operating points in the card; 'tubes show TYPE' prints one card.")
    return Section("Tube cards", (Grid(columns, rows), note), ())


def card_sheet(card: TubeCard) -> Sheet:
    """Return one card: base, ratings, capacitances, points as printed, the fitted parameters with their
    deviations.
    """
    return Sheet(
        f"{card.type}: {card.title}",
        (_facts(card), _points(card), *((_parameters(card),) if card.fit is not None else ())),
    )


def _facts(card: TubeCard) -> Section:
    pins = ", ".join(f"{pin} {what}" for pin, what in card.pins.items())
    ratings, caps = card.ratings, card.capacitances
    limits = [f"plate {engineering(ratings.plate, 'V')}"]
    for what, value, unit in (
        ("plate", ratings.plate_power, "W"),
        ("screen", ratings.screen, "V"),
        ("screen", ratings.screen_power, "W"),
    ):
        if value is not None:
            limits.append(f"{what} {engineering(value, unit)}")
    direct = ", direct" if card.heater.direct else ""
    lines = [
        f"{card.kind}, {card.cutoff} cut-off; heater {card.heater.volts:g} V, {card.heater.amps:g} A{direct}",
        f"base {card.base} ({card.pins_flag}): {pins}",
        f"maximum {', '.join(limits)} ({ratings.source}, {ratings.flag})",
        f"capacitances: grid to plate {engineering(caps.cgp, 'F')}, input {engineering(caps.cgk, 'F')}, "
        f"output {engineering(caps.cpk, 'F')} ({caps.source}, {caps.flag})",
    ]
    return Section("What it is", tuple(Note(line) for line in lines), PLATE_SUPPLY)


def _points(card: TubeCard) -> Section:
    columns = (
        Column("#"), Column("as", "left"), Column("plate\nV"), Column("screen\nV"), Column("bias"),
        Column("plate\nmA"), Column("screen\nmA"), Column("gm\numho"), Column("flag", "left"),
        Column("source", "left"),
    )  # fmt: skip
    rows = []
    for number, point in enumerate(card.points):
        bias = f"{point.grid:g} V" if point.grid is not None else engineering(point.cathode_resistor, "ohm")
        rows.append(
            (
                str(number),
                point.as_,
                f"{point.plate:g}",
                "-" if point.screen is None else f"{point.screen:g}",
                bias,
                "-" if point.plate_current is None else f"{point.plate_current * 1e3:.4g}",
                "-" if point.screen_current is None else f"{point.screen_current * 1e3:.4g}",
                "-" if point.gm is None else f"{point.gm * 1e6:.4g}",
                point.flag,
                shorten(point.source, 26),
            )
        )
    return Section("Published points", (Grid(columns, tuple(rows)),), PLATE_SUPPLY)


def _parameters(card: TubeCard) -> Section:
    assert card.fit is not None
    columns = (
        Column("parameter", "left"), Column("value"), Column("standard\ndeviation"), Column("held by", "left")
    )  # fmt: skip
    rows = tuple(
        (name, f"{p.value:.5g}", f"{p.deviation:.2g}", p.held_by) for name, p in card.fit.parameters.items()
    )
    span = card.fit.range
    screen = "" if span.screen is None else f", screen {span.screen[0]:g} to {span.screen[1]:g} V"
    note = Note(
        f"Fitted on plate {span.plate[0]:g} to {span.plate[1]:g} V{screen}, grid {span.grid[0]:g} to "
        f"{span.grid[1]:g} V; anything outside is extrapolated."
    )
    return Section("Fitted law", (Grid(columns, rows), note), ())


def _error_rows(rows: Sequence[PointError]) -> Grid:
    columns = (
        Column("type", "left"), Column("as", "left"), Column("plate\nV"), Column("screen\nV"), Column("bias"),
        Column("", "left"), Column("printed"), Column("model"), Column("error\n%"), Column("", "left"),
        Column("flag", "left"),
    )  # fmt: skip
    cells, styles = [], []
    for row in rows:
        name, unit = NAMES[row.quantity]
        failed = row.gated and not row.holds
        verdict = "X MISSED" if failed else "within" if row.gated else "-"
        cells.append(
            (
                row.type,
                row.connection,
                f"{row.plate_v:g}",
                "-" if row.screen_v is None else f"{row.screen_v:g}",
                row.bias.removeprefix("cut-off "),
                name,
                engineering(row.printed, unit),
                engineering(row.model, unit),
                f"{100 * row.error:+.1f}",
                verdict,
                row.flag.removeprefix("memory-"),
            )
        )
        styles.append("bold red" if failed else "")
    return Grid(columns, tuple(cells), tuple(styles))


def check_table(table: TubeTable) -> Section:
    """Return every published figure against the model as ngspice runs it, and the medians."""
    gated = [r for r in table.rows if r.gated]
    failed = len(table.failures())
    medians = []
    for label, kinds in (
        ("plate current and gm", ("plate_current", "gm")),
        ("screen current", ("screen_current",)),
        ("mu", ("mu",)),
        ("rp of triodes", ("rp",)),
        ("cut-off bias", ("bias",)),
        ("gain of stages", ("gain",)),
    ):
        if any(r.quantity in kinds for r in gated):
            medians.append(f"{label} {100 * table.median_error(*kinds):.1f} %")
    notes = [
        Note(f"{len(gated)} figures counted, {failed} missed. Median errors: {', '.join(medians)}."),
        Note(f"Limits: Ip, gm and mu 5 %, Is 10 %, rp of triodes 15 %, cut-off and gain 20 %. {_LEGEND}"),
    ]
    if len(gated) < len(table.rows):
        notes.append(
            Note(
                "Not counted (-): points recalled with little confidence (memory-low), printed maxima and "
                "minima, and rp of pentodes, which sheets state as approximate."
            )
        )
    return Section("Published points against ngspice", (_error_rows(table.rows), *notes), PLATE_SUPPLY)


def fit_sheet(result: FitResult, written: str | None) -> Sheet:
    """Return what a fit gave: parameters with deviations, residuals; `written`: the file it went to."""
    columns = (
        Column("parameter", "left"), Column("value"), Column("standard\ndeviation"), Column("held by", "left")
    )  # fmt: skip
    rows = tuple((p.name, f"{p.value:.5g}", f"{p.deviation:.2g}", p.held_by) for p in result.parameters)
    where = Note(f"written to {written}" if written is not None else "nothing written")
    law = Section("Fitted law", (Grid(columns, rows), where), ())
    return Sheet(result.type, (law, Section("Residuals", (_error_rows(result.residuals),), PLATE_SUPPLY)))


def fit_check_table(checks: Sequence[FitCheck]) -> Section:
    """Return whether each card holds what the fit gives."""
    columns = (Column("type", "left"), Column("", "left"), Column("differences", "left"))
    rows = tuple(
        (c.type, "agrees" if c.agrees else "X DIFFERS", "; ".join(c.differences) or "-") for c in checks
    )
    return Section("Cards against their fit", (Grid(columns, rows),), ())


def leave_one_out_table(tables: Sequence[LeaveOneOut]) -> Section:
    """Return each left-out point as predicted from the others of its card, and the medians over all."""
    rows = [error for table in tables for row in table.rows for error in row.errors]
    short = [table.type for table in tables if not table.rows]
    notes = []
    for label, kinds in (
        ("plate current and gm", ("plate_current", "gm")),
        ("screen current", ("screen_current",)),
    ):
        errors = sorted(abs(e.error) for e in rows if e.quantity in kinds and e.gated)
        if errors:
            middle, ninth = statistics.median(errors), errors[math.ceil(0.9 * len(errors)) - 1]
            notes.append(
                Note(f"{label}: median {100 * middle:.1f} %, nine of ten within {100 * ninth:.1f} %")
            )
    held = [h for table in tables for row in table.rows for _, h in row.held()]
    if held:
        notes.append(
            Note(f"80 % ranges: {100 * sum(held) / len(held):.0f} % of {len(held)} figures lie within")
        )
    if short:
        notes.append(Note(f"fewer than three points, so nothing to leave out: {', '.join(short)}"))
    return Section(
        "Each point predicted from the rest of its card", (_error_rows(rows), *notes), PLATE_SUPPLY
    )


_SCREENS = (10.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0)
"""Screen volts of the table of detector conditions."""


def curves_sheet(curves: TubeCurves) -> Sheet:
    """Return the figures a detector works with, from the curves: gm at the floating grid by screen volts."""
    span = curves.screen_range
    sections = []
    floating = next((line for line in curves.gm_lines if line.bias_v is None), None)
    if floating is not None:
        columns = (
            Column("screen\nV"), Column("grid rests\nat V"), Column("gm\numho"), Column("cathode gm\numho"),
            Column("", "left"),
        )  # fmt: skip
        rows = []
        for volts in _SCREENS:
            if volts > floating.screen_v[-1]:
                continue
            at = [
                float(np.interp(volts, floating.screen_v, y))
                for y in (floating.grid_v, floating.gm_siemens, floating.gk_siemens)
            ]
            inside = span is not None and span[0] <= volts <= span[1]
            rows.append(
                (
                    f"{volts:g}",
                    f"{at[0]:.2f}",
                    f"{1e6 * at[1]:.0f}",
                    f"{1e6 * at[2]:.0f}",
                    "" if inside else "* extrapolated",
                )
            )
        leak = engineering(curves.leak_ohm, "ohm", 2)
        notes = [Note(f"Plate at {floating.plate_v:g} V, grid leak of {leak} to the cathode.")]
        if span is not None:
            notes.append(Note(f"* the published points have {span[0]:g} to {span[1]:g} V on the screen."))
        sections.append(
            Section("As a detector: grid at its leak", (Grid(columns, tuple(rows)), *notes), PLATE_SUPPLY)
        )
    lines = [
        f"Published points: plate {curves.plate_range[0]:g} to {curves.plate_range[1]:g} V, grid "
        f"{curves.grid_range[0]:g} to {curves.grid_range[1]:g} V; curves beyond them are extrapolated.",
        f"{len(curves.plate_lines)} plate lines, {len(curves.transfer_lines)} transfer lines, "
        f"{len(curves.marks)} published points; {curves.evaluations} runs of ngspice.",
    ]
    sections.append(Section("Curves", tuple(Note(line) for line in lines), PLATE_SUPPLY))
    name = f"{curves.type} as triode" if curves.tied else curves.type
    return Sheet(f"{name}: curves", tuple(sections))
