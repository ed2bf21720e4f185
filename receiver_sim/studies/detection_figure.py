"""How much audio does a weak carrier at the grid make? (small signals: square-law detection at the grid leak)

A carrier of amplitude A at the grid adds A^2/4 times the second derivative of a current to its mean. The
grid's share moves the floating grid and is amplified; the plate's own bend works against it. ngspice gives
both derivatives at the tube's volts and, in the whole receiver, what a current into the grid node and a
voltage at the control node become at the detector's load at 1 kHz.
"""

from __future__ import annotations

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import loaded, operating_volts
from receiver_sim.measure.tube_jig import JigReading, jig_circuit, read_jig
from receiver_sim.receiver import Tuned
from receiver_sim.results.swap import DetectionFigure
from receiver_sim.schema import Band, Build

AUDIO_HZ = 1000.0


def plan(
    build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float
) -> tuple[Circuit, Circuit]:
    """Return the receiver's circuit and that of its detector tube alone."""
    receiver = receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    return receiver, jig_circuit(cards.detector, cards.detector.kind)


def reduce(tube: JigReading, *, by_current: complex, by_grid: complex, grid_v: float) -> DetectionFigure:
    """Turn the tube's derivatives and the receiver's two answers at 1 kHz into the result.

    by_current: load volts per ampere into the grid node; by_grid: per volt at the control node. The rectified
    grid current flows out of that node, hence its sign. Audio is 2 A^2/4 of each second derivative: the
    square of a carrier modulated in full swings by twice itself.
    """
    grid = -0.5 * tube.grid_curvature * by_current
    plate = 0.5 * tube.gm_slope / tube.gm * by_grid
    return DetectionFigure(
        total_per_v=abs(grid + plate),
        grid_per_v=abs(grid),
        plate_per_v=abs(plate),
        audio_gain=abs(by_grid),
        gm_siemens=tube.gm,
        grid_v=grid_v,
    )


def run(tuned: Tuned, *, rotation: float) -> tuple[DetectionFigure, JigReading]:
    """Return the figure with the control at `rotation`, and the tube's own there. Raises EngineError."""
    receiver, jig = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    with loaded(tuned.bench, receiver) as on:
        on.turn(rotation)
        answers = []
        for source in (Role.GRID_CURRENT, Role.LOOP_GAIN):
            with on.driven(source):
                run_ = on.session.ac(AUDIO_HZ, AUDIO_HZ, 1)
            answers.append(complex(run_[on.node(Place.DETECTOR_OUTPUT)][0]))
        plate, grid, cathode = (
            operating_volts(run_, on.node(place)) for place in (Place.PLATE, Place.GRID, Place.CATHODE)
        )
        screen = None
        if (node := on.circuit.find_node(Place.SCREEN)) is not None:
            screen = operating_volts(run_, node) - cathode
    with loaded(tuned.bench, jig) as on:
        tube = read_jig(on.session, plate_v=plate - cathode, grid_v=grid - cathode, screen_v=screen)
    return reduce(tube, by_current=answers[0], by_grid=answers[1], grid_v=grid - cathode), tube
