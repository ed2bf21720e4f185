"""`receiver-sim coils`, `tap` and `wind`: coils, bands and the aerial."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from receiver_sim.cli.common import (
    BANDS,
    BUILD,
    JSON,
    OUT,
    Pool,
    answer,
    bench_for,
    prepared,
    progress_bars,
    simulating,
)
from receiver_sim.errors import NoAnswer, UserError

if TYPE_CHECKING:
    from receiver_sim.schema.quantity import Quantity


FORMERS = (
    "bakelite", "mica_bakelite", "cardboard", "wood", "pvc", "hard_rubber", "glass", "ceramic", "polystyrene",
    "air",
)  # fmt: skip
"""Materials of `schema.formers`, written out for start-up's sake; a test holds the two together."""


def _quantity(option: str, text: str, kind: Any) -> float:
    """Read an option as a field of the build with its bounds; `kind` is the annotated type of that field."""
    quantity: Quantity = kind.__metadata__[0]
    try:
        return quantity.read(text)
    except ValueError as error:
        raise UserError(f"{option} {text!r}: expected {quantity.expected()}; {error}") from None


def _span(option: str, text: str, kind: Any) -> tuple[float, float]:
    """Read two values with one unit or two, such as '7.0-7.3MHz' or '800kHz-2MHz'; the first is the lower."""
    found = re.fullmatch(r"\s*([0-9.]+)\s*([A-Za-z]*)\s*-\s*([0-9.]+)\s*([A-Za-z]+)\s*", text)
    if found is None:
        example = kind.__metadata__[0].example
        bare = re.fullmatch(r"\s*[0-9.]+\s*-\s*[0-9.]+\s*", text)
        cure = f"; it has no unit: write it as '{text.strip()}{example.split()[1]}'" if bare else ""
        raise UserError(
            f"{option} {text!r}: expected two values such as '7.0-7.3MHz', each as '{example}'{cure}"
        )
    low = _quantity(option, f"{found[1]} {found[2] or found[4]}", kind)
    high = _quantity(option, f"{found[3]} {found[4]}", kind)
    if not low < high:
        raise UserError(f"{option} {text!r}: the first value must be the lower one")
    return low, high


@click.command()
@BUILD
@click.option("--year", type=int, default=2020, show_default=True, help="Year of the band tables.")
@click.option("--region", type=click.IntRange(1, 3), default=1, show_default=True, help="ITU region of them.")
@click.option(
    "--tank-volts",
    metavar="VOLTS",
    help="Peak volts of an oscillating tank, for the radiated power; left out: 1 V, an assumption.",
)
@OUT
@JSON
@simulating
def coils(
    build: Path,
    year: int,
    region: int,
    tank_volts: str | None,
    out: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """Coils: windings, range, loop gain over the dial, aerial."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.schema import parts
    from receiver_sim.views import coil_plots, coil_tables

    volts = None if tank_volts is None else _quantity("--tank-volts", tank_volts, parts.AerialEmf)
    loaded = prepared(build, out=out, told=True)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        report = api.coils(loaded, year=year, region=region, tank_volts=volts, bench=bench, progress=progress)
    answer(
        "coils", report, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: coil_tables.coils_sheet(report), out=out,
        draw=lambda files, progress: coil_plots.write(report, files, progress), failed=report.failed,
    )  # fmt: skip


@click.command()
@BUILD
@click.option("--onset", "onset_", metavar="PERCENT", required=True, help="Where onset shall lie, e.g. 45%.")
@BANDS
@JSON
@simulating
def tap(build: Path, onset_: str, bands: tuple[str, ...], as_json: bool, pool: Pool) -> None:
    """Find the tap turn that puts the onset where it is wanted."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.base import FailedStage, Status
    from receiver_sim.schema import parts
    from receiver_sim.views import coil_tables

    target = _quantity("--onset", onset_, parts.Setting)
    loaded = prepared(build, bands=bands)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        found = api.find_taps(loaded, target=target, bands=bands or None, bench=bench, progress=progress)
    failed = [
        FailedStage(one.band, "; ".join(one.warnings), None) for one in found if one.status is Status.FAILED
    ]
    answer(
        "tap", found, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: coil_tables.tap_sheet(loaded.title, found), failed=failed,
    )  # fmt: skip


@click.command()
@click.option("--band", required=True, metavar="SPAN", help="Band, e.g. 7.0-7.3MHz.")
@click.option("--former", required=True, metavar="LENGTH", help="Outside diameter of the former, e.g. 32mm.")
@click.option("--wire", metavar="LENGTH", help="Bare wire, e.g. 0.5mm; or give --gauge.")
@click.option("--gauge", type=click.IntRange(1, 44), help="Wire by the American gauge (ASTM B258).")
@click.option(
    "--covering", default="0.05mm", show_default=True, metavar="LENGTH", help="What enamel adds to the wire."
)
@click.option("--pitch", metavar="LENGTH", help="Turn to turn, e.g. 0.9mm; left out: close-wound.")
@click.option("--capacitor", required=True, metavar="SPAN", help="Tuning capacitor, e.g. 10-150pF.")
@click.option(
    "--law",
    type=click.Choice(["capacitance", "wavelength", "frequency"]),
    default="capacitance",
    show_default=True,
    help="What runs straight with its rotation.",
)
@click.option(
    "--stray", default="15pF", show_default=True, metavar="C", help="Wiring and socket, the tube apart."
)
@click.option(
    "--material",
    type=click.Choice(FORMERS),
    default="bakelite",
    show_default=True,
    help="What the former is made of, for its loss.",
)
@click.option("--tap", "tap_", default="5%", show_default=True, metavar="PERCENT", help="Tap, from ground.")
@click.option("--spread", is_flag=True, help="Choose padders so that the band fills the dial.")
@click.option(
    "--reactance",
    default="250ohm",
    show_default=True,
    metavar="OHM",
    help="Reactance of a coil for a spread band, in its middle.",
)
@JSON
def wind(
    band: str,
    former: str,
    wire: str | None,
    gauge: int | None,
    covering: str,
    pitch: str | None,
    capacitor: str,
    law: str,
    stray: str,
    material: Any,
    tap_: str,
    spread: bool,
    reactance: str,
    as_json: bool,
) -> None:
    """Design a coil for a band, a former and a capacitor."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.physics.wire import astm_gauge_diameter
    from receiver_sim.schema import parts
    from receiver_sim.views import coil_tables

    if (wire is None) == (gauge is None):
        raise UserError("give the wire either by --wire (such as 0.5mm) or by --gauge (such as 24)")
    low, high = _span("--band", band, parts.BandEdge)
    least, most = _span("--capacitor", capacitor, parts.TuningCapacitor)
    diameter = (
        float(astm_gauge_diameter(gauge)) if wire is None else _quantity("--wire", wire, parts.WireDiameter)
    )
    wish = api.Wish(
        from_hz=low,
        to_hz=high,
        former=_quantity("--former", former, parts.FormerDiameter),
        wire=diameter,
        covering=_quantity("--covering", covering, parts.Covering),
        pitch=None if pitch is None else _quantity("--pitch", pitch, parts.Pitch),
        minimum=least,
        maximum=most,
        law=law,
        stray=_quantity("--stray", stray, parts.StrayCapacitance),
        tap=_quantity("--tap", tap_, parts.Tap),
        material=material,
        spread=spread,
        reactance=_quantity("--reactance", reactance, parts.Resistor),
    )
    try:
        design = api.design_coil(wish)
    except NoAnswer as error:
        raise UserError(f"no such coil: {error}") from None
    answer("wind", design, as_json=as_json, sheet=lambda: coil_tables.design_sheet(design))
