"""The tank as one mode of the RF netlist: what the envelope view knows of the radio-frequency circuit.

The passive network that the detector tube hangs in (coil, tap, strays, tube capacitances, input loading,
aerial, grid leak) is measured in the RF deck itself, the tube silenced, by a.c. runs around resonance. Near
resonance it is one pole: a current into electrode b makes at electrode a the volts share_a share_b
residue/(j (w - w0) + decay). So the mode shape (`share` of the volts of the hot end that appears at each
electrode) is all that the tube sees of the tank, and by reciprocity all that the tank sees of the tube.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, current_source
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Vectors
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.on_bench import AtDial
from receiver_sim.physics.mode import Resonance, resonance

ELECTRODES = (Place.GRID, Place.CATHODE, Place.PLATE, Place.SCREEN)

HARMONICS = (2, 3, 4, 5)
_CATHODE_SOURCE = "icathode"
_POINTS = 11
_SPAN = 2.0
"""Half of the range swept, in bandwidths of the tank."""

_WIDEST = 0.6
"""Half of the widest range looked at for a damped resonance, as a share of its centre."""

SILENCE_V = 200.0
"""Put into the grid lead by the (otherwise idle) voltage source of the double-injection probe: no current
flows in the tube at the grid volts that result, while the passive network, being linear, does not
notice."""


def ahead(circuit: Circuit) -> list[str]:
    """Return the sockets of the tubes that stay at work before the tank: those of an r.f. stage."""
    return [name for block in circuit.blocks if block.part_of == "r.f. stage" for name in block.sockets]


@contextmanager
def silenced(on: Loaded) -> Iterator[None]:
    """Keep the oscillating tube of a loaded receiver without current for the length of the block."""
    on.set(Role.GRID_LEAD, SILENCE_V)
    yield
    on.set(Role.GRID_LEAD, 0.0)


def measure_mode(on: Loaded, *, dial_hz: float, q: float) -> Mode:
    """Measure the mode of a loaded receiver (any setting of the control) near `dial_hz`; `q` of its coil.

    The sources are left as they were found. Raises EngineError when a simulation fails,
    ValueError if no resonance shows near the dial frequency.
    """
    hot = on.node(Place.HOT_END)
    at = {place: on.circuit.find_node(place) for place in (*ELECTRODES, Place.FEEDBACK)}
    nodes = list(dict.fromkeys([hot, *(node for node in at.values() if node is not None)]))
    with silenced(on):
        runs, found = _swept(on, nodes, dial_hz=dial_hz, q=q)
    into, centre = runs[Role.TANK_CURRENT], found.reference_hz
    frequency = into["frequency"].real
    shares, worst = dict.fromkeys(at, 0j), found.misfit
    for place, node in at.items():
        if node is None:
            continue
        residue, _, misfit = found.residues(frequency, response=into[node])
        shares[place] = residue / found.residue
        if abs(shares[place]) > 1e-6:
            worst = max(worst, misfit)
    pick_up = None
    if Role.AERIAL in runs:
        residue, _, _ = found.residues(frequency, response=runs[Role.AERIAL][hot])
        pick_up = residue / found.residue
    return Mode(
        reference_hz=dial_hz,
        decay=found.pole.real,
        offset_rad=2.0 * np.pi * (centre - dial_hz) - found.pole.imag,
        residue=found.residue,
        grid=shares[Place.GRID],
        cathode=shares[Place.CATHODE],
        plate=shares[Place.PLATE],
        screen=shares[Place.SCREEN],
        feedback=shares[Place.FEEDBACK],
        aerial=pick_up,
        misfit=worst,
        beside_hz=None if found.beside is None else centre - found.beside.imag / (2.0 * np.pi),
        beside_decay=None if found.beside is None else found.beside.real,
    )


def _swept(
    on: Loaded, nodes: Sequence[str], *, dial_hz: float, q: float
) -> tuple[dict[Role, Vectors], Resonance]:
    """Return the sweeps around resonance by what drives them, and the resonance from their centre."""
    centre = dial_hz
    drivers = [Role.TANK_CURRENT]
    if on.circuit.find(Role.AERIAL) is not None:
        drivers.append(Role.AERIAL)
    share = _SPAN / q
    for _ in range(3):
        runs, found, share = _seen(on, drivers, nodes, centre=centre, share=share)
        half = share * centre
        away = -found.pole.imag / (2.0 * np.pi)
        if abs(away) < 0.5 * half:
            break
        centre += away
    return runs, found


def _seen(
    on: Loaded, drivers: Sequence[Role], nodes: Sequence[str], *, centre: float, share: float
) -> tuple[dict[Role, Vectors], Resonance, float]:
    """Return sweeps `share` of the centre to either side, the resonance in them, and the share it took.

    A tank that its aerial damps to a Q of one or two shows no resonance within the bandwidth of its coil,
    only a slope: the range is widened until one shows. Raises NoAnswer where none does.
    """
    while True:
        runs, half = {}, share * centre
        for source in drivers:
            with on.driven(source):
                runs[source] = on.session.ac(
                    centre - half, centre + half, _POINTS, vectors=["frequency", *nodes]
                )
        into = runs[Role.TANK_CURRENT]
        try:
            found = resonance(
                into["frequency"].real,
                response=into[nodes[0]],
                reference_hz=centre,
                passive=not ahead(on.circuit),
            )
        except NoAnswer:
            if share >= _WIDEST:
                raise
            share = min(4.0 * share, _WIDEST)
        else:
            return runs, found, share


def _strays(on: Loaded, mode: Mode) -> tuple[complex, tuple[complex, ...]]:
    """Measure what of the impedance from cathode current to grid volts is not the resonance; see `Mode`."""
    grid, cathode = on.node(Place.GRID), on.node(Place.CATHODE)
    first, last = mode.resonance_hz, HARMONICS[-1] * mode.resonance_hz
    with silenced(on), on.driven(_CATHODE_SOURCE):
        run = on.session.ac(first, last, HARMONICS[-1], vectors=["frequency", grid, cathode])
    values = [complex(v) for v in run[grid] - run[cathode]]
    own = mode.residue / mode.decay * mode.transfer
    return values[0] - own, tuple(values[1:])


def tuned_mode(tuned: AtDial, *, tuning: float, rotation: float) -> Mode:
    """Measure the mode of a band with the tuning capacitor (F) that an onset search found there.

    rotation: setting of the control (0..1) at which the volts at rest are taken.
    """
    circuit = receiver_circuit(
        tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation
    )
    returned = circuit.find_node(Place.FEEDBACK) or GROUND
    circuit = circuit.plus(current_source(_CATHODE_SOURCE, circuit.node(Place.CATHODE), out_of=returned))
    with loaded(tuned.bench, circuit) as on:
        on.tune(tuning)
        point = on.volts()
        rest = {name: volts for name, volts in point.items() if "#" not in name}
        if not on.circuit.control.on_tank:
            return replace(_whole(on, dial_hz=tuned.dial_hz, q=tuned.band.coil.q), rest=rest)
        along = _along(on, dial_hz=tuned.dial_hz, q=tuned.band.coil.q)
    mode = replace(along[0][1], along=along, rest=rest)
    return replace(mode.at(rotation), along=along)


SETTINGS = 25
"""Settings of a control that acts on the tank at which its mode is measured."""


def _along(on: Loaded, *, dial_hz: float, q: float) -> tuple[tuple[float, Mode], ...]:
    """Measure the mode at rotations from stop to stop, each looked for where the one before was found."""
    out: list[tuple[float, Mode]] = []
    near = dial_hz
    for rotation in np.linspace(0.0, 1.0, SETTINGS):
        on.turn(float(rotation))
        mode = _whole(on, dial_hz=near, q=q)
        near = mode.resonance_hz
        offset = mode.offset_rad + 2.0 * np.pi * (mode.reference_hz - dial_hz)
        out.append((float(rotation), replace(mode, reference_hz=dial_hz, offset_rad=offset)))
    return tuple(out)


def _whole(on: Loaded, *, dial_hz: float, q: float) -> Mode:
    """Measure the mode with what is not the resonance's."""
    mode = measure_mode(on, dial_hz=dial_hz, q=q)
    stray, harmonics = _strays(on, mode)
    return replace(mode, stray=stray, harmonics=harmonics)
