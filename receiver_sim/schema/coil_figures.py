"""What a coil's geometry gives: sections, self-capacitance, Q, link. One place, for netlists and tables.

A coil given by its figures gets its sections from `physics.tank.tapped_sections`, a wound one from its
geometry by the formulas of `physics`, its measured figures put over them. OutsideFormula, in the words of the
formula, where a geometry cannot be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from receiver_sim.physics.checks import OutsideFormula
from receiver_sim.physics.coil_q import combined_q, dielectric_q, former_capacitance, winding_resistance
from receiver_sim.physics.electrostatic_shield import coaxial_capacitance, grating_remainder
from receiver_sim.physics.mutual_inductance import (
    Sections,
    Winding,
    inductance_matrix,
    sheet_sections,
    winding_pair,
)
from receiver_sim.physics.self_capacitance import extrapolated, medhurst_capacitance
from receiver_sim.physics.shield_can import can_effect, reflected_ratio
from receiver_sim.physics.tank import tapped_sections
from receiver_sim.physics.toroid import toroid_inductance
from receiver_sim.physics.wire import astm_gauge_diameter
from receiver_sim.schema.coil import (
    Coil,
    FormerLoss,
    Link,
    MultiSection,
    Section,
    Shield,
    Solenoid,
    Tickler,
    Toroid,
)
from receiver_sim.schema.formers import FIELD_SHARE, formers

COVER_ADDS = 1e-9
"""Metres by which turns may overlap through rounding."""


@dataclass(frozen=True)
class LinkFigures:
    """A link: inductance, mutual inductances to both sections (H), capacitances to the hot end (F).

    unshielded: without its shield; capacitance: as the build has it. floating: on a feeder, not on the
    chassis. to_tickler: mutual inductance to a tickler (H), both wound in the direction of the coil.
    """

    inductance: float
    to_upper: float
    to_lower: float
    unshielded: float
    capacitance: float
    winding: Winding
    floating: bool
    to_tickler: float = 0.0


@dataclass(frozen=True)
class TicklerFigures:
    """A tickler: inductance, mutual inductance to the whole coil (H), capacitance to the hot end (F).

    winding: None for one given by its figures. reversed: its ends are such that it works against the swing.
    """

    inductance: float
    mutual: float
    coupling: float
    capacitance: float
    reversed: bool
    winding: Winding | None


@dataclass(frozen=True)
class CoilFigures:
    """Figures of a coil in SI units; `windings` is empty and turns are None for a coil given by figures.

    A coil with a tickler has no tap: its upper section is all of it, the lower one and the mutual are 0.
    windings run from the grounded end. can_ratio: share of the inductance that a can leaves (1: no can).
    """

    sections: Sections
    self_capacitance: float
    link: LinkFigures | None
    windings: tuple[Winding, ...]
    turns: float | None
    tap_turns: float | None
    can_ratio: float
    tickler: TicklerFigures | None = None

    @property
    def inductance(self) -> float:
        """Inductance of the whole coil, H."""
        return self.sections.upper + self.sections.lower + 2.0 * self.sections.mutual

    @property
    def length(self) -> float | None:
        """Length of the winding from end to end, m; None without a geometry."""
        if not self.windings:
            return None
        last = self.windings[-1]
        return last.start + last.length - self.windings[0].start


def wire_diameter(part: Solenoid | Section | Link | Tickler) -> float:
    """Return the diameter of the bare wire, m."""
    if part.wire is not None:
        return part.wire
    if part.gauge is None:
        raise OutsideFormula("neither 'wire' nor 'gauge' is given")
    return float(astm_gauge_diameter(part.gauge))


def pitch_of(part: Solenoid | Section | Link | Tickler) -> float:
    """Return the pitch, m: as given, or that of turns which touch."""
    diameter = wire_diameter(part)
    if part.pitch is None:
        return diameter + part.covering
    if part.pitch < diameter + part.covering - COVER_ADDS:
        raise OutsideFormula(
            f"turns overlap: the pitch {part.pitch * 1e3:.3g} mm is less than wire and covering, "
            f"{(diameter + part.covering) * 1e3:.3g} mm"
        )
    return part.pitch


def _placed(part: Solenoid | Section | Link | Tickler, former: float, start: float) -> Winding:
    diameter = wire_diameter(part)
    radius = (former + diameter + part.covering) / 2.0
    if part.turns is None:
        raise OutsideFormula("a winding needs its turns")
    return Winding(part.turns, radius, pitch_of(part), diameter, start)


def windings_of(winding: Solenoid | MultiSection) -> tuple[Winding, ...]:
    """Return the windings from the grounded end, which lies at 0 on the axis."""
    if isinstance(winding, Solenoid):
        return (_placed(winding, winding.former, 0.0),)
    placed: list[Winding] = []
    start = 0.0
    for number, section in enumerate(winding.sections):
        start += section.gap if number else 0.0
        placed.append(_placed(section, section.former, start))
        start += placed[-1].length
    return tuple(placed)


def split(windings: Sequence[Winding], tap: float) -> tuple[tuple[Winding, ...], tuple[Winding, ...]]:
    """Return the windings below and above the tap turn, the one that holds it cut in two."""
    below: list[Winding] = []
    above: list[Winding] = []
    count = 0.0
    for winding in windings:
        part = min(max(tap - count, 0.0), winding.turns)
        count += winding.turns
        if part > 0.0:
            below.append(winding._replace(turns=part))
        if part < winding.turns:
            rest = winding._replace(turns=winding.turns - part, start=winding.start + part * winding.pitch)
            above.append(rest)
    if not below or not above:
        raise OutsideFormula(f"the tap at turn {tap:g} lies outside the coil of {count:g} turns")
    return tuple(below), tuple(above)


def _self(windings: Sequence[Winding]) -> float:
    """Return the inductance of windings in series aiding; of a part of one turn its square of that turn's."""
    whole = [w._replace(turns=max(w.turns, 1.0)) for w in windings]
    total = 0.0
    for number, (one, rounded) in enumerate(zip(windings, whole, strict=True)):
        total += min(one.turns, 1.0) ** 2 * float(inductance_matrix([rounded], surface_current=True)[0, 0])
        total += 2.0 * sum(winding_pair(one, other=other) for other in windings[:number])
    return total


def _geometric_sections(windings: Sequence[Winding], tap: float) -> Sections:
    """Return the sections of a tapped coil; they add up to the whole to the last bit.

    Between whole turns the tap's volts run straight: a part turn links its share of the turn's flux, which is
    exact for circular turns.
    """
    turns = sum(w.turns for w in windings)
    whole = _self(windings)

    def linked(count: float) -> float:
        if not 0.0 < count < turns:
            return 0.0 if count <= 0.0 else whole
        below, above = split(windings, count)
        return (whole + _self(below) - _self(above)) / 2.0

    floor = float(np.floor(tap))
    ceiling = min(floor + 1.0, turns)
    part = (tap - floor) / (ceiling - floor)
    link = (1.0 - part) * linked(floor) + part * linked(ceiling)
    lower = _self(split(windings, tap)[0])
    return Sections(upper=whole + lower - 2.0 * link, lower=lower, mutual=link - lower)


def _recoupled(sections: Sections, *, inductance: float | None, coupling: float | None) -> Sections:
    """Return the sections with a measured coupling, then scaled to a measured inductance."""
    if coupling is not None and sections.lower > 0.0:
        whole = sections.upper + sections.lower + 2.0 * sections.mutual
        mutual = coupling * float(np.sqrt(sections.upper * sections.lower))
        scale = whole / (sections.upper + sections.lower + 2.0 * mutual)
        sections = Sections(sections.upper * scale, sections.lower * scale, mutual * scale)
    if inductance is not None:
        scale = inductance / (sections.upper + sections.lower + 2.0 * sections.mutual)
        sections = Sections(sections.upper * scale, sections.lower * scale, sections.mutual * scale)
    return sections


def _by_figures(coil: Coil) -> Sections:
    """Return the sections of a tapped coil known by its figures: of an ideal tap, or by the current sheet."""
    if coil.coupling == 1.0:
        upper, lower, mutual = tapped_sections(coil.inductance, turns_fraction=coil.tap, coupling=1.0)
        return Sections(float(upper), float(lower), float(mutual))
    sections = sheet_sections(coil.inductance, turns_fraction=coil.tap, shape=coil.shape)
    return _recoupled(sections, inductance=coil.inductance, coupling=coil.coupling)


@lru_cache(maxsize=512)
def coil_figures(coil: Coil) -> CoilFigures:
    """Return the figures of a coil. Raises ValueError where the geometry is impossible."""
    winding, measured = coil.winding, coil.measured
    if winding is None and coil.tickler is not None:
        untapped = Sections(coil.inductance, 0.0, 0.0)
        tickler = _tickler(coil.tickler, (), None, inductance=coil.inductance)
        return CoilFigures(untapped, 0.0, None, (), None, None, 1.0, tickler)
    if winding is None:
        sections = _by_figures(coil)
        return CoilFigures(sections, 0.0, None, (), None, None, 1.0)
    inductance = measured.inductance if measured else None
    coupling = measured.coupling if measured else None
    own = measured.self_capacitance if measured else None
    if isinstance(winding, Toroid):
        whole = (
            inductance
            if inductance is not None
            else float(toroid_inductance(winding.turns, al=winding.factor))
        )
        if coupling is None:
            raise OutsideFormula("a toroid's coupling of sections has to be measured")
        upper, lower, mutual = tapped_sections(
            whole, turns_fraction=winding.tap / winding.turns, coupling=coupling
        )
        sections = Sections(float(upper), float(lower), float(mutual))
        return CoilFigures(sections, own or 0.0, None, (), winding.turns, winding.tap, 1.0)
    windings = windings_of(winding)
    if winding.tap is None:
        sections = Sections(_self(windings), 0.0, 0.0)
    else:
        sections = _geometric_sections(windings, winding.tap)
    ratio = _can_ratio(coil, windings)
    sections = Sections(*(part * ratio for part in sections))
    before = sum(sections) + sections.mutual
    sections = _recoupled(sections, inductance=inductance, coupling=coupling)
    scale = (sum(sections) + sections.mutual) / before
    link = None
    if coil.link is not None:
        # a measured inductance that differs by some factor says that all fluxes per ampere turn do
        link = _link(coil.link, windings, winding, can_ratio=ratio * float(np.sqrt(scale)))
        if coil.tickler is None:
            _require_possible(
                [
                    [sections.upper, sections.mutual, link.to_upper],
                    [sections.mutual, sections.lower, link.to_lower],
                    [link.to_upper, link.to_lower, link.inductance],
                ]
            )
    if own is None:
        own = _self_capacitance(windings)
    fed = None
    if coil.tickler is not None:
        flux = ratio * float(np.sqrt(scale))
        fed = _tickler(coil.tickler, windings, winding, inductance=sections.upper, can_ratio=flux)
        if link is not None:
            link = _beside_tickler(link, fed, tank=sections.upper, can_ratio=flux)
    return CoilFigures(sections, own, link, windings, sum(w.turns for w in windings), winding.tap, ratio, fed)


def _self_capacitance(windings: Sequence[Winding]) -> float:
    """Return Medhurst's self-capacitance; several sections count as one coil of their mean diameter."""
    length, diameter = _size(windings)
    return float(medhurst_capacitance(diameter, length=length))


def _size(windings: Sequence[Winding]) -> tuple[float, float]:
    """Return the length (m) of some windings from end to end, and their mean diameter (m)."""
    turns = sum(w.turns for w in windings)
    length = windings[-1].start + windings[-1].length
    return length, 2.0 * sum(w.radius * w.turns for w in windings) / turns


def _can_place(coil: Coil, winding: Winding) -> dict[str, float]:
    can = coil.can
    assert can is not None
    rise = can.height / 2.0 if can.rise is None else can.rise
    return {
        "length": winding.length,
        "can_radius": can.diameter / 2.0,
        "can_length": can.height,
        "rise": rise,
    }


def _can_ratio(coil: Coil, windings: Sequence[Winding]) -> float:
    if coil.can is None:
        return 1.0
    if len(windings) > 1:
        raise OutsideFormula("a can is worked out for a single solenoid only")
    one = windings[0]
    return 1.0 - reflected_ratio(one.radius, **_can_place(coil, one))


def _beside(
    part: Link | Tickler, windings: Sequence[Winding], winding: Solenoid | MultiSection, former: float
) -> Winding:
    """Return a winding at the grounded end of a coil, below it on a former or over it on a sleeve."""
    if part.place == "over":
        under = _first(winding)
        covered = 2.0 * windings[0].radius + windings[0].wire_diameter + under.covering
        return _placed(part, covered + 2.0 * part.gap, 0.0)
    placed = _placed(part, former, 0.0)
    return placed._replace(start=-(part.gap + placed.length))


def _first(winding: Solenoid | MultiSection) -> Solenoid | Section:
    return winding if isinstance(winding, Solenoid) else winding.sections[0]


def _tickler(
    tickler: Tickler,
    windings: Sequence[Winding],
    winding: Solenoid | MultiSection | None,
    *,
    inductance: float,
    can_ratio: float = 1.0,
) -> TicklerFigures:
    """Return the figures of a tickler on a coil of that inductance (H).

    Two windings in one direction aid where grid and plate are at the ends that lie farthest from each other;
    either of a winding the other way and the plate at the near end turns that round.
    """
    against = (tickler.direction == "opposite") is not (tickler.plate_end == "near")
    if tickler.inductance is not None and tickler.coupling is not None:
        mutual = tickler.coupling * float(np.sqrt(tickler.inductance * inductance))
        return TicklerFigures(
            tickler.inductance, mutual, tickler.coupling, tickler.capacitance, against, None
        )
    if winding is None:
        raise OutsideFormula("a tickler by its turns needs a coil by its winding")
    former = _first(winding).former if tickler.former is None else tickler.former
    placed = _beside(tickler, windings, winding, former)
    own = _self((placed,)) * can_ratio
    mutual = sum(winding_pair(placed, other=w) for w in windings) * can_ratio
    if own <= 0.0:
        raise OutsideFormula("this tickler has no inductance: the formulas end here")
    coupling = mutual / float(np.sqrt(own * inductance))
    if coupling >= 1.0:
        raise OutsideFormula(
            "tickler and coil are coupled more tightly than flux allows: move the tickler off"
        )
    return TicklerFigures(own, mutual, coupling, tickler.capacitance, against, placed)


def _link(
    link: Link, windings: Sequence[Winding], winding: Solenoid | MultiSection, *, can_ratio: float
) -> LinkFigures:
    placed = _beside(link, windings, winding, _first(winding).former)
    below, above = ((), windings) if winding.tap is None else split(windings, winding.tap)
    lower = sum(winding_pair(placed, other=w) for w in below) * can_ratio
    upper = sum(winding_pair(placed, other=w) for w in above) * can_ratio
    bare = _link_capacitance(link, placed, windings)
    left = bare if link.shield is None else _left(link.shield, bare)
    own = _self((placed,)) * can_ratio
    return LinkFigures(own, upper, lower, bare, left, placed, link.cold_end == "feeder")


def _link_capacitance(link: Link, placed: Winding, windings: Sequence[Winding]) -> float:
    """Return the capacitance from link to hot end: given, or of cylinders at the mean volts under it."""
    if link.capacitance is not None:
        return link.capacitance
    if link.place == "below":
        raise OutsideFormula("the capacitance of a link below the coil has to be given")
    first = windings[0]
    common = min(placed.length, first.length)
    turns = sum(w.turns for w in windings)
    # the volts under the link rise from 0 to the share of the turns it covers; half of that is the mean
    share = 0.5 * (common / first.pitch) / turns
    inner, outer = first.radius + first.wire_diameter / 2.0, placed.radius - placed.wire_diameter / 2.0
    return share * float(coaxial_capacitance(inner, outer_radius=outer, length=common))


def _left(shield: Shield, bare: float) -> float:
    if shield.kind == "leaves":
        if shield.capacitance > bare:
            raise OutsideFormula("a shield cannot leave more capacitance than there is without it")
        return shield.capacitance
    return bare * float(
        grating_remainder(
            shield.wire / 2.0,
            spacing=shield.spacing,
            distance=shield.to_link,
            other_distance=shield.to_coil,
        )
    )


def _beside_tickler(link: LinkFigures, fed: TicklerFigures, *, tank: float, can_ratio: float) -> LinkFigures:
    """Return a link with its mutual inductance to the tickler of the same coil, which has `tank` (H)."""
    one, other = link.winding, fed.winding
    if other is None:
        raise OutsideFormula("a link beside a tickler needs the tickler by its turns")
    apart = abs(one.radius - other.radius) >= 0.5 * (one.wire_diameter + other.wire_diameter)
    along = one.start < other.start + other.length and other.start < one.start + one.length
    if along and not apart:
        raise OutsideFormula(
            "link and tickler take the same place: give one of them a wider 'gap', or wind it 'over' the coil"
        )
    mutual = winding_pair(one, other=other) * can_ratio
    _require_possible(
        [
            [tank, fed.mutual, link.to_upper],
            [fed.mutual, fed.inductance, mutual],
            [link.to_upper, mutual, link.inductance],
        ]
    )
    return replace(link, to_tickler=mutual)


def _require_possible(inductances: list[list[float]]) -> None:
    """Raise OutsideFormula unless windings with these own and mutual inductances (H) can be."""
    matrix = np.array(inductances)
    if float(np.diag(matrix).min()) <= 0.0:
        raise OutsideFormula("a section of this coil has no inductance: the formulas end here")
    scale = np.sqrt(np.diag(matrix))
    if float(np.linalg.eigvalsh(matrix / np.outer(scale, scale))[0]) <= 0.0:
        raise OutsideFormula("link and sections are coupled more tightly than flux allows: move the link off")


def coil_resistance(coil: Coil, frequency: float) -> float:
    """Return the series resistance, ohm, of a wound solenoid or multi-section coil, can loss included."""
    figures = coil_figures(coil)
    total = sum(
        float(
            winding_resistance(
                w.turns, radius=w.radius, pitch=w.pitch, wire_diameter=w.wire_diameter, frequency=frequency
            )
        )
        for w in figures.windings
    )
    if coil.can is not None:
        one = figures.windings[0]
        effect = can_effect(
            one.radius, frequency=frequency, resistivity=coil.can.resistivity, **_can_place(coil, one)
        )
        total += effect.resistance_per_henry * figures.inductance / figures.can_ratio
    return total


def former_of(winding: Solenoid | MultiSection) -> FormerLoss:
    """Return the loss of a winding's former: as stated, or the usual one of its material."""
    if winding.former_loss is not None:
        return winding.former_loss
    one = formers()[winding.material]
    return FormerLoss.model_construct(
        permittivity=one.permittivity, loss_tangent=one.loss_tangent, share=FIELD_SHARE
    )


def former_by_name(coil: Coil) -> str | None:
    """Return the material whose usual loss a coil's Q rests on, None where its Q or loss is stated."""
    winding, measured = coil.winding, coil.measured
    if winding is None or isinstance(winding, Toroid) or winding.former_loss is not None:
        return None
    if measured is not None and measured.q is not None:
        return None
    return formers()[winding.material].name


def former_assumed(coil: Coil) -> bool:
    """Return whether a coil's Q rests on a material that the build does not name."""
    return former_by_name(coil) is not None and "material" not in coil.winding.model_fields_set  # type: ignore[union-attr]


def self_extrapolated(coil: Coil) -> bool:
    """Return whether the self-capacitance of a coil lies outside Medhurst's measurements."""
    figures = coil_figures(coil)
    if not figures.windings or (coil.measured is not None and coil.measured.self_capacitance is not None):
        return False
    length, diameter = _size(figures.windings)
    return extrapolated(length / diameter)


@lru_cache(maxsize=4096)
def coil_q(coil: Coil, frequency: float) -> float:
    """Return the Q of the coil in its tank at a frequency (Hz): as given or measured, or by geometry.

    By geometry: resistance of the wire with skin and proximity effect, loss in the can and in the former.
    """
    if coil.winding is None:
        return coil.q
    if coil.measured is not None and coil.measured.q is not None:
        return coil.measured.q
    if isinstance(coil.winding, Toroid):
        raise OutsideFormula("a toroid's Q has to be measured")
    figures = coil_figures(coil)
    w = 2.0 * np.pi * frequency
    parts = [w * figures.inductance / coil_resistance(coil, frequency)]
    loss = former_of(coil.winding)
    if loss.loss_tangent > 0.0:
        in_former = former_capacitance(
            figures.self_capacitance, permittivity=loss.permittivity, field_share=loss.share
        )
        tank = 1.0 / (w**2 * figures.inductance)
        parts.append(float(dielectric_q(tank, former_capacitance=in_former, loss_tangent=loss.loss_tangent)))
    return float(combined_q(*parts))


def filled_in(coil: Coil, middle: float) -> Coil:
    """Return a wound coil with `inductance`, `q` (at the frequency `middle`), `tap` and `coupling` filled in.

    A coil given by figures comes back as it is. Raises ValueError where the geometry is impossible.
    """
    if coil.winding is None:
        return coil
    figures = coil_figures(coil)
    assert figures.turns is not None
    update: dict[str, float] = {"inductance": figures.inductance, "q": coil_q(coil, middle)}
    if figures.tap_turns is not None:
        update |= {"tap": figures.tap_turns / figures.turns, "coupling": figures.sections.coupling}
    return coil.model_copy(update=update)


def wire_length(windings: Sequence[Winding]) -> float:
    """Return the length of wire in some windings, m, leads apart."""
    return float(sum(w.turns * np.hypot(2.0 * np.pi * w.radius, w.pitch) for w in windings))


def retapped(coil: Coil, place: float, *, middle: float) -> Coil:
    """Return the coil with its tap at turn `place`, filled in again; of a coil given by figures: at that
    share.

    middle: frequency (Hz) for which Q is filled in. Raises ValueError where the geometry is impossible.
    """
    if coil.winding is None:
        return coil.model_copy(update={"tap": place})
    winding = coil.winding.model_copy(update={"tap": place})
    return filled_in(coil.model_copy(update={"winding": winding}), middle)
