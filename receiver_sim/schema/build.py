"""The build file: one receiver, from the supply to the headphones, as a constructor describes it.

Attribute names are the keys of the file ('from' of a band is `from_`); values are SI floats, a percentage is
a fraction, a rotation is in degrees. A new part is a new model here; a new kind of part is one more model
with its own `kind` in the union. Checks between keys live in `checks`, reading a file in `loading`.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, PrivateAttr

from receiver_sim.schema import parts as p
from receiver_sim.schema.audio_stages import Audio, Condition, HeaterCoupling, HeaterFeed, condition
from receiver_sim.schema.base import Part, given, optional
from receiver_sim.schema.coil import Aerial, Coil, Padding, Tuning
from receiver_sim.schema.phones import Phones
from receiver_sim.schema.rating import Rating
from receiver_sim.schema.rf_stage import RfCoil, RfStage
from receiver_sim.schema.supply import Heater, Pickup, Regulator, Supply
from receiver_sim.schema.verdicts import Verdicts


class Mains(Part):
    """The mains that heater and rectifier hum come from."""

    frequency: p.MainsFrequency = given("50 Hz", "Frequency of the mains.")
    volts: p.MainsVolts = given("230 V", "Nominal mains voltage, for what drifts per volt.")


class Regeneration(Part):
    """The regeneration control: detector screen voltage, plate feed, or throttle capacitor."""

    acts_on: Literal["screen", "plate", "throttle"] = given(
        "screen",
        "What it sets: the voltage of the 'screen' or of the 'plate' feed, or a 'throttle' capacitor behind "
        "the tickler.",
    )
    connection: Literal["potentiometer", "resistor"] = given(
        "potentiometer", "With `acts_on: plate`: a 'potentiometer', or a variable 'resistor' in series."
    )
    pot: p.Pot | None = optional("Track resistance of the control; needed except with a throttle.")
    minimum: p.TuningCapacitor | None = optional("Capacitance of the throttle at its lower stop.")
    maximum: p.TuningCapacitor | None = optional("Capacitance of the throttle at its upper stop.")
    law: Literal["linear", "log", "antilog"] = given("linear", "Law of the track against rotation.")
    mid: p.MidFraction | None = Field(
        default=None,
        description="Part of the track at half rotation; default: 50 % linear, 15 % log, 85 % antilog.",
    )
    rotation: p.Rotation = given("270 deg", "Rotation of the control from stop to stop (throttle: 180 deg).")
    top: p.ResistorOrLink = given("0 ohm", "Resistor from the regulator (or supply) to the top of the pot.")
    bottom: p.ResistorOrLink = given("0 ohm", "Resistor between the bottom of the pot and ground.")
    stopper: p.ResistorOrLink = given("0 ohm", "Resistor between the wiper and the screen.")
    bypass: p.BypassCapacitor = given("0.1 uF", "Capacitor from the screen (or the plate feed) to ground.")


class RfFilter(Part):
    """The filter in the plate lead of the detector that keeps RF out of the audio."""

    choke: p.RfChoke = given("2.5 mH", "RF choke in the plate lead.")
    choke_resistance: p.WindingResistance = given("30 ohm", "Winding resistance of the choke.")
    choke_capacitance: p.StrayCapacitance = given("1.5 pF", "Self-capacitance of the choke.")
    plate_capacitor: p.FilterCapacitor = given(
        "100 pF",
        "Capacitor from plate (with a tickler: from its filter end) to ground; 0 pF: none, as is the default "
        "with a throttle.",
    )
    output_capacitor: p.FilterCapacitor = given(
        "100 pF", "Capacitor from the audio end of the choke to ground; 0 pF: none."
    )


class ChokeLoad(Part):
    """An audio choke as plate load of the detector."""

    kind: Literal["choke"] = Field(description="An audio choke.")
    inductance: p.AudioInductance = Field(description="Inductance at the plate current it carries.")
    resistance: p.WindingResistance = Field(description="Winding resistance.")
    capacitance: p.StrayCapacitance = given("100 pF", "Self-capacitance.")
    core_loss: p.CoreResistance | None = optional(
        "Resistance across the winding for the loss in its iron; default: 78 kohm per henry (4 % "
        "silicon steel of 0.35 mm; from memory)."
    )
    shunt: p.PlateResistor | None = Field(
        default=None, description="Resistor across it against threshold howl; default: none."
    )


class ResistorLoad(Part):
    """A resistor as plate load of the detector."""

    kind: Literal["resistor"] = Field(description="A plain resistor.")
    resistance: p.PlateResistor = Field(description="Its value.")


class TransformerLoad(Part):
    """An interstage transformer as plate load of the detector."""

    kind: Literal["transformer"] = Field(description="An interstage transformer.")
    primary_inductance: p.AudioInductance = Field(description="Inductance of the primary.")
    primary_resistance: p.WindingResistance = Field(description="Winding resistance of the primary.")
    ratio: p.TurnsRatio = Field(description="Turns of the secondary over those of the primary.")
    secondary_resistance: p.WindingResistance = Field(description="Winding resistance of the secondary.")
    coupling: p.TransformerCoupling = given(0.995, "Coupling coefficient of the windings, below 1.")
    capacitance: p.StrayCapacitance = given("100 pF", "Self-capacitance, as seen across the primary.")
    core_loss: p.CoreResistance | None = optional(
        "Resistance across the primary for the loss in the iron; default: 78 kohm per henry (4 % "
        "silicon steel of 0.35 mm; from memory)."
    )
    shunt: p.PlateResistor | None = Field(
        default=None, description="Resistor across the primary against threshold howl; default: none."
    )


class PhonesLoad(Part):
    """The phones themselves in the plate lead, their leads at plate potential."""

    kind: Literal["phones"] = Field(description="The phones that are `at: load`.")


DetectorLoad = Annotated[ChokeLoad | ResistorLoad | TransformerLoad | PhonesLoad, Field(discriminator="kind")]


class FixedScreen(Part):
    """Feed of the screen of a detector whose regeneration control is not in the screen."""

    resistor: p.ResistorOrLink = Field(description="Resistor from the supply to the screen.")
    to_ground: p.Resistor | None = optional("Resistor from the screen to ground; default: none.")
    bypass: p.BypassCapacitor = given("0.1 uF", "Capacitor from the screen to ground.")


class Strays(Part):
    """Wiring capacitances round the detector: to ground, and from the audio stage back to its grid."""

    grid: p.StrayCapacitance = given("3 pF", "At the hot end of the tank and the grid.")
    cathode: p.StrayCapacitance = given("4 pF", "At the cathode and the tap.")
    plate: p.StrayCapacitance = given("4 pF", "At the plate.")
    audio_plate: p.StrayCapacitance = given(
        "0 pF", "From the plate of the audio stage, or a lead at it, to the detector's grid."
    )
    phone_lead: p.StrayCapacitance = given(
        "0 pF", "From the lead of the first phones to the detector's grid, with an audio stage between."
    )


class Detector(Part):
    """The regenerative detector, its cathode on the coil tap, or on ground beside a tickler."""

    tube: p.TubeName = Field(description="Type of the tube; a card of that name must be on hand.")
    condition: Condition = condition()
    grid_leak: p.GridLeak = given("2 Mohm", "Grid leak resistor.")
    grid_leak_to: Literal["tank", "cathode", "ground"] = given(
        "tank", "Where the leak returns: 'tank' (across the grid capacitor), 'cathode' or 'ground'."
    )
    grid_capacitor: p.GridCapacitor = given("100 pF", "Capacitor between tank and grid.")
    rf_filter: RfFilter = Field(default_factory=RfFilter, description="RF filter in the plate lead.")
    load: DetectorLoad = Field(description="Audio load in the plate lead.")
    screen: FixedScreen | None = optional(
        "Fixed feed of its screen; needed for a tube with a screen whose regeneration control acts elsewhere."
    )
    suppressor: Literal["cathode", "ground"] = given(
        "cathode",
        "Where the suppressor's pin is wired (common practice, no source); one joined to the cathode inside "
        "the tube stays there.",
    )
    shell: Literal["ground", "cathode"] = given(
        "ground", "Where the metal shell, or the shield of a glass tube, is wired (common practice)."
    )
    strays: Strays = Field(default_factory=Strays, description="Wiring capacitances to ground.")
    heater_coupling: HeaterCoupling = Field(
        default_factory=HeaterCoupling, description="Coupling of the heater into grid and cathode."
    )
    heater_feed: HeaterFeed | None = optional("Feed of its heater; default: straight from the line.")


class Band(Part):
    """One band with its plug-in coil."""

    name: p.Name = Field(description="Name in results.")
    from_: p.BandEdge = Field(alias="from", description="Low end of the band.")
    to: p.BandEdge = Field(description="High end of the band.")
    coil: Coil = Field(description="The plug-in coil.")
    rf_coil: RfCoil | None = optional("The coil of a tuned r.f. stage; needed for one.")
    padding: Padding | None = Field(default=None, description="Fixed capacitors of this coil; default: none.")

    @property
    def middle_hz(self) -> float:
        """The geometric middle, Hz: where a coil is looked at if nothing else is said."""
        return math.sqrt(self.from_ * self.to)


def _usual_tuning() -> Tuning:
    return Tuning.model_validate({"minimum": "10 pF", "maximum": "140 pF"})


class Build(Part):
    """One regenerative receiver of one tube or more."""

    receiver_sim: Literal[1] = Field(description="Version of the format of this file: 1.")
    title: p.Name = Field(description="Title of the build, in results.")
    mains: Mains = Field(default_factory=Mains, description="The mains.")
    supply: Supply = Field(description="The plate supply.")
    heater: Heater = Field(default_factory=Heater, description="The heater line; default: 6.3 V a.c.")
    pickup: Pickup = Field(default_factory=Pickup, description="Magnetic pick-up; default: none.")
    regulator: Regulator | None = Field(
        default=None,
        description="Regulator that feeds the regeneration control; default: none, the supply does.",
    )
    rf_stage: RfStage | None = optional("An r.f. stage ahead of the detector; default: none.")
    regeneration: Regeneration = Field(description="The regeneration control.")
    detector: Detector = Field(description="The regenerative detector.")
    audio: Audio | None = optional(
        "The audio stage; default: none, the phones are connected to the detector."
    )
    phones: tuple[Phones, ...] = Field(min_length=1, max_length=10, description="Headphones and other loads.")
    tuning: Tuning = Field(
        default_factory=_usual_tuning, description="The tuning capacitor; default: of 10 to 140 pF."
    )
    aerial: Aerial | None = Field(default=None, description="The aerial; default: none connected.")
    bands: tuple[Band, ...] = Field(min_length=1, max_length=30, description="The bands, one coil each.")
    ratings: tuple[Rating, ...] = Field(
        default=(), max_length=200, description="What parts stand, for `sheet` to check; default: nothing."
    )
    verdicts: Verdicts = Field(default_factory=Verdicts, description="Thresholds of the verdicts.")

    _path: Path | None = PrivateAttr(default=None)
    _sha256: str = PrivateAttr(default="")
    _written: str = PrivateAttr(default="")
    _warnings: tuple[str, ...] = PrivateAttr(default=())
    _changes: tuple[tuple[str, str], ...] = PrivateAttr(default=())
    _data: Any = PrivateAttr(default=None)  # the file as plain data, from which a changed build is made

    @property
    def path(self) -> Path | None:
        """The file it was read from; None if it came from text."""
        return self._path

    @property
    def sha256(self) -> str:
        """SHA-256 of the bytes of the file (and of the changes since), in hexadecimal."""
        return self._sha256

    @property
    def written(self) -> str:
        """The text it was read from, before any change: the file may be another by now."""
        return self._written

    @property
    def changes(self) -> tuple[tuple[str, str], ...]:
        """What differs from the file: pairs of key path and value, as given to `changed_build`."""
        return self._changes

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is allowed but probably unintended, a sentence each."""
        return self._warnings
