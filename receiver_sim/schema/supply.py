"""The plate supply and the heater line: rectifier with filter, batteries, bench supply; regulators.

A supply known by what it gives (`kind: dc`) stands beside them: the studies of the receiver see every supply
as one of that kind, with its filter behind it (`SettledSupply`, made by `measure/rectifier.py`).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.base import Part, derived, given, optional


class DcSupply(Part):
    """A plate supply known by what it gives: volts, source resistance and ripple."""

    kind: Literal["dc"] = Field(description="A supply known by its volts, source resistance and ripple.")
    volts: p.PlateSupply = Field(description="Open-circuit voltage of the plate supply.")
    resistance: p.SourceResistance = given("0 ohm", "Source resistance seen by the receiver.")
    capacitor: p.BypassCapacitor | None = optional(
        "Capacitor to ground behind that resistance, at the receiver; default: none."
    )
    ripple: p.Ripple = given(
        "0 V", "Ripple on the supply, peak to peak, at no load, ahead of `resistance` and `capacitor`."
    )
    ripple_frequency: p.RippleFrequency = derived(
        "Frequency of the ripple; default: twice that of the mains."
    )
    bleeder: p.Bleeder | None = optional(
        "Resistor across the supply that discharges its capacitors; default: none."
    )


class MainsWinding(Part):
    """The plate winding of the mains transformer; of a centre-tapped one, one half."""

    volts: p.WindingVolts = Field(description="Volts r.m.s. with no load; full wave: of each half.")
    resistance: p.WindingResistance = Field(
        description="Resistance of that winding with the primary's share (its square of turns) in it."
    )


class SolidState(Part):
    """Silicon diodes."""

    kind: Literal["solid_state"] = Field(description="Silicon diodes.")
    drop: p.DiodeDrop = given("0.9 V", "Forward voltage of each at `current`.")
    current: p.RegulatorCurrent = given("0.5 A", "Forward current at which `drop` is stated.")
    peak_inverse: p.PeakVolts | None = optional("Peak inverse volts each stands; default: not checked.")
    peak_current: p.RatedCurrent | None = optional("Peak current each stands; default: not checked.")


class Vacuum(Part):
    """A vacuum rectifier, by the volts its sheet prints at a current."""

    kind: Literal["vacuum"] = Field(description="A vacuum rectifier.")
    type: p.TubeName | None = optional(
        "Type such as '6X5GT'; fills in whatever of the figures below is left out."
    )
    drop: p.DiodeDrop = derived("Volts across each plate at `current`; default: by `type`.")
    current: p.RegulatorCurrent = derived("Current per plate at which `drop` is stated; default: by `type`.")
    warm_up: p.WarmUp = given("11 s", "Time its cathode takes to warm up; with a `type`, that of its card.")
    peak_inverse: p.PeakVolts | None = optional(
        "Peak inverse volts it stands; default: by `type`, else not checked."
    )
    peak_current: p.RatedCurrent | None = optional(
        "Peak current per plate; default: by `type`, else not checked."
    )
    output_current: p.RegulatorCurrent | None = optional(
        "Most d.c. it gives; default: by `type`, else not checked."
    )


class FilterSection(Part):
    """One section of the filter: a resistor or a choke in series (the first may have none), a capacitor."""

    resistor: p.Resistor | None = optional("Resistor ahead of the capacitor; default: none.")
    choke: p.AudioInductance | None = optional("Choke ahead of the capacitor; default: none.")
    choke_resistance: p.WindingResistance = given("0 ohm", "Winding resistance of the choke.")
    capacitor: p.BypassCapacitor = Field(description="Capacitor to ground.")
    series_resistance: p.SourceResistance = given("0 ohm", "Series resistance inside that capacitor.")
    rating: p.PeakVolts | None = optional("Volts the capacitor stands; default: not checked.")


class RectifierSupply(Part):
    """Mains transformer, rectifier and filter."""

    kind: Literal["rectifier"] = Field(description="Mains transformer, rectifier and filter.")
    secondary: MainsWinding = Field(description="The plate winding of the mains transformer.")
    circuit: Literal["full_wave", "bridge", "half_wave"] = Field(
        description="'full_wave' with a centre-tapped winding, 'bridge' or 'half_wave'."
    )
    rectifier: Annotated[SolidState | Vacuum, Field(discriminator="kind")] = Field(
        description="The rectifier."
    )
    filter: tuple[FilterSection, ...] = Field(
        min_length=1, max_length=5, description="Sections of the filter, from the rectifier to the receiver."
    )
    bleeder: p.Bleeder | None = optional(
        "Resistor across the supply that discharges its capacitors; default: none."
    )

    @property
    def volts(self) -> float:
        """Not known before the rectifier has been run at the load it has. Raises RuntimeError."""
        raise RuntimeError("a rectifier supply has no volts before `rectifier.settled` has run it")

    resistance = ripple = ripple_frequency = volts


class Battery(Part):
    """Dry batteries or an accumulator."""

    kind: Literal["battery"] = Field(description="Batteries.")
    volts: p.PlateSupply = Field(description="Volts when fresh, without load.")
    resistance: p.SourceResistance = given("0 ohm", "Internal resistance of all cells in series.")
    capacitor: p.BypassCapacitor | None = optional("Capacitor across them at the receiver; default: none.")
    end_volts: p.PlateSupply | None = optional(
        "Volts without load at which they are spent; where onset is then, `supply` says."
    )
    capacity: p.Capacity | None = optional("Charge they give until then; default: life not computed.")
    bleeder: p.Bleeder | None = optional("Resistor across them; default: none, nothing to discharge.")

    @property
    def ripple(self) -> float:
        """Batteries have none (V)."""
        return 0.0

    @property
    def ripple_frequency(self) -> float:
        """Where ripple would be looked for (Hz) if there were any."""
        return 100.0


class BenchSupply(Part):
    """A regulated bench supply with a current limit."""

    kind: Literal["bench"] = Field(description="A regulated bench supply.")
    volts: p.PlateSupply = Field(description="Volts it is set to.")
    current_limit: p.RegulatorCurrent | None = optional("Current it gives at most; default: not checked.")
    resistance: p.SourceResistance = given("0 ohm", "Slope of its volts against current.")
    capacitor: p.BypassCapacitor | None = optional(
        "Capacitor across its leads at the receiver; default: none."
    )
    ripple: p.Ripple = given("0 V", "Ripple on it, peak to peak.")
    ripple_frequency: p.RippleFrequency = derived(
        "Frequency of the ripple; default: twice that of the mains."
    )
    bleeder: p.Bleeder | None = optional("Resistor across its output; default: none.")


Supply = Annotated[DcSupply | RectifierSupply | Battery | BenchSupply, Field(discriminator="kind")]


class SettledSection(Part):
    """A section of the filter as the receiver sees it from behind: series R and L, capacitor with its R."""

    resistance: float
    inductance: float
    capacitor: float
    series_resistance: float


class SettledSupply(DcSupply):
    """A rectifier supply reduced to a d.c. source with its real filter, at the load it has.

    `volts` and `resistance` are the e.m.f. and slope at the working point, seen ahead of the filter's last
    sections; `sections` the filter behind the rectifier. `harmonics` are (frequency Hz, volts r.m.s., phase
    rad) of the ripple at the receiver's side. No file can hold one: it is made by a study.
    """

    sections: tuple[SettledSection, ...] = ()
    harmonics: tuple[tuple[float, float, float], ...] = ()
    peak_volts: float = 0.0


class Heater(Part):
    """The heater line of all tubes, and how it is referred to ground."""

    volts: p.HeaterVolts = given("6.3 V", "Voltage of the heater line (rms if ac).")
    supply: Literal["ac", "dc"] = given("ac", "'ac' from a transformer winding, or 'dc'.")
    wiring: Literal["hum_pot", "centre_tap", "one_side"] = given(
        "hum_pot",
        "What is grounded: the wiper of 'hum_pot', the 'centre_tap' or 'one_side' (end b).",
    )
    hum_pot: p.HumPot = given("100 ohm", "Pot across the heater line, wiper to ground.")
    hum_pot_position: p.Setting = given("50 %", "Wiper of the hum pot, from heater end a to end b.")
    ripple: p.Ripple = given("0 V", "Ripple left on a d.c. heater line, peak to peak.")


class Pickup(Part):
    """Magnetic fields of mains transformer, filter choke and heaters, where they enter; volts r.m.s."""

    detector_load: p.PickupVolts = given(
        "0 V", "In the audio choke or transformer of the detector; line frequency."
    )
    output: p.PickupVolts = given("0 V", "In the output choke or transformer, line frequency.")
    heater_field: p.PickupVolts = given(
        "0 V", "As if at the detector's grid, twice the line frequency: the heater's field on the stream."
    )
    audio_heater_field: p.PickupVolts = given("0 V", "The same at the grid of the output stage.")


class _Shunt(Part):
    type: p.RegulatorType | None = optional(
        "Type such as '0A2' or '1N4764'; fills in whatever of the printed figures is left out."
    )
    volts: p.RegulatorVolts = derived("Volts one of them holds at `current`; default: by `type`.")
    current: p.RegulatorCurrent = derived("Current at which `volts` is stated; default: by `type`.")
    impedance: p.ResistorOrLink = derived("Slope of its volts against current; default: by `type`.")
    minimum_current: p.RegulatorCurrent | None = optional(
        "It holds regulation above this current; default: by `type`, else not checked."
    )
    maximum_current: p.RegulatorCurrent | None = optional(
        "Most current it stands; default: by `type`, else not checked."
    )
    count: p.Count = given(1, "How many of them are in series; their volts and slopes add.")
    dropper: p.Resistor = Field(description="Resistor from the plate supply to the regulator.")
    dropper_power: p.PartPower | None = optional("Watts that resistor stands; default: not checked.")
    noise: p.Ripple = given("0 V", "Noise of its own, volts r.m.s. from 100 Hz to 10 kHz, taken as white.")
    drift: p.Drift = given("0 V", "Rise of its volts for each kelvin (a size; see `drift_sense`).")
    drift_sense: Literal["rises", "falls"] = given("rises", "Whether its volts rise or fall with heat.")

    @property
    def held_volts(self) -> float:
        """Volts all of them in series hold at `current`."""
        return self.volts * self.count

    @property
    def held_impedance(self) -> float:
        """Slope of all of them in series, ohm."""
        return self.impedance * self.count


class Zener(_Shunt):
    """A zener diode (or a string of them) that feeds the regeneration control."""

    kind: Literal["zener"] = Field(description="A zener diode, or a string taken as one.")


class GasTube(_Shunt):
    """A gas-filled regulator tube that feeds the regeneration control."""

    kind: Literal["gas_tube"] = Field(description="A glow-discharge regulator tube.")
    strike: p.StrikeVolts = derived("Volts needed to strike it, above `volts`; default: by `type`.")


Regulator = Annotated[Zener | GasTube, Field(discriminator="kind")]
