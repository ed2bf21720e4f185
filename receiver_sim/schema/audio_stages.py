"""The audio stages of a build: tubes, bias, screen feed, volume control, filters for code, outputs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.base import Part, given, optional


class HeaterCoupling(Part):
    """How each end of the heater reaches grid and cathode. Defaults: common practice, no source."""

    grid_a: p.StrayCapacitance = given("0.15 pF", "From heater end a to the grid.")
    grid_b: p.StrayCapacitance = given("0.10 pF", "From heater end b to the grid.")
    cathode_a: p.StrayCapacitance = given("4 pF", "From heater end a to the cathode.")
    cathode_b: p.StrayCapacitance = given("4 pF", "From heater end b to the cathode.")
    leakage: p.Leakage = given("200 Mohm", "Leakage resistance from the heater to the cathode.")


class HeaterFeed(Part):
    """How the heater of one tube is fed where that differs from the line of all."""

    source: Literal["line", "winding", "cell"] = given(
        "line", "'line', or a 'winding' (a.c.) or 'cell' (d.c.) for this tube alone, joined to no other."
    )
    volts: p.HeaterVolts | None = optional(
        "Volts at this heater, behind its dropping resistor or from its own source; default: the line's."
    )
    chokes: p.RfChoke | None = optional(
        "R.f. choke in each lead of a filament that is the cathode; default: none."
    )
    choke_resistance: p.WindingResistance = given("0 ohm", "Winding resistance of each of these chokes.")


class Volume(Part):
    """The volume control, ahead of the first audio grid or behind the first audio tube."""

    pot: p.Pot = Field(description="Track resistance.")
    law: Literal["linear", "log", "antilog"] = given("log", "Law of the track against rotation.")
    mid: p.MidFraction | None = optional(
        "Part of the track at half rotation; default: 50 % linear, 15 % log, 85 % antilog."
    )
    setting: p.Setting = given("100 %", "Rotation at which it stands.")
    place: Literal["before", "after"] = given(
        "before", "'before' the first audio tube, or 'after' it: at the next grid, or at phones `at: volume`."
    )
    capacitor: p.CouplingCapacitor | None = optional(
        "With one stage and the control after it: capacitor from the plate to the control."
    )


class Decoupling(Part):
    """A resistor and a capacitor in the plate feed of an audio stage."""

    resistor: p.Resistor = Field(description="Resistor from the plate supply.")
    capacitor: p.BypassCapacitor = Field(description="Capacitor to ground after it.")


class ScreenFeed(Part):
    """Feed of the screen of a pentode in an audio stage."""

    resistor: p.ResistorOrLink = given("0 ohm", "Resistor from the plate feed of the stage; 0 ohm: straight.")
    bypass: p.BypassCapacitor = Field(description="Capacitor from the screen to ground.")


class LowPass(Part):
    """Resistors and capacitors between detector and volume control, against hiss and high beat notes."""

    kind: Literal["low_pass"] = Field(description="Equal RC sections in a row.")
    resistance: p.Resistor = Field(description="Series resistor of each section.")
    capacitance: p.CouplingCapacitor = Field(description="Capacitor to ground of each section.")
    sections: p.Count = given(1, "Number of sections.")


class ChokeLowPass(Part):
    """A choke between two capacitors, between detector and volume control."""

    kind: Literal["choke_low_pass"] = Field(description="A choke between two capacitors to ground.")
    inductance: p.AudioInductance = Field(description="Inductance of the choke.")
    resistance: p.WindingResistance = Field(description="Its winding resistance.")
    capacitance: p.CouplingCapacitor = Field(description="Each of the two capacitors.")


class Resonant(Part):
    """A tuned circuit for code: fed through a resistor, coil and capacitor in parallel to ground."""

    kind: Literal["resonant"] = Field(description="A coil and a capacitor in parallel, tuned to a beat note.")
    series: p.Resistor = Field(description="Resistor from the detector's side.")
    inductance: p.AudioInductance = Field(description="Inductance of the coil.")
    resistance: p.WindingResistance = Field(description="Its winding resistance.")
    capacitance: p.CouplingCapacitor = Field(description="Capacitor across it.")


CodeFilter = Annotated[LowPass | ChokeLowPass | Resonant, Field(discriminator="kind")]


class OutputChoke(Part):
    """An audio choke in the plate lead of the audio tube."""

    kind: Literal["choke"] = Field(description="A choke; phones go to the plate through a capacitor.")
    inductance: p.AudioInductance = Field(description="Inductance at the plate current it carries.")
    resistance: p.WindingResistance = Field(description="Winding resistance.")
    capacitance: p.StrayCapacitance = given("100 pF", "Self-capacitance.")
    core_loss: p.CoreResistance | None = optional(
        "Resistance across the winding for the loss in its iron; default: 78 kohm per henry (4 % "
        "silicon steel of 0.35 mm; from memory)."
    )


class Secondary(Part):
    """One secondary winding or tap of the output transformer."""

    name: p.Name = Field(description="Name that phones refer to with `at`.")
    ratio: p.TurnsRatio = Field(description="Turns of this winding over those of the primary.")
    resistance: p.WindingResistance = Field(description="Its winding resistance.")


class OutputTransformer(Part):
    """An output transformer in the plate lead of the audio tube."""

    kind: Literal["transformer"] = Field(description="A transformer with one secondary or more.")
    primary_inductance: p.AudioInductance = Field(description="Inductance of the primary.")
    primary_resistance: p.WindingResistance = Field(description="Winding resistance of the primary.")
    primary_capacitance: p.StrayCapacitance = given("100 pF", "Self-capacitance across the primary.")
    core_loss: p.CoreResistance | None = optional(
        "Resistance across the primary for the loss in the iron; default: 78 kohm per henry (4 % "
        "silicon steel of 0.35 mm; from memory)."
    )
    leakage: p.LeakageInductance = Field(description="Leakage inductance, seen from the primary.")
    secondaries: tuple[Secondary, ...] = Field(min_length=1, max_length=10, description="Its secondaries.")


class OutputResistor(Part):
    """A resistor in the plate lead of the audio tube."""

    kind: Literal["resistor"] = Field(description="A resistor; phones go to the plate through a capacitor.")
    resistance: p.PlateResistor = Field(description="Its value.")


Output = Annotated[OutputChoke | OutputTransformer | OutputResistor, Field(discriminator="kind")]


Condition = Literal["new", "worn"]


def condition() -> Any:
    """Return the field that says how much of a tube's life is gone; it widens the ranges, no more."""
    return given("new", "'new' or 'worn': how far its emission may lie below that of its card.")


class _Stage(Part):
    tube: p.TubeName = Field(description="Type of the tube; a card of that name must be on hand.")
    condition: Condition = condition()
    connection: Literal["own", "triode"] = given(
        "own", "'triode' ties the screen of a pentode to its plate; 'own' leaves the tube as it is."
    )
    bias: Literal["cathode", "grid_leak"] = given(
        "cathode", "'cathode' by a cathode resistor, or 'grid_leak' by grid current in a large leak."
    )
    cathode_resistor: p.Resistor | None = optional("Cathode bias resistor; needed for cathode bias.")
    cathode_bypass: p.BypassCapacitor | None = optional("Capacitor across it; default: not by-passed.")
    grid_leak: p.GridLeak | None = optional("Grid leak; needed for grid-leak bias.")
    grid_capacitor: p.CouplingCapacitor | None = optional(
        "Capacitor ahead of the grid leak; needed for grid-leak bias."
    )
    screen: ScreenFeed | None = optional("Feed of the screen; needed for a pentode in its own connection.")
    decoupling: Decoupling | None = optional("Decoupling of the plate feed; default: none.")
    heater_coupling: HeaterCoupling = Field(
        default_factory=HeaterCoupling, description="Coupling of the heater into grid and cathode."
    )
    heater_feed: HeaterFeed | None = optional("Feed of its heater; default: straight from the line.")


class FirstStage(_Stage):
    """A resistance-coupled stage ahead of the output stage."""

    plate_resistor: p.PlateResistor = Field(description="Plate load.")
    grid_resistor: p.GridLeak | None = optional(
        "Resistor at its grid; needed where no volume control stands there and no transformer feeds it."
    )
    coupling: p.CouplingCapacitor = Field(description="Capacitor from its plate to the next grid.")


class Audio(_Stage):
    """The audio stage that feeds the phones, and what is ahead of it."""

    coupling: p.CouplingCapacitor | None = optional(
        "Capacitor from the detector to the volume control; default: none (transformer)."
    )
    filter: CodeFilter | None = optional("Filter for code, ahead of the volume control; default: none.")
    volume: Volume | None = optional("The volume control; default: none, full volume at all times.")
    grid_resistor: p.GridLeak | None = optional(
        "Grid resistor where the volume control does not stand: of the output stage behind a first stage, or "
        "of the first grid with the control after it or without one."
    )
    grid_stopper: p.ResistorOrLink = given("0 ohm", "Resistor ahead of the grid.")
    first: FirstStage | None = optional("A stage ahead of this one; default: none.")
    output: Output = Field(description="What is in the plate lead.")
