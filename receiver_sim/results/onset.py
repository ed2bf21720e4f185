"""Results on loop gain and onset of oscillation."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.base import ComplexArray, Figure, FloatArray, Status

HALF_WAY = 0.5
"""Rotation at which a receiver without onset on its control is looked at."""


REVERSED = "the tickler is reversed and works against the swing: swap its two ends"
"""Said of a loop gain below zero, which only a winding with its ends swapped gives."""


SCREEN = "screen voltage"
"""What a control sets unless a result says otherwise."""


@dataclass(frozen=True)
class ControlSetting:
    """One position of the regeneration control.

    rotation is the fraction 0..1 of its electrical travel, screen_v the d.c. volts at the screen there (the
    reading of a meter without load); None for a control that sets something else: then value, in `unit` (V or
    F), of its `quantity`.
    """

    rotation: float
    screen_v: float | None
    value: float | None = None
    unit: str = "V"
    quantity: str = SCREEN

    @classmethod
    def of(cls, rotation: float, figure: float, *, quantity: str, unit: str) -> ControlSetting:
        """Return the setting of a control that sets a quantity (V or F)."""
        if quantity == SCREEN:
            return cls(rotation, figure)
        return cls(rotation, None, figure, unit, quantity)

    @property
    def figure(self) -> float:
        """What the control sets there, in `unit`."""
        found = self.value if self.screen_v is None else self.screen_v
        assert found is not None
        return found


@dataclass(frozen=True)
class Onset:
    """Where one band breaks into oscillation at one dial frequency.

    dial_hz: frequency the tank was tuned to; oscillation_hz: where the loop gain is real and one;
    slope_per_v: d|T|/dV of what the control sets at onset (1/V); approach_v and approach_deg: those volts and
    degrees of knob from T = 0.9 to 1; both volts None for a control in farads,
    whose slope is slope_in; gain_lowest/gain_highest: real loop gain at the two ends of the control;
    stops_at: setting above onset where it stops again, if it does; evaluations: engine evaluations spent.
    Fields that have no value in a state are None.
    """

    band: str
    dial_hz: float
    status: Status
    onset: ControlSetting | None
    oscillation_hz: float | None
    slope_per_v: float | None
    approach_v: float | None
    approach_deg: float | None
    at_nine_tenths: ControlSetting | None
    gain_lowest: float | None
    gain_highest: float | None
    stops_at: ControlSetting | None
    tuning_farad: float | None
    evaluations: int
    warnings: tuple[str, ...] = ()
    slope_in: Figure | None = None

    @property
    def approach(self) -> float | None:
        """What the control sets, from T = 0.9 to 1, in its unit."""
        if self.approach_v is not None or self.onset is None or self.at_nine_tenths is None:
            return self.approach_v
        return self.onset.figure - self.at_nine_tenths.figure

    @property
    def slope(self) -> float | None:
        """Rise of the loop gain for each V or F of what the control sets, at onset."""
        if self.onset is None or self.onset.screen_v is not None or self.slope_in is None:
            return self.slope_per_v
        return self.slope_in.value

    @property
    def working_rotation(self) -> float | None:
        """Rotation (0..1) at which the band is used below onset: where T is 0.9, else the onset itself.

        HALF_WAY without an onset on the control; None where the search failed and nothing is known.
        """
        if self.onset is not None:
            return (self.at_nine_tenths or self.onset).rotation
        return None if self.status is Status.FAILED else HALF_WAY

    @property
    def nearest_end(self) -> float:
        """End of the control (rotation 0 or 1) nearest to an onset that lies beyond it."""
        return 0.0 if self.status is Status.NOT_IN_RANGE else 1.0


@dataclass(frozen=True)
class GainAgainstScreen:
    """Real loop gain at the frequency of zero phase, against the setting of the control, one band.

    rotation, screen_v (V), gain (plain number), frequency (Hz): arrays of equal length. A control that does
    not set the screen has value, in `unit`, in place of screen_v.
    """

    band: str
    dial_hz: float
    rotation: FloatArray
    screen_v: FloatArray | None
    gain: FloatArray
    frequency_hz: FloatArray
    value: FloatArray | None = None
    unit: str = "V"
    quantity: str = SCREEN

    @property
    def figure(self) -> FloatArray:
        """What the control sets, in `unit`."""
        found = self.value if self.screen_v is None else self.screen_v
        assert found is not None
        return found


@dataclass(frozen=True)
class NyquistCurve:
    """Return ratio T against frequency at one setting of the control; arrays of equal length."""

    band: str
    setting: ControlSetting
    label: str
    frequency_hz: FloatArray
    return_ratio: ComplexArray


@dataclass(frozen=True)
class Selectivity:
    """Bandwidth of the tank as regeneration is advanced, one band.

    gain: loop gain T at each setting; bandwidth_hz: between the -3 dB points of the tank voltage for a
    current injected at its hot end; peak_ohm: peak of that transfer impedance; rotation of the control:
    arrays of equal length. unloaded_bandwidth_hz is that of the same circuit extrapolated to T = 0.
    curves_ohm: that transfer impedance (ohm) against offset_hz from the frequency tuned to, at the loop gains
    curve_gain, some of those in `gain`.
    """

    band: str
    dial_hz: float
    gain: FloatArray
    rotation: FloatArray
    bandwidth_hz: FloatArray
    peak_ohm: FloatArray
    unloaded_bandwidth_hz: float
    offset_hz: FloatArray
    curve_gain: tuple[float, ...]
    curves_ohm: tuple[FloatArray, ...]
