"""What goes to the bench, on the page: the sheet as folded tables, the fault table as its script takes it."""

from __future__ import annotations

from typing import Any

from receiver_sim.results import cautions
from receiver_sim.results.bench_sheet import BenchSheet
from receiver_sim.results.fault_table import ExpectedReadings, FaultTable
from receiver_sim.views.bench_sheet import bench_sheet
from receiver_sim.views.fault_tables import POORLY
from receiver_sim.views.printed_page import heading
from receiver_sim.views.sheet import Grid, clean


def sheet_section(found: BenchSheet) -> dict[str, Any]:
    """Return the sheet as a folded section of the page, its cautions before all else."""
    sheet = bench_sheet(found)
    tables = []
    for section in sheet.sections:
        grids = [part for part in section.parts if isinstance(part, Grid)]
        notes = [part.text for part in section.parts if not isinstance(part, Grid)]
        heads = tuple(heading(column) for column in grids[0].columns) if grids else ()
        rows = tuple(tuple(clean(cell) for cell in row) for grid in grids for row in grid.rows)
        tables.append(
            {"title": section.heading, "heads": heads, "rows": rows, "folded": True, "notes": notes}
        )
    return {
        "title": "On the bench: parts, wiring, switching on, readings",
        "line": (
            "What a constructor takes to the bench; `receiver-sim sheet` prints it with the dial scale in "
            "its true size. Nothing is measured before the cold checks at its beginning are done."
        ),
        "cautions": sheet.all_cautions(),
        "tables": tables,
    }


def bench_cautions(hazards: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Return what stands before a reading is asked for."""
    return (*hazards, *cautions.PLATE_SUPPLY)


def fault_data(found: FaultTable) -> dict[str, Any]:
    """Return the fault table as the script of the page takes it: six digits of each figure."""
    return {
        "meter": found.meter,
        "ranges": list(found.ranges_v),
        "setting": found.setting,
        "points": [{"name": one.name, "should": _six(one.should_v)} for one in found.points],
        "bands": list(found.bands),
        "rules": {**found.rules, "poorly": POORLY},
        "how": found.how_next,
        "causes": [
            {
                "name": one.name,
                "hazard": one.hazard,
                "prior": one.log_prior,
                "sizes": [_expected(size) for size in one.sizes],
            }
            for one in found.causes
        ],
    }


def _expected(one: ExpectedReadings) -> dict[str, Any]:
    return {
        "words": one.words,
        "volts": [_six(v) for v in one.volts_v],
        "true": [_six(v) for v in one.true_v],
        "middles": [_six(v) for v in one.middles],
        "covariance": [_six(v) for v in one.covariance],
        "curves": [None if c is None else [[_six(r), _six(g)] for r, g in c] for c in one.curves],
        "onset": [None if place is None else _six(place) for place in one.onset],
        "gain": None if one.gain_db is None else _six(one.gain_db),
        "hum": None if one.hum_db is None else _six(one.hum_db),
    }


def _six(value: float) -> float:
    return float(f"{float(value):.6g}")


__all__ = ["bench_cautions", "fault_data", "sheet_section"]
