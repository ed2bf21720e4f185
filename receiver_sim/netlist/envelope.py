"""The envelope deck: the tank's amplitude and phase instead of its cycles, every d.c. and audio element kept.

In a frame that turns at w_ref the tank's amplitude A = I + jQ (V at the hot end) obeys

    dA/dt = -(decay - j detuning) A + residue (F + S),    F = (A/|A|) sum of shares x fundamental currents

with decay, residue and shares of `mode.Mode`, fundamental and mean currents from `phases`. Nodes: `ti`,
`tq` (I, Q), `amp` (|A|), `knob` (part of the control's track below the wiper), `drive`, `cross` (mA along
and across the swing), and those of the receiver: `grid` (mean volts), `scr`, `plate`, `dout`, `agrid`,
`aplate`, `phone0`...

Left out or lumped against the RF deck, all of which is of no consequence at audio frequencies: the coil and
the choke of the RF filter (shorts), the aerial and tuning capacitor (across that short), the input loading
(in `Mode.decay`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from receiver_sim.data import folder
from receiver_sim.engine import Deck
from receiver_sim.netlist.audio_stage import audio_parts, tube_parts
from receiver_sim.netlist.heater import heater_ends
from receiver_sim.netlist.limits import RSHUNT_OPTION
from receiver_sim.netlist.mode import Mode
from receiver_sim.netlist.phases import KNOTS, PHASES, Swings, phase_subcircuit
from receiver_sim.netlist.receiver import (
    CONTACT_OHM,
    Cards,
    control_values,
    load_part,
    supply_parts,
)
from receiver_sim.netlist.templates import render
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.schema import Build
from receiver_sim.schema.card import TubeCard

DC_OPTIONS = ".options reltol=1e-7 abstol=1e-13 vntol=1e-9 itl1=500 itl2=200"
TRAN_OPTIONS = (
    f".options reltol=1e-4 abstol=1e-12 vntol=1e-6 chgtol=1e-12 itl1=500 itl4=50 method=trap {RSHUNT_OPTION}"
)
"""chgtol: else the femtofarads of the heaters rule the step, down to where hundreds of henries lose their
digits."""

LOWEST_V = 1e-3
"""Amplitude at the start of a balance sweep: far below the 0.1 V or so over which a tube's characteristic
bends."""

SOFTENING_V = 1e-6
"""Rounds off |A| at A = 0; below the thermal volts of a tank, sqrt(kT/C), which are several microvolts."""


def fill(name: str, values: dict[str, Any]) -> str:
    """Fill a template of the netlist folder."""
    return render(folder("netlists"), name, values)


def balance_deck(
    build: Build,
    cards: Cards,
    mode: Mode,
    *,
    guess: float,
    phases: int = PHASES,
    knots: int = KNOTS,
    with_audio: bool = True,
) -> Deck:
    """Return the deck whose d.c. sweep of `vsweep` gives the control against amplitude.

    The amplitude is LOWEST_V exp(sweep); node `knob` holds the part of the track at which the tube pays
    exactly for the losses; beyond 0 or 1 there is no such setting on this control. with_audio: False leaves
    out the audio stage, whose current only matters through the supply.
    """
    conductance = 1e3 * mode.conductance
    return Deck(
        title=f"balance of amplitudes at {mode.reference_hz / 1e6:.6g} MHz",
        text="\n".join(
            [
                DC_OPTIONS,
                *_tubes(build, cards, mode, phases=phases, knots=knots, with_audio=with_audio),
                *_receiver(build, cards, mode, with_audio=with_audio),
                fill(
                    "envelope_balance.cir",
                    {"lowest": LOWEST_V, "conductance_ma": conductance, "guess": guess},
                ),
            ]
        ),
    )


def envelope_deck(
    build: Build,
    cards: Cards,
    mode: Mode,
    *,
    rotation: float,
    reference_hz: float,
    phases: int = PHASES,
    knots: int = KNOTS,
    with_audio: bool = True,
    knob: str | None = None,
    extra: str = "",
) -> Deck:
    """Return the deck of time runs, in a frame that turns at `reference_hz`.

    rotation: setting of the control (0..1), unless `knob` gives the source of node `knob` as text. extra:
    further elements (signals, `.ic`).
    """
    wiper = float(wiper_fraction(rotation, law=build.regeneration.law, mid=build.regeneration.mid))
    parts = [
        TRAN_OPTIONS,
        *_tubes(build, cards, mode, phases=phases, knots=knots, with_audio=with_audio),
        *_receiver(build, cards, mode, with_audio=with_audio),
        knob if knob is not None else fill("envelope_knob.cir", {"wiper": wiper}),
        tank_part(mode, reference_hz=reference_hz),
    ]
    if extra:
        parts.append(extra)
    return Deck(title=f"envelope at {reference_hz / 1e6:.6g} MHz", text="\n".join(parts))


def imposed_deck(build: Build, cards: Cards, mode: Mode, *, amplitude: float, rotation: float) -> Deck:
    """Return the deck with the amplitude (V) imposed by source `vamp`, the control at `rotation` (0..1).

    Its a.c. analysis gives `drive` (mA) and the audio for 1 V of change in the amplitude.
    """
    wiper = float(wiper_fraction(rotation, law=build.regeneration.law, mid=build.regeneration.mid))
    parts = [
        DC_OPTIONS,
        *_tubes(build, cards, mode, phases=PHASES, knots=KNOTS, with_audio=True),
        *_receiver(build, cards, mode, with_audio=True),
        fill("envelope_knob.cir", {"wiper": wiper}),
        fill("envelope_imposed.cir", {"amplitude": amplitude}),
    ]
    return Deck(title=f"imposed amplitude at {mode.reference_hz / 1e6:.6g} MHz", text="\n".join(parts))


def tank_part(mode: Mode, *, reference_hz: float) -> str:
    """Return the tank in a frame that turns at `reference_hz`, as text."""
    detuning = mode.offset_rad + 2.0 * math.pi * (mode.reference_hz - reference_hz)
    capacitance = 1.0 / abs(mode.residue)
    values = {
        "capacitance": capacitance,
        "conductance": mode.decay * capacitance,
        "turning": detuning * capacitance,
        "softening": SOFTENING_V**2,
        "least": 0.5 * SOFTENING_V,
    }
    return fill("envelope_tank.cir", values)


def kick(volts: float, mode: Mode) -> list[float]:
    """Return the points of a current pulse into the tank that leaves `volts` in it, 2 us after the start."""
    charge = volts / abs(mode.residue)
    strength = charge / 1.1e-6  # flanks of 0.1 us about a flat top of 1 us
    return [0.0, 0.0, 1.0e-6, 0.0, 1.1e-6, strength, 2.1e-6, strength, 2.2e-6, 0.0]


def with_screen_resistance(build: Build, extra_ohm: float) -> Build:
    """Return the build with `extra_ohm` more between the wiper of the control and the screen."""
    if extra_ohm == 0.0:
        return build
    control = build.regeneration.model_copy(update={"stopper": build.regeneration.stopper + extra_ohm})
    return build.model_copy(update={"regeneration": control})


def control_part(build: Build) -> str:
    """Return the regeneration control whose wiper follows node `knob`, as text."""
    values = {
        **control_values(build),
        "pot": build.regeneration.pot,
        "contact": CONTACT_OHM,
        "stretch": build.supply.volts,
    }
    return fill("envelope_control.cir", values)


def knob_path(times: Sequence[float], wipers: Sequence[float]) -> str:
    """Return the source of node `knob` that goes through `wipers` (0..1) at rising `times` (s), as text."""
    points = [{"time": float(t), "value": float(w)} for t, w in zip(times, wipers, strict=True)]
    return fill("envelope_path.cir", {"points": points})


def _tubes(build: Build, cards: Cards, mode: Mode, *, phases: int, knots: int, with_audio: bool) -> list[str]:
    law = cards.detector.law()
    parts = [phase_subcircuit(law, "det", Swings.of(mode), phases=phases, knots=knots)]
    if with_audio:
        parts += tube_parts(build, cards.audio, cards.first)
    return parts


def _receiver(build: Build, cards: Cards, mode: Mode, *, with_audio: bool) -> list[str]:
    parts = [
        *supply_parts(build),
        control_part(build),
        fill("envelope_detector.cir", _detector(build, cards.detector, mode)),
        load_part(build),
    ]
    if with_audio:
        parts += audio_parts(build, cards.audio, cards.first)
    return [*parts, *_nodeset("\n".join(parts), mode)]


def _nodeset(text: str, mode: Mode) -> list[str]:
    """Return the volts at rest as starting values for the nodes that occur in `text`.

    Without them Newton's method strays in the long chain of sources of the tube's law.
    """
    words = set(text.split())
    known = [f"v({name})={volts:.6g}" for name, volts in mode.rest.items() if name in words]
    return [f".nodeset {' '.join(known[i : i + 8])}" for i in range(0, len(known), 8)]


def _detector(build: Build, card: TubeCard, mode: Mode) -> dict[str, Any]:
    det, heat, filt = build.detector, build.detector.heater_coupling, build.detector.rf_filter
    # a current into the hot end acts through the residue; its angle is part of every share, and so is that
    # of the grid's swing, which the currents follow
    angle = mode.residue / abs(mode.residue) * mode.drive / abs(mode.drive)
    plate = (mode.cathode - mode.plate) * angle
    screen = (mode.cathode - mode.screen) * angle
    grid = -(mode.grid - mode.cathode) * angle * 1e-3  # the grid's current comes in microamperes
    return {
        "grid_capacitor": det.grid_capacitor,
        "grid_leak": det.grid_leak,
        "stray_grid": det.strays.grid,
        "cgk": card.capacitances.cgk,
        "cgp": card.capacitances.cgp,
        **heater_ends(build, "detector"),
        "heater_grid_a": heat.grid_a,
        "heater_grid_b": heat.grid_b,
        "choke_resistance": max(filt.choke_resistance, CONTACT_OHM),
        "filter_capacitance": filt.plate_capacitor
        + filt.output_capacitor
        + det.strays.plate
        + card.capacitances.cpk,
        "drive_plate": plate.real,
        "drive_screen": screen.real,
        "drive_grid": grid.real,
        "cross_plate": plate.imag,
        "cross_screen": screen.imag,
        "cross_grid": grid.imag,
    }
