"""The r.f. stage ahead of the detector: its tube, what is in its grid, how it feeds the detector's tank."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.audio_stages import Condition, Decoupling, HeaterCoupling, HeaterFeed, condition
from receiver_sim.schema.base import Part, given, optional


class ChokeInput(Part):
    """An r.f. choke from grid to ground: untuned."""

    kind: Literal["choke"] = Field(description="An r.f. choke: untuned.")
    inductance: p.RfChoke = Field(description="Inductance of the choke.")
    resistance: p.WindingResistance = given("30 ohm", "Its winding resistance.")
    capacitance: p.StrayCapacitance = given("1.5 pF", "Its self-capacitance.")


class ResistorInput(Part):
    """A resistor from grid to ground: untuned."""

    kind: Literal["resistor"] = Field(description="A resistor: untuned.")
    resistance: p.Resistor = Field(description="Its value.")


class TunedInput(Part):
    """A tuned circuit with a plug-in coil of its own for each band (`bands[].rf_coil`)."""

    kind: Literal["tuned"] = Field(
        description="A tuned circuit, its coil in `bands[].rf_coil`, peaked at the dial by its own capacitor."
    )


RfInput = Annotated[ChokeInput | ResistorInput | TunedInput, Field(discriminator="kind")]


class ChokeFeed(Part):
    """An r.f. choke in the plate lead."""

    kind: Literal["choke"] = Field(description="An r.f. choke.")
    inductance: p.RfChoke = Field(description="Inductance of the choke.")
    resistance: p.WindingResistance = given("30 ohm", "Its winding resistance.")
    capacitance: p.StrayCapacitance = given("1.5 pF", "Its self-capacitance.")


class ResistorFeed(Part):
    """A resistor in the plate lead."""

    kind: Literal["resistor"] = Field(description="A resistor.")
    resistance: p.PlateResistor = Field(description="Its value.")


class LinkFeed(Part):
    """The link of the detector's coil in the plate lead, as its primary."""

    kind: Literal["link"] = Field(
        description="The link of each coil (`bands[].coil.link`): no choke, no coupling capacitor."
    )


RfFeed = Annotated[ChokeFeed | ResistorFeed | LinkFeed, Field(discriminator="kind")]


class RfScreen(Part):
    """Feed of the screen."""

    resistor: p.ResistorOrLink = given("0 ohm", "Resistor from the plate feed of the stage; 0 ohm: straight.")
    bypass: p.BypassCapacitor = Field(description="Capacitor from the screen to ground.")


class GainControl(Part):
    """The volume control of the r.f. stage, in its cathode or its screen."""

    place: Literal["cathode", "screen"] = Field(
        description="In the 'cathode', as a resistance more, or at the 'screen', as a divider of its feed."
    )
    pot: p.Pot = Field(description="Track resistance.")
    setting: p.Setting = given(
        "100 %", "Part of the track on the side of most gain: 100 % is all the gain there is."
    )


class RfStrays(Part):
    """Wiring capacitances round the r.f. stage."""

    grid: p.StrayCapacitance = given("4 pF", "From the grid to ground.")
    plate: p.StrayCapacitance = given("4 pF", "From the plate to ground.")
    grid_plate: p.StrayCapacitance = given(
        "0.01 pF", "From plate to grid outside the tube: well screened (common practice, no source)."
    )


class RfStage(Part):
    """An r.f. stage between the aerial and the detector's tank: a pentode or screen-grid tetrode."""

    tube: p.TubeName = Field(description="Type of the tube; a card of that name must be on hand.")
    condition: Condition = condition()
    input: RfInput = Field(description="What is between its grid and ground.")
    plate: RfFeed = Field(description="What feeds its plate.")
    coupling: p.AerialCapacitance | None = optional(
        "Capacitor from its plate to the hot end of the detector's tank; not with a link."
    )
    cathode_resistor: p.Resistor = Field(description="Cathode bias resistor.")
    cathode_bypass: p.BypassCapacitor | None = optional("Capacitor across it; default: not by-passed.")
    screen: RfScreen = Field(description="Feed of the screen.")
    gain: GainControl | None = optional("Volume control of the stage; default: none.")
    decoupling: Decoupling | None = optional("Decoupling of its plate feed; default: none.")
    strays: RfStrays = Field(default_factory=RfStrays, description="Wiring capacitances.")
    heater_coupling: HeaterCoupling = Field(
        default_factory=HeaterCoupling, description="Coupling of the heater into grid and cathode."
    )
    heater_feed: HeaterFeed | None = optional("Feed of its heater; default: straight from the line.")


class RfCoil(Part):
    """The plug-in coil of a tuned r.f. stage, known by its figures."""

    inductance: p.TankInductance = Field(description="Its inductance.")
    q: p.CoilQ = Field(description="Its Q in the band.")
