"""`receiver-sim audio`, `hum` and `supply`: one part of the set in depth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from receiver_sim.cli.common import (
    AT,
    BAND,
    BUILD,
    JSON,
    OUT,
    STRICT,
    Pool,
    answer,
    bench_for,
    prepared,
    rotation_of,
    simulating,
)


def _in_depth(
    verb: str,
    build: Path,
    *,
    band: str | None,
    out: Path | None,
    as_json: bool,
    pool: Pool,
    strict: bool = False,
    **how: Any,
) -> None:
    """Run `audio`, `hum` or `supply` on a build and give its answer.

    how: what the study takes besides build, band and bench.
    """
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import audio_plots, audio_tables

    rooms: dict[str, tuple[Callable[..., Any], Callable[..., tuple[Path, ...]], Callable[..., Any]]] = {
        "audio": (api.audio_in_depth, audio_plots.write_audio, audio_tables.audio_sheet),
        "hum": (api.hum_in_depth, audio_plots.write_hum, audio_tables.hum_sheet),
        "supply": (api.supply_in_depth, audio_plots.write_supply, audio_tables.supply_sheet),
    }
    run, draw, sheet = rooms[verb]
    loaded = prepared(build, bands=[band], out=out)
    with bench_for(pool) as bench:
        result = run(loaded, band=band, bench=bench, **how)
    answer(
        verb, result, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: sheet(loaded.title, result), out=out,
        draw=lambda files, _progress: draw(result, files, title=loaded.title),
        failed=result.failed, strict=result.verdicts if strict else (),
    )  # fmt: skip


@click.command(short_help="Response, power, distortion, sound pressure, noise of each output.")
@BUILD
@BAND
@AT
@OUT
@JSON
@simulating
def audio(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool, pool: Pool) -> None:
    """Response, power, distortion, sound pressure and noise of each output.

    Inputs are volts of a tone at the detector's grid.
    """
    _in_depth("audio", build, band=band, out=out, as_json=as_json, pool=pool, rotation=rotation_of(at))


@click.command(short_help="Hum by its paths, as heard, against the hum pot; remedies ranked.")
@BUILD
@BAND
@AT
@OUT
@JSON
@simulating
def hum(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool, pool: Pool) -> None:
    """Hum at each output: tones as heard, share of each path, hum pot, and which remedy helps most."""
    _in_depth("hum", build, band=band, out=out, as_json=as_json, pool=pool, rotation=rotation_of(at))


@click.command(short_help="Rectifier, ripple, discharge, regulator, meter readings, ratings.")
@BUILD
@BAND
@OUT
@JSON
@STRICT
@simulating
def supply(build: Path, band: str | None, out: Path | None, as_json: bool, strict: bool, pool: Pool) -> None:
    """Volts, ripple, start and discharge of the supply, what a meter should read, ratings, regulator."""
    _in_depth("supply", build, band=band, out=out, as_json=as_json, pool=pool, strict=strict)
