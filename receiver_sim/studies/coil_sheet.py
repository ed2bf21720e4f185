"""What is each coil: turns, wire and lengths for the bench, and its electrical values? (formulas)"""

from __future__ import annotations

from receiver_sim.physics.mutual_inductance import Winding
from receiver_sim.results.coils import CoilSheet, WindingPart
from receiver_sim.schema import Band
from receiver_sim.schema.coil import Coil
from receiver_sim.schema.coil_figures import (
    CoilFigures,
    coil_figures,
    former_assumed,
    former_by_name,
    self_extrapolated,
    wire_length,
)


def sheet(band: Band) -> CoilSheet:
    """Return the sheet of one band's coil."""
    coil = band.coil
    figures = coil_figures(coil)
    sections, link, fed = figures.sections, figures.link, figures.tickler
    wound = coil.tickler if fed is not None and fed.winding is not None else None
    return CoilSheet(
        band=band.name,
        kind="figures" if coil.winding is None else coil.winding.kind,
        parts=tuple(_parts(coil, figures)),
        turns=figures.turns,
        tap_turns=figures.tap_turns,
        tap_share=coil.tap if fed is None else None,
        tap_ratio=sections.tap_ratio if fed is None else None,
        inductance_henry=figures.inductance,
        upper_henry=sections.upper,
        lower_henry=sections.lower,
        mutual_henry=sections.mutual,
        coupling=sections.coupling if fed is None else None,
        self_farad=figures.self_capacitance,
        can_ratio=figures.can_ratio,
        link_place=None if coil.link is None else coil.link.place,
        link_gap_m=None if coil.link is None else coil.link.gap,
        link_henry=None if link is None else link.inductance,
        link_coupling=None
        if link is None
        else (link.to_upper + link.to_lower) / (link.inductance * figures.inductance) ** 0.5,
        link_farad=None if link is None else link.capacitance,
        link_unshielded_farad=None if link is None else link.unshielded,
        former=former_by_name(coil),
        former_assumed=former_assumed(coil),
        self_extrapolated=self_extrapolated(coil),
        tickler_place=None if wound is None else wound.place,
        tickler_gap_m=None if wound is None else wound.gap,
        tickler_henry=None if fed is None else fed.inductance,
        tickler_mutual_henry=None if fed is None else fed.mutual,
        tickler_coupling=None if fed is None else fed.coupling,
        tickler_reversed=None if fed is None else fed.reversed,
    )


def _parts(coil: Coil, figures: CoilFigures) -> list[WindingPart]:
    winding = coil.winding
    if winding is None:
        return []
    if winding.kind == "toroid":
        return [WindingPart("ring core", None, winding.turns, None, None, None, None)]
    if winding.kind == "solenoid":
        parts = [_part("coil", winding.former, figures.windings[0])]
    else:
        pairs = zip(winding.sections, figures.windings, strict=True)
        parts = [_part(f"section {n}", one.former, placed) for n, (one, placed) in enumerate(pairs, 1)]
    if figures.link is not None and coil.link is not None:
        placed = figures.link.winding
        under = 2.0 * placed.radius - placed.wire_diameter - coil.link.covering
        parts.append(_part("link", under, placed))
    fed = figures.tickler
    if fed is not None and fed.winding is not None and coil.tickler is not None:
        under = 2.0 * fed.winding.radius - fed.winding.wire_diameter - coil.tickler.covering
        parts.append(_part("tickler", under, fed.winding))
    return parts


def _part(name: str, former: float, placed: Winding) -> WindingPart:
    return WindingPart(
        name, former, placed.turns, placed.wire_diameter, placed.pitch, placed.length, wire_length([placed])
    )
