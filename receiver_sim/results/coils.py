"""Results on coils, tuning range, aerial and breakthrough."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage, FloatArray, Provenance, Status
from receiver_sim.results.onset import ControlSetting
from receiver_sim.results.rf_stage import RfStageEffect


@dataclass(frozen=True)
class WindingPart:
    """One winding for the bench: part ('coil', 'section 2', 'link'); sizes in metres.

    former_m, wire_m (bare), pitch_m and length_m (of the winding), wire_length_m without leads; turns may be
    fractional. A ring core has no former, pitch or length: None.
    """

    part: str
    former_m: float | None
    turns: float
    wire_m: float | None
    pitch_m: float | None
    length_m: float | None
    wire_length_m: float | None


@dataclass(frozen=True)
class CoilSheet:
    """What a coil is: how it is wound, and its electrical values.

    kind: 'figures' (given by them), 'solenoid', 'sections' or 'toroid'. turns and tap_turns (from the
    grounded end) are None for a coil given by figures; tap_share: tap turns over all turns; tap_ratio: volts
    at the unloaded tap over those of the coil. upper, lower and mutual: section inductances; upper + lower +
    2 mutual is the inductance. can_ratio: share of the inductance a can leaves. link_coupling to the whole
    coil; link_farad: from link to hot end as built, link_unshielded_farad without the shield; None without a
    link. link_place: 'below' or 'over'. former: material of it where
    its loss is a common figure of the trade, None where the loss is stated, measured or there is none;
    former_assumed: the build does not name the material; self_extrapolated: the self-capacitance lies
    outside what was measured.
    With a tickler tap_share, tap_ratio and coupling are None, upper is
    all of the coil, and the figures of the tickler follow (None without one): its coupling to the whole coil,
    and whether its ends are such that it works against the swing.
    """

    band: str
    kind: str
    parts: tuple[WindingPart, ...]
    turns: float | None
    tap_turns: float | None
    tap_share: float | None
    tap_ratio: float | None
    inductance_henry: float
    upper_henry: float
    lower_henry: float
    mutual_henry: float
    coupling: float | None
    self_farad: float
    can_ratio: float
    link_place: str | None
    link_gap_m: float | None
    link_henry: float | None
    link_coupling: float | None
    link_farad: float | None
    link_unshielded_farad: float | None
    former: str | None = None
    former_assumed: bool = False
    self_extrapolated: bool = False
    tickler_place: str | None = None
    tickler_gap_m: float | None = None
    tickler_henry: float | None = None
    tickler_mutual_henry: float | None = None
    tickler_coupling: float | None = None
    tickler_reversed: bool | None = None


@dataclass(frozen=True)
class DialMark:
    """One mark of a dial: rotation 0 (open) to 1 (meshed), frequency, slope there (negative)."""

    rotation: float
    frequency_hz: float
    slope_hz_per_deg: float


@dataclass(frozen=True)
class CoilRange:
    """What one coil covers, measured in the deck with the tube cold but in its socket and the aerial on.

    low_hz, high_hz: tuning capacitor meshed and open (a band-spread capacitor half way). At middle_hz, the
    middle of the band: coil_q of the coil alone, loaded_q and rp_ohm of the tank with tube input, grid leak
    and aerial; reactance_ohm: sqrt(L/C); total_farad: C of the tank. dial: which capacitor spreads the band,
    'main' or 'band spread'; main_rotation: where the main capacitor stands then; band_low, band_high:
    rotation at the band's edges, None where the dial does not reach; marks: the dial scale.
    """

    band: str
    from_hz: float
    to_hz: float
    low_hz: float
    high_hz: float
    middle_hz: float
    coil_q: float
    loaded_q: float
    rp_ohm: float
    reactance_ohm: float
    total_farad: float
    dial: str
    travel_deg: float
    main_rotation: float | None
    band_low: float | None
    band_high: float | None
    marks: tuple[DialMark, ...]


@dataclass(frozen=True)
class Span:
    """A stretch of frequencies."""

    low_hz: float
    high_hz: float


@dataclass(frozen=True)
class ServiceCover:
    """One band of a service: which coils reach into it (names), and what no coil reaches."""

    service: str
    name: str
    low_hz: float
    high_hz: float
    coils: tuple[str, ...]
    missing: tuple[Span, ...]


@dataclass(frozen=True)
class Overlap:
    """Frequencies that two coils share."""

    first: str
    second: str
    low_hz: float
    high_hz: float


@dataclass(frozen=True)
class Coverage:
    """The set of coils against the bands of a year and ITU region; gaps between lowest and highest end.

    unmeasured: names of coils whose range was not found. What they reach is not in here: as long as there are
    any, gaps, overlaps and what no coil reaches are those of the other coils.
    """

    year: int
    region: int
    services: tuple[ServiceCover, ...]
    gaps: tuple[Span, ...]
    overlaps: tuple[Overlap, ...]
    unmeasured: tuple[str, ...] = ()


@dataclass(frozen=True)
class DialPoint:
    """Loop gain and what makes it, at one frequency of a coil's dial.

    status, onset: of the onset search; gain: loop gain at the common setting of the sweep. coil_q and
    coil_rp_ohm of the coil alone; loaded_q and rp_ohm of the tank as loaded; share of its losses due to the
    coil, to the tube's input loading, to the grid leak, and to the rest (aerial, filter). tap_ratio: volts
    from tap to ground over those of the tank, 0 with a tickler; transfer_ohm: volts from grid to cathode for
    an ampere into the cathode, n (1 - n) Rp for an ideal tap, (M/L) Rp for an ideal tickler;
    transconductance_siemens: gain over transfer, the tube's own part.
    """

    dial_hz: float
    status: Status
    onset: ControlSetting | None
    gain: float
    coil_q: float
    coil_rp_ohm: float
    loaded_q: float
    rp_ohm: float
    coil_loss: float
    input_loss: float
    leak_loss: float
    other_loss: float
    tap_ratio: float
    transfer_ohm: float
    transconductance_siemens: float


@dataclass(frozen=True)
class DialSweep:
    """One coil over its dial, the control at the common setting; warnings name what failed.

    from_hz, to_hz: the band asked for, which the dial reaches beyond. Of a coil whose range was not found the
    points lie within the band.
    """

    band: str
    from_hz: float
    to_hz: float
    rotation: float
    points: tuple[DialPoint, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class AerialState:
    """The tank with the aerial in one state ('none', 'calm', 'less', 'more' capacitance), the dial left
    alone.

    capacitance_farad: of the aerial, None without one; shift_hz: resonance against 'calm'; q of the loaded
    tank; status, onset: of the search in that state.
    """

    state: str
    capacitance_farad: float | None
    resonance_hz: float
    shift_hz: float
    q: float
    status: Status
    onset: ControlSetting | None


@dataclass(frozen=True)
class Radiation:
    """What an oscillating detector radiates.

    tank_v: peak volts at the hot end, an assumption where tank_assumed; aerial_a: r.m.s. current at the
    aerial's foot; height_m: effective height, an assumption where height_assumed; field_v_per_m: r.m.s. at
    100 m over perfect ground.
    """

    tank_v: float
    tank_assumed: bool
    aerial_a: float
    height_m: float
    height_assumed: bool
    radiation_ohm: float
    power_w: float
    field_v_per_m: float


@dataclass(frozen=True)
class AerialEffect:
    """Aerial on one band: coupling 'link' or 'capacitor', its R and X there, its states, what it radiates."""

    band: str
    dial_hz: float
    coupling: str
    resistance_ohm: float
    reactance_ohm: float
    states: tuple[AerialState, ...]
    radiation: Radiation


@dataclass(frozen=True)
class Breakthrough:
    """Volts between grid and cathode per volt of e.m.f. in the aerial, tube cold (no regeneration), one band.

    frequency_hz, unshielded and shielded (None without a link): arrays of equal length. shield: 'as built' or
    'assumed' (5 % of the capacitance left). At station_hz, for emf_v (r.m.s.) in the aerial: station_v and
    station_shielded_v. wanted: the same ratio at the dial frequency as built; equal_v: e.m.f. of a wanted
    signal that makes as many volts as the station does, as built.
    """

    band: str
    dial_hz: float
    frequency_hz: FloatArray
    unshielded: FloatArray
    shielded: FloatArray | None
    shield: str
    station_hz: float
    emf_v: float
    station_v: float
    station_shielded_v: float | None
    wanted: float
    equal_v: float


@dataclass(frozen=True, repr=False)
class CoilsReport(Answer):
    """Everything `coils` found. Tuples run in the order of the build's bands; aerial parts are empty without
    one.

    rotation: the common setting of the control in the sweeps, the middle one of the bands' onsets. A band of
    which something could not be found is left out there and named in `failed`.
    """

    title: str
    rotation: float
    coils: tuple[CoilSheet, ...]
    ranges: tuple[CoilRange, ...]
    coverage: Coverage
    sweeps: tuple[DialSweep, ...]
    aerial: tuple[AerialEffect, ...]
    breakthrough: tuple[Breakthrough, ...]
    provenance: Provenance
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    evaluations: int
    failed: tuple[FailedStage, ...] = ()
    rf_stage: tuple[RfStageEffect, ...] = ()


@dataclass(frozen=True)
class TapPlace:
    """A place of the tap: turns (None for a coil without turns), share of all turns, and the onset there."""

    turns: float | None
    share: float
    status: Status
    onset: ControlSetting | None


@dataclass(frozen=True)
class TapAdvice:
    """A change that was tried where no tap puts onset at the setting wanted, in words.

    gain: loop gain at that setting with the tap that is best for the change (where the set oscillates too
    early: with the lowest); place: the tap that then puts onset there, None where the change is not enough.
    """

    change: str
    gain: float
    place: TapPlace | None


@dataclass(frozen=True, repr=False)
class TapFind(Answer):
    """Where to put the tap of one band so that onset comes at `target` (rotation 0..1).

    status: OSCILLATES: found; DOES_NOT: no tap up to half the turns oscillates at that setting;
    NOT_IN_RANGE: even the lowest tap looked at oscillates earlier. In these two cases `best` is the tap that
    comes nearest, `best_gain` the loop gain there at that setting, and `advice` what was tried, best first.
    exact: the tap to the thousandth of a turn; step: the nearest whole quarter turn (or quarter of one per
    cent); less, more: half a turn (half a per cent) below and above `step`, None where that leaves the coil;
    present: as the build has it.
    """

    band: str
    dial_hz: float
    target: float
    status: Status
    exact: TapPlace | None
    step: TapPlace | None
    less: TapPlace | None
    more: TapPlace | None
    present: TapPlace
    warnings: tuple[str, ...] = ()
    best: TapPlace | None = None
    best_gain: float | None = None
    advice: tuple[TapAdvice, ...] = ()


@dataclass(frozen=True)
class WindingDesign:
    """A coil designed for a band, former and capacitor, by formula.

    part: the winding, turns to a quarter; tap_turns to a quarter; series_farad, parallel_farad: padders
    (None, 0 without); low_hz, high_hz: reached with the capacitor meshed and open; band_low, band_high:
    rotation at the band's edges, None where not reached. q of the coil in the middle of the band, with a
    former of the material named, rp_ohm from it; input_farad: allowance for the tube; link_turns by common
    practice.
    """

    from_hz: float
    to_hz: float
    part: WindingPart
    tap_turns: float
    inductance_henry: float
    wanted_henry: float
    self_farad: float
    coupling: float
    q: float
    former: str
    rp_ohm: float
    reactance_ohm: float
    series_farad: float | None
    parallel_farad: float
    input_farad: float
    low_hz: float
    high_hz: float
    band_low: float | None
    band_high: float | None
    link_turns: float
    build_lines: tuple[str, ...]
    warnings: tuple[str, ...]
