"""Results on the plate supply: rectifier and filter, start and discharge, batteries, regulator, screen."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.bands import Verdict
from receiver_sim.results.base import FailedStage, FloatArray
from receiver_sim.results.check import SupplyReport
from receiver_sim.results.onset import Onset


@dataclass(frozen=True)
class Capacitor:
    """One capacitor of the filter: highest volts it meets (no load, highest mains), its rating, its ripple.

    ripple_a: ripple current, r.m.s.; ripple_v: ripple across it, peak to peak; both at the working load.
    """

    section: int
    farad: float
    highest_v: float
    rating_v: float | None
    ripple_v: float
    ripple_a: float


@dataclass(frozen=True)
class Rectified:
    """A rectifier supply at the load of its receiver, nominal mains.

    load_a: d.c. taken by the receiver; bleeder_a: by the bleeder; volts_v: mean at the receiver; ripple_v:
    peak to peak there; ripple_hz and ripple_rms_v: its lines; slope_ohm: fall of the volts per ampere;
    regulation_a/regulation_v: volts against the receiver's current; no_load_v: with bleeder alone at nominal
    mains; winding_a: r.m.s. current of the winding (of each half); peak_a: of each rectifier in the steady
    state; inverse_v: across each rectifier at no load and the highest mains.
    """

    circuit: str
    rectifier: str
    load_a: float
    bleeder_a: float
    volts_v: float
    ripple_v: float
    ripple_hz: FloatArray
    ripple_rms_v: FloatArray
    ripple_phase_rad: FloatArray
    slope_ohm: float
    regulation_a: FloatArray
    regulation_v: FloatArray
    no_load_v: float
    winding_a: float
    peak_a: float
    inverse_v: float
    capacitors: tuple[Capacitor, ...]


@dataclass(frozen=True)
class StartAndStop:
    """Volts at the receiver after switching on, and at the capacitor that stays charged longest after off.

    on_s, on_v: turn-on (tubes draw current as they warm up); highest_v: reached then; surge_a: largest
    current of a rectifier, at switching on or at work, the mains 10 % high; off_s, off_v: turn-off from the
    no-load volts with the bleeder alone, as with the tubes pulled; safe_v: volts taken as safe to touch;
    discharge_s: time to that, None when it is not reached in the run; closed_s: R C ln(V/safe) of bleeder
    and all capacitors, None without a bleeder.
    """

    on_s: FloatArray
    on_v: FloatArray
    highest_v: float
    surge_a: float
    off_s: FloatArray
    off_v: FloatArray
    safe_v: float
    discharge_s: float | None
    closed_s: float | None
    text: str


@dataclass(frozen=True)
class BatteryLife:
    """Load of the batteries and hours until spent; None where the build does not state their capacity.

    end_v: volts without load at which they are spent, as the build states them; spent: onset then.
    """

    load_a: float
    loaded_v: float
    hours: float | None
    end_v: float | None = None
    spent: Onset | None = None


@dataclass(frozen=True)
class DropperChoice:
    """Which dropper keeps a shunt regulator within its limits from 90 to 110 % of the mains.

    lowest_ohm and highest_ohm bound it; chosen_ohm: the E24 value nearest their geometric mean, None when no
    value serves; fitted_ohm, fitted_w: of the build, at 110 %; chosen_w: dissipation of the chosen one there;
    advised_w: rating to buy (twice that); control_a: taken by the regeneration control.
    """

    lowest_ohm: float
    highest_ohm: float
    chosen_ohm: float | None
    chosen_w: float | None
    advised_w: float | None
    fitted_ohm: float
    fitted_w: float
    control_a: float
    text: str


@dataclass(frozen=True)
class ScreenQuiet:
    """Ripple and noise at the screen of the detector.

    ripple_v: r.m.s. of all lines of the ripple; supply_db: how far the path from supply to screen weakens the
    strongest line (dB); regulator_noise_v: r.m.s. from 100 Hz to 10 kHz from the regulator; drift_v: change
    of the regulated volts for a rise of `rise_k`. at_screen: False where
    it is read at the plate feed, of a tube without a screen.
    """

    ripple_v: float
    supply_db: float
    regulator_noise_v: float
    drift_v: float | None
    rise_k: float
    at_screen: bool = True


@dataclass(frozen=True)
class LineDrift:
    """Drift for 1 V of the mains at a knob left alone, with the regulator as built or without it.

    screen_v_per_v: volts of the screen (feed_v_per_v: of the plate feed, where the control sets that; both
    None for a control that the mains do not move); gain_per_v: loop gain; frequency_hz_per_v: frequency of
    zero phase; onset_per_v: onset on the control, as part of its rotation, None where it is not found.
    """

    regulated: bool
    screen_v_per_v: float | None
    gain_per_v: float
    frequency_hz_per_v: float
    onset_per_v: float | None
    feed_v_per_v: float | None = None


@dataclass(frozen=True, repr=False)
class SupplyStudy(Answer):
    """What the verb `supply` finds: d.c. conditions and drift, and the supply itself.

    Parts that a build does not have are None; so are those that could not be found, named in `failed`.
    """

    report: SupplyReport
    rectified: Rectified | None
    start: StartAndStop | None
    battery: BatteryLife | None
    dropper: DropperChoice | None
    screen: ScreenQuiet | None
    drifts: tuple[LineDrift, ...]
    verdicts: tuple[Verdict, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()
