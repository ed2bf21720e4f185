"""The coil end of a build: windings, link, shield, can, tuning capacitors, aerial.

What the geometry gives (inductance, sections, Q, link coupling) is worked out in `coil_figures`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.base import Part, derived, given, optional
from receiver_sim.schema.formers import Material

Law = Literal["capacitance", "wavelength", "frequency"]


class _Wire(Part):
    wire: p.WireDiameter | None = optional("Diameter of the bare wire; or give `gauge`.")
    gauge: p.WireGauge | None = optional("Its number in the American gauge (ASTM B258); or give `wire`.")
    covering: p.Covering = given(
        "0.05 mm", "What enamel or silk adds to the diameter; counts where turns touch."
    )
    pitch: p.Pitch | None = optional("From centre to centre of turns; default: close-wound.")


class FormerLoss(Part):
    """Loss of the former's material, as far as the coil's own field runs in it."""

    permittivity: p.Permittivity = Field(description="Relative permittivity of the material.")
    loss_tangent: p.LossTangent = Field(description="Its loss tangent at radio frequency.")
    share: p.Setting = given(
        "15 %", "Share of the field of the self-capacitance that runs in it (common practice, no source)."
    )


class Solenoid(_Wire):
    """One single-layer winding on a round former; turns count from the grounded end."""

    kind: Literal["solenoid"] = Field(description="A single-layer coil on a round former.")
    former: p.FormerDiameter = Field(description="Outside diameter of the former.")
    turns: p.Turns = Field(description="Turns, part turns allowed.")
    tap: p.TapTurns | None = optional(
        "Turn at which the cathode is tapped, from the grounded end; with a `tickler`: none."
    )
    material: Material = given(
        "bakelite", "What the former is made of, for its loss; a common figure of the trade is taken for it."
    )
    former_loss: FormerLoss | None = optional("Loss of the former as measured; default: by its material.")


class Section(_Wire):
    """One of several windings in series on a common axis."""

    former: p.FormerDiameter = Field(description="Outside diameter of the former under this section.")
    turns: p.Turns = Field(description="Its turns.")
    gap: p.WindingGap = given("0 mm", "Space between the section before and this one.")


class MultiSection(Part):
    """Several windings in series aiding on one axis, the first one at the grounded end."""

    kind: Literal["sections"] = Field(description="Several windings in series on one axis.")
    sections: tuple[Section, ...] = Field(
        min_length=2, max_length=10, description="The windings, from the grounded end."
    )
    tap: p.TapTurns | None = optional(
        "Turn at which the cathode is tapped, from the grounded end; with a `tickler`: none."
    )
    material: Material = given(
        "bakelite", "What the former is made of, for its loss; a common figure of the trade is taken for it."
    )
    former_loss: FormerLoss | None = optional("Loss of the former as measured; default: by its material.")


class Toroid(Part):
    """A winding on a ring core of known inductance factor. Q and coupling have to be measured."""

    kind: Literal["toroid"] = Field(description="A winding on a ring core.")
    factor: p.InductanceFactor = Field(description="A_L of the core: inductance of one turn.")
    turns: p.Turns = Field(description="Turns: passes through the hole.")
    tap: p.TapTurns = Field(description="Turn at which the cathode is tapped, from the grounded end.")


WindingKind = Annotated[Solenoid | MultiSection | Toroid, Field(discriminator="kind")]


class Measured(Part):
    """Measured figures that take the place of those from the geometry."""

    inductance: p.TankInductance | None = optional("Inductance of the whole coil, in its can if it has one.")
    q: p.CoilQ | None = optional("Q, taken as constant over the band, tube and aerial apart.")
    coupling: p.CoilCoupling | None = optional("Coupling of the two sections.")
    self_capacitance: p.StrayCapacitance | None = optional("Self-capacitance of the coil.")


class CombShield(Part):
    """A comb of wires, earthed at one end, between link and coil."""

    kind: Literal["comb"] = Field(description="A comb or grating of parallel wires, earthed at one end.")
    wire: p.WireDiameter = Field(description="Diameter of its wires.")
    spacing: p.Pitch = Field(description="From centre to centre of its wires.")
    to_link: p.WindingGap = Field(description="Distance from the comb to the link.")
    to_coil: p.WindingGap = Field(description="Distance from the comb to the coil.")


class LeftShield(Part):
    """An electrostatic shield known by the capacitance it leaves."""

    kind: Literal["leaves"] = Field(description="A shield known by the capacitance it leaves.")
    capacitance: p.StrayCapacitance = Field(description="What is left from the link to the hot end.")


Shield = Annotated[CombShield | LeftShield, Field(discriminator="kind")]


class Link(_Wire):
    """A few turns for the aerial at the grounded end of a coil."""

    turns: p.Turns = Field(description="Turns of the link.")
    place: Literal["below", "over"] = given(
        "below", "'below' the grounded end on the same former, or 'over' it on a sleeve."
    )
    gap: p.WindingGap = given(
        "2 mm", "Space between link and coil along the former (below), or thickness of the sleeve (over)."
    )
    cold_end: Literal["chassis", "feeder"] = given(
        "chassis",
        "Its other end: on the 'chassis', or on the second wire of a 'feeder' (aerial and counterpoise).",
    )
    capacitance: p.StrayCapacitance | None = optional(
        "From the link and its leads to the hot end, unshielded; default: estimated for a link 'over' it."
    )
    shield: Shield | None = optional("Earthed electrostatic shield between link and coil; default: none.")


class Tickler(_Wire):
    """A winding in the plate lead that feeds the tank, the cathode on ground: wound, or known by figures."""

    turns: p.Turns | None = optional("Its turns; or give `inductance` and `coupling`.")
    place: Literal["below", "over"] = given(
        "below", "'below' the grounded end of the coil, or 'over' that end on a sleeve."
    )
    gap: p.WindingGap = given(
        "2 mm", "Space to the coil along the axis (below), or thickness of the sleeve (over)."
    )
    former: p.FormerDiameter | None = optional(
        "Former under a tickler 'below', on the same axis; default: that of the coil."
    )
    inductance: p.TankInductance | None = optional("Its inductance; of a wound one left out.")
    coupling: p.TicklerCoupling | None = optional(
        "Its coupling coefficient to the whole coil; of a wound one left out."
    )
    direction: Literal["same", "opposite"] = given(
        "same", "Wound in the 'same' direction as the coil, seen along the axis, or 'opposite'."
    )
    plate_end: Literal["far", "near"] = given(
        "far", "The end that goes to the plate: 'far' from the coil's hot end, or 'near' it."
    )
    capacitance: p.StrayCapacitance = given(
        "0.3 pF", "From its plate end to the hot end of the coil (common practice, no source)."
    )


class Can(Part):
    """A closed round shield can of non-magnetic metal with the coil on its axis."""

    diameter: p.CanSize = Field(
        description="Inside diameter; of a square can: the mean of side and diagonal."
    )
    height: p.CanSize = Field(description="Inside height.")
    rise: p.CanSize | None = optional("Height of the coil's middle above the floor; default: half way.")
    resistivity: p.Resistivity = given(
        2.8e-8, "Resistivity of the metal in ohm metre; aluminium if left out."
    )


class Coil(Part):
    """A plug-in coil with a cathode tap or a tickler: by its figures, or by its winding.

    Of a wound coil `inductance`, `q` (at the middle of the band), `tap` and `coupling` are filled in from
    the geometry when the build is loaded.
    """

    inductance: p.TankInductance = derived("Inductance of the whole coil; of a wound coil left out.")
    q: p.CoilQ = derived("Q of the tank in the band, tube and aerial apart; of a wound coil left out.")
    tap: p.Tap = derived(
        "Tap in turns from ground, as part of all turns; of a wound coil, or with a `tickler`, left out."
    )
    coupling: p.CoilCoupling | None = optional(
        "Coupling of the two sections; default: by the current sheet for its `shape`; 1 is an ideal tap."
    )
    shape: p.CoilShape = given(
        1.0, "Length of the winding over its diameter, for its sections (common practice, no source)."
    )
    winding: WindingKind | None = optional("How the coil is wound; default: known by the figures above.")
    measured: Measured | None = optional("Measured figures of a wound coil; default: by geometry.")
    link: Link | None = optional("Link for the aerial; default: none. Needs `winding`.")
    tickler: Tickler | None = optional(
        "Winding in the plate lead that feeds the tank, the cathode on ground; default: a cathode tap."
    )
    can: Can | None = optional("Shield can round a solenoid; default: none.")


class Padding(Part):
    """Fixed capacitors with the tuning capacitor; in a coil's plug, as a rule."""

    series: p.TuningCapacitor | None = Field(
        default=None, description="In series with the tuning capacitor; default: none."
    )
    parallel: p.FilterCapacitor = given("0 pF", "Across the coil.")
    bandspread_series: p.TuningCapacitor | None = optional(
        "In series with the band-spread capacitor; default: none."
    )


class Bandspread(Part):
    """A small variable capacitor across the coil that spreads a band over its dial."""

    minimum: p.TuningCapacitor = Field(description="Capacitance fully open.")
    maximum: p.TuningCapacitor = Field(description="Capacitance fully meshed.")
    law: Law = given("capacitance", "What is linear in its rotation; as for the tuning capacitor.")
    rotation: p.CapacitorTravel = given("180 deg", "Its rotation from open to meshed.")


class Tuning(Part):
    """The tuning capacitor, shared by all bands."""

    minimum: p.TuningCapacitor = Field(description="Capacitance fully open.")
    maximum: p.TuningCapacitor = Field(description="Capacitance fully meshed.")
    stray: p.StrayCapacitance = given("10 pF", "Wiring, coil and socket across the tank, excluding the tube.")
    law: Law = given("capacitance", "What is linear in rotation: 'capacitance', 'wavelength', 'frequency'.")
    rotation: p.CapacitorTravel = given("180 deg", "Its rotation from open to meshed, drive included.")
    bandspread: Bandspread | None = optional("Band-spread capacitor across the coil; default: none.")


class WireAerial(Part):
    """A wire over ground of any length: a vertical part with an optional horizontal run at its top."""

    height: p.WireLength = Field(description="Length of the vertical part.")
    flat: p.WireLength = given("0 m", "Length of the horizontal part at its top.")
    diameter: p.WireDiameter = given("2 mm", "Diameter of the wire.")
    ground_resistance: p.ResistorOrLink = given("50 ohm", "Resistance of the earth connection and soil.")


class Station(Part):
    """A strong medium-wave station, as the aerial gets it."""

    frequency: p.BandEdge = given("1 MHz", "Its carrier.")
    emf: p.AerialEmf = given("0.5 V", "E.m.f. in the aerial, rms: field strength times effective height.")
    feeder_emf: p.AerialEmf | None = optional(
        "E.m.f. that drives a feeder as one wire, rms, with links that float; default: as `emf`."
    )


class Aerial(Part):
    """The aerial, coupled by a small capacitor to the hot end, or by the link of each coil."""

    kind: Literal["series", "dummy", "wire"] = given(
        "series", "R, L and C in 'series', the standard 'dummy' antenna, or a 'wire' by its size."
    )
    coupling: p.AerialCapacitance | None = optional(
        "Capacitor from the aerial to the hot end of the tank; default: by the link of each coil."
    )
    resistance: p.Resistor | None = optional("Resistance of the aerial and its earth ('series').")
    capacitance: p.AerialCapacitance | None = optional("Capacitance of the aerial to ground ('series').")
    inductance: p.AerialInductance = given("0 uH", "Inductance of the wire and lead-in ('series').")
    wire: WireAerial | None = optional("The wire ('wire').")
    effective_height: p.EffectiveHeight | None = optional(
        "For radiation; default: by the wire's length, or 2 m (an assumption) for the other kinds."
    )
    swing: p.Swing = given("10 %", "Part by which its capacitance changes as it swings, each way.")
    station: Station = Field(default_factory=Station, description="A strong medium-wave station.")
