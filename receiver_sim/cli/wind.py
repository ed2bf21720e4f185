"""`receiver-sim wind`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from receiver_sim.cli.common import (
    JSON,
    answer,
    quantity_of,
)
from receiver_sim.errors import NoAnswer, UserError

if TYPE_CHECKING:
    pass


FORMERS = (
    "bakelite", "mica_bakelite", "cardboard", "wood", "pvc", "hard_rubber", "glass", "ceramic", "polystyrene",
    "air",
)  # fmt: skip
"""Materials of `schema.formers`, written out for start-up's sake; a test holds the two together."""


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
    low = quantity_of(option, f"{found[1]} {found[2] or found[4]}", kind)
    high = quantity_of(option, f"{found[3]} {found[4]}", kind)
    if not low < high:
        raise UserError(f"{option} {text!r}: the first value must be the lower one")
    return low, high


@click.command()
@click.option("--band", required=True, metavar="SPAN", help="Band, e.g. 7.0-7.3MHz.")
@click.option("--former", required=True, metavar="LENGTH", help="Outside diameter of the former, e.g. 32mm.")
@click.option("--wire", metavar="LENGTH", help="Bare wire, e.g. 0.5mm; or give --gauge.")
@click.option("--gauge", type=click.IntRange(1, 44), help="Wire by the American gauge (ASTM B258).")
@click.option(
    "--covering",
    default="0.05mm",
    show_default=True,
    metavar="LENGTH",
    help="What the enamel adds to the diameter.",
)
@click.option("--pitch", metavar="LENGTH", help="Turn to turn, e.g. 0.9mm; default: close-wound.")
@click.option("--capacitor", required=True, metavar="SPAN", help="Tuning capacitor, e.g. 10-150pF.")
@click.option(
    "--law",
    type=click.Choice(["capacitance", "wavelength", "frequency"]),
    default="capacitance",
    show_default=True,
    help="What is linear in its rotation.",
)
@click.option(
    "--stray", default="15pF", show_default=True, metavar="C", help="Wiring and socket, excluding the tube."
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
    from receiver_sim.views import design_tables

    if (wire is None) == (gauge is None):
        raise UserError("give the wire either by --wire (such as 0.5mm) or by --gauge (such as 24)")
    low, high = _span("--band", band, parts.BandEdge)
    least, most = _span("--capacitor", capacitor, parts.TuningCapacitor)
    diameter = (
        float(astm_gauge_diameter(gauge)) if wire is None else quantity_of("--wire", wire, parts.WireDiameter)
    )
    wish = api.Wish(
        from_hz=low,
        to_hz=high,
        former=quantity_of("--former", former, parts.FormerDiameter),
        wire=diameter,
        covering=quantity_of("--covering", covering, parts.Covering),
        pitch=None if pitch is None else quantity_of("--pitch", pitch, parts.Pitch),
        minimum=least,
        maximum=most,
        law=law,
        stray=quantity_of("--stray", stray, parts.StrayCapacitance),
        tap=quantity_of("--tap", tap_, parts.Tap),
        material=material,
        spread=spread,
        reactance=quantity_of("--reactance", reactance, parts.Resistor),
    )
    try:
        design = api.design_coil(wish)
    except NoAnswer as error:
        raise UserError(f"no such coil: {error}") from None
    answer("wind", design, as_json=as_json, sheet=lambda: design_tables.design_sheet(design))
