"""The envelope view: the tank's amplitude and phase instead of its cycles, every d.c. and audio element kept.

In a frame that turns at w_ref the tank's amplitude A = I + jQ (V at the hot end) obeys

    dA/dt = -(decay - j detuning) A + residue (F + S),    F = (A/|A|) sum of shares x fundamental currents

with decay, residue and shares of `mode.Mode`, fundamental and mean currents from `phases`. The circuit is
that of `low_frequency` with the tube in its sampled form, and a control that follows the volts of a node.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Block, Circuit
from receiver_sim.circuit.control import Follower
from receiver_sim.circuit.element import Element
from receiver_sim.circuit.limits import NEWTON_OPTION, RSHUNT_OPTION
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.phases import KNOTS, PHASES, Swings, phase_subcircuit
from receiver_sim.circuit.registry import Cards, filled
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.low_frequency import low_frequency
from receiver_sim.schema import Build

DC_OPTIONS = f"reltol=1e-6 abstol=1e-13 vntol=1e-9 {NEWTON_OPTION} itl2=50"
"""reltol: rounding alone moves the volts of some sets by 1e-7 from one of Newton's steps to the next, so that
less would find no end; what a step below 1e-6 leaves is its square."""
BALANCE_OPTIONS = f"{DC_OPTIONS} srcsteps=0"
"""Of a sweep of a balance: beyond the largest amplitude that any setting sustains there is no solution, and
bringing the sources up from zero looks for it for a minute; without it the sweep is given up in seconds,
and a shorter one, or settings one by one, serve."""
TRAN_RELTOL = "reltol=1e-4"
TRAN_OPTIONS = (
    f"{TRAN_RELTOL} abstol=1e-12 vntol=1e-6 chgtol=1e-12 {NEWTON_OPTION} itl4=50 method=trap {RSHUNT_OPTION}"
)
"""chgtol: else the femtofarads of the heaters rule the step, down to where hundreds of henries lose their
digits."""

LOWEST_V = 1e-3
"""Amplitude at the start of a balance sweep: far below the 0.1 V or so over which a tube's characteristic
bends."""

SOFTENING_V = 1e-6
"""Rounds off |A| at A = 0; below the thermal volts of a tank, sqrt(kT/C), which are several microvolts."""

FASTEST = 0.5
"""Growth of the amplitude in a cycle, as ln, that a time run allows at most above 1 V: what grows faster is
no envelope any more. Sets whose every cycle was run grew by 0.2 to 0.53 in their bursts (to 21, 61 and 90
V). Without a bound a step that had been cut to a hundredth could find a false solution at 1e10 V, where the
tube's law is at its end, and ngspice's estimate of the step's error let it pass."""

FURTHEST_V = 1e3
"""Amplitude from which the tube gives no more in a time run: a false solution beyond it finds no root. Bursts
end where the plate bottoms, at some tens of volts."""

NOISY_SOFTENING_V = 3e-3
"""The same where noise takes A through 0 over and over, each time a corner for Newton's method (2.5 times
the time at SOFTENING_V). What the tube gives is in proportion to |A| there and cancels (a test holds it);
its characteristic bends over 0.1 V or so, and a thousandth of its rectified currents is at stake."""


def balance_circuit(
    build: Build,
    cards: Cards,
    mode: Mode,
    *,
    guess: float,
    phases: int = PHASES,
    knots: int = KNOTS,
    with_audio: bool = True,
) -> Circuit:
    """Return the circuit whose d.c. sweep of the sweep source gives the control against amplitude.

    The amplitude is LOWEST_V exp(sweep); the knob's node holds the share of its travel at which the tube pays
    exactly for the losses; beyond 0 or 1 there is no such setting on this control. with_audio: False leaves
    out the audio stage, whose current only matters through the supply.
    """
    base = _base(build, cards, mode, phases=phases, knots=knots, with_audio=with_audio)
    return _joined(
        base,
        f"balance of amplitudes at {mode.reference_hz / 1e6:.6g} MHz",
        BALANCE_OPTIONS,
        [balance_block(mode, guess=guess)],
    )


def envelope_circuit(
    build: Build,
    cards: Cards,
    mode: Mode,
    *,
    reference_hz: float,
    rotation: float = 0.0,
    phases: int = PHASES,
    knots: int = KNOTS,
    with_audio: bool = True,
    knob: Block | None = None,
    softening: float = SOFTENING_V,
    held: bool = False,
    split: bool = False,
) -> Circuit:
    """Return the circuit of time runs, in a frame that turns at `reference_hz`.

    rotation: setting of the control (0..1), unless `knob` gives its course; softening: what rounds off |A|,
    V; held: the control is plain parts that no node can turn, which takes less time; split: so
    does the tube's law in factors (`phases.phase_subcircuit`).
    """
    mode = mode.at(rotation)
    base = _base(
        build,
        cards,
        mode,
        phases=phases,
        knots=knots,
        with_audio=with_audio,
        rotation=rotation,
        turned=not held,
        split=split,
    )
    tank = tank_block(mode, reference_hz=reference_hz, softening=softening)
    if held:
        return _joined(base, f"envelope at {reference_hz / 1e6:.6g} MHz", TRAN_OPTIONS, [tank])
    return _joined(
        base,
        f"envelope at {reference_hz / 1e6:.6g} MHz",
        TRAN_OPTIONS,
        [knob or _still(base, rotation), tank],
    )


def swept_circuit(build: Build, cards: Cards, mode: Mode, *, rotation: float) -> Circuit:
    """Return the circuit whose d.c. sweep of the sweep source imposes amplitudes LOWEST_V exp(sweep), the
    control at `rotation` (0..1).
    """
    mode = mode.at(rotation)
    base = _base(build, cards, mode, phases=PHASES, knots=KNOTS, with_audio=True, rotation=rotation)
    return _joined(
        base,
        f"swept amplitude at {mode.reference_hz / 1e6:.6g} MHz",
        DC_OPTIONS,
        [_still(base, rotation), filled("envelope_swept.cir", {"lowest": LOWEST_V})],
    )


def imposed_circuit(build: Build, cards: Cards, mode: Mode, *, amplitude: float, rotation: float) -> Circuit:
    """Return the circuit with the amplitude (V) imposed by the amplitude source, the control at `rotation`
    (0..1).

    Its a.c. analysis gives the drive (mA) and the audio for 1 V of change in the amplitude.
    """
    mode = mode.at(rotation)
    base = _base(build, cards, mode, phases=PHASES, knots=KNOTS, with_audio=True, rotation=rotation)
    imposed = filled("envelope_imposed.cir", {"amplitude": amplitude})
    return _joined(
        base,
        f"imposed amplitude at {mode.reference_hz / 1e6:.6g} MHz",
        DC_OPTIONS,
        [_still(base, rotation), imposed],
    )


# ---------------------------------------------------------------------- pieces


def balance_block(mode: Mode, *, guess: float) -> Block:
    """Return what imposes an amplitude and lets the control pay for it."""
    return filled(
        "envelope_balance.cir",
        {"lowest": LOWEST_V, "conductance_ma": 1e3 * mode.conductance, "guess": guess},
    )


def tank_block(mode: Mode, *, reference_hz: float, softening: float = SOFTENING_V) -> Block:
    """Return the tank in a frame that turns at `reference_hz`, |A| rounded off by `softening` (V)."""
    detuning = mode.offset_rad + 2.0 * math.pi * (mode.reference_hz - reference_hz)
    capacitance = 1.0 / abs(mode.residue)
    values = {
        "capacitance": capacitance,
        "conductance": mode.decay * capacitance,
        "turning": detuning * capacitance,
        "softening": softening**2,
        "least": 0.5 * softening,
        "most": 1e3 * capacitance * (mode.decay + FASTEST * mode.reference_hz),
        "furthest": FURTHEST_V,
    }
    return filled("envelope_tank.cir", values)


def knob_path(times: Sequence[float], shares: Sequence[float]) -> Block:
    """Return the source of the knob's node that goes through `shares` (0..1) of its travel at rising
    `times` (s).
    """
    points = [{"time": float(t), "value": float(w)} for t, w in zip(times, shares, strict=True)]
    return filled("envelope_path.cir", {"points": points})


def kick(volts: float, mode: Mode) -> list[float]:
    """Return the points of a current pulse into the tank that leaves `volts` in it, 2 us after the start."""
    charge = volts / abs(mode.residue)
    strength = charge / 1.1e-6  # flanks of 0.1 us about a flat top of 1 us
    return [0.0, 0.0, 1.0e-6, 0.0, 1.1e-6, strength, 2.1e-6, strength, 2.2e-6, 0.0]


def moving_control(circuit: Circuit, *, stretch: float) -> Circuit:
    """Return the circuit with the elements of its control following the knob's node.

    stretch: volts of the e.m.f. that takes the control beyond its ends, for each travel or so. Raises
    ValueError for a control that acts on the tank itself.
    """
    control = circuit.control
    if control.on_tank:
        raise ValueError(f"a control in {control.unit} acts on the tank: it has no place at audio")
    followers = {one.element: one for one in control.followers}
    stretched = next((one.element for one in control.followers if one.share == "above"), None)
    elements: list[Element] = []
    for element in circuit.elements:
        follower = followers.get(element.name)
        if follower is None:
            elements.append(element)
        else:
            elements += _following(element, follower, stretch if element.name == stretched else 0.0)
    return replace(circuit, elements=tuple(elements))


def _following(element: Element, follower: Follower, stretch: float) -> tuple[Element, ...]:
    if element.kind != "r" or follower.share not in ("above", "below"):
        raise ValueError(f"{element.about.word}: only a resistance can follow the knob at audio")
    values: dict[str, str | float] = {
        "name": element.name[1:],
        "high": element.nodes[0],
        "low": element.nodes[1],
        "whole": follower.whole,
        "least": follower.least,
    }
    if follower.share == "above":
        values["stretch"] = stretch
    says = {"name": element.name[1:], "key": element.about.key or ""}
    return filled(f"envelope_{follower.share}.cir", values, says=says).elements


def _still(base: Circuit, rotation: float) -> Block:
    return filled("envelope_knob.cir", {"wiper": base.control.share(rotation)})


def _joined(base: Circuit, title: str, options: str, blocks: Sequence[Block]) -> Circuit:
    start = dict(base.start)
    for block in blocks:
        start |= block.start
    return replace(
        base.plus(*(element for block in blocks for element in block.elements)),
        title=title,
        options=options,
        start=start,
        blocks=(*base.blocks, *blocks),
    )


def _base(
    build: Build,
    cards: Cards,
    mode: Mode,
    *,
    phases: int,
    knots: int,
    with_audio: bool,
    rotation: float = 0.5,
    turned: bool = True,
    split: bool = False,
) -> Circuit:
    """Return the receiver at audio with its detector's tube sampled, its control free, starting from rest.

    A control that acts on the tank stays at `rotation`: it moves the mode, not the circuit at audio. turned:
    False leaves any other there, too.
    """
    band = build.bands[0]  # at audio no band is different from another
    whole = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=rotation)
    if not with_audio:
        whole = whole.without_part("audio")
    circuit = low_frequency(whole, view="envelope")
    if turned and not circuit.control.on_tank:
        circuit = moving_control(circuit, stretch=build.supply.volts)
    circuit = _sampled(circuit, cards, mode, phases=phases, knots=knots, split=split)
    return replace(circuit, start={}).begun_with(mode.rest)


def _sampled(circuit: Circuit, cards: Cards, mode: Mode, *, phases: int, knots: int, split: bool) -> Circuit:
    """Return the circuit with the oscillating tube in its sampled form."""
    probe = circuit.part(Role.LOOP_GAIN)
    socket = next(one for one in circuit.sockets.values() if one.probe == probe)
    law = circuit[socket.tube].tail
    sampled = phase_subcircuit(
        cards.detector.law(), law, Swings.of(mode), phases=phases, knots=knots, split=split
    )
    # a current into the hot end acts through the residue; its angle is part of every share, and so is that
    # of the grid's swing, which the currents follow
    angle = mode.residue / abs(mode.residue) * mode.drive / abs(mode.drive)
    plate = (mode.cathode - mode.plate) * angle
    screen = (mode.cathode - mode.screen) * angle
    grid = -(mode.grid - mode.cathode) * angle * 1e-3  # the grid's current comes in microamperes
    tube = filled(
        "envelope_tube.cir",
        {
            "plate": circuit.node(Place.PLATE),
            "screen": circuit.find_node(Place.SCREEN),
            "grid": circuit.node(Place.GRID),
            "drive_plate": plate.real,
            "drive_screen": screen.real,
            "drive_grid": grid.real,
            "cross_plate": plate.imag,
            "cross_screen": screen.imag,
            "cross_grid": grid.imag,
        },
    )
    changed = replace(
        circuit.without([socket.tube, probe]),
        laws=tuple(sampled if one.name == law else one for one in circuit.laws),
        blocks=(*circuit.blocks, tube),
    )
    return changed.plus(*tube.elements)
