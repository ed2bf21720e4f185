"""Parts of the envelope view by themselves, in ngspice, against complex numbers: which way each turns."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.signals import DialPath, Signal, signal_block
from receiver_sim.circuit.views.envelope import tank_block
from receiver_sim.circuit.writer import text as written
from receiver_sim.engine import Bench, Deck

TANK = Mode(
    reference_hz=7e6, decay=2e5, offset_rad=3e4, residue=4e9, grid=1.0, cathode=0.05, plate=0.0, screen=0.0,
    aerial=None, misfit=0.0,
)  # fmt: skip


@pytest.mark.parametrize("amplitude", [1.7 + 0.6j, -0.4 + 2.1j, 0.3 - 0.9j])
def test_the_tank_in_its_turning_frame(bench: Bench, amplitude: complex) -> None:
    """Current across the swing turns it, current along it pays for losses, a frame below sees it run ahead.

    At rest (decay - j detuning) A = residue ((drive + j cross) A/|A| + S), the equation of the envelope view:
    S is computed for an amplitude, and the deck has to find that amplitude.
    """
    drive, cross, frame_hz = 0.031e-3, -0.057e-3, 6.98e6
    detuning = 3e4 + 2.0 * math.pi * (7e6 - frame_hz)
    forced = (drive + 1j * cross) * amplitude / abs(amplitude)
    source = (2e5 - 1j * detuning) * amplitude / 4e9 - forced
    block = tank_block(TANK, reference_hz=frame_hz)
    text = written(Circuit("tank", block.elements))
    # mA by the deck's own count
    text += f"\nVdrive drive 0 dc {1e3 * drive!r}\nVcross cross 0 dc {1e3 * cross!r}"
    text += "\n.nodeset v(amp)=1 v(ti)=0.5\n.options reltol=1e-7 abstol=1e-15 vntol=1e-9"
    with bench.session(Deck("tank", text)) as session:
        session.alter("isigi", source.real)
        session.alter("isigq", source.imag)
        found = session.op()
    seen = complex(found["ti"].item(), found["tq"].item())
    # the amplitude is rounded off by a microvolt; ngspice's tolerances are some 1e-7
    assert seen == pytest.approx(amplitude, rel=1e-5)
    assert found["amp"].item() == pytest.approx(abs(amplitude), rel=1e-5)


@pytest.mark.parametrize("offset_hz", [373.0, -373.0])
def test_a_carrier_above_runs_ahead_one_below_falls_back(bench: Bench, offset_hz: float) -> None:
    """exp(j 2 pi offset t) times the amplitude, from the start of the run; 1 ohm in place of the tank."""
    signal = Signal(1.3, offset_hz=offset_hz, start_s=0.0)
    block = signal_block(signal, 0, amperes_per_volt=0.7, start=0.1, stop=0.12)
    text = "Rti ti 0 1\nRtq tq 0 1\n" + written(Circuit("carrier", block.elements))
    with bench.session(Deck("carrier", text)) as session:
        run = session.tran(1e-4, 0.02, 0.0, 1e-4)
    # the e.m.f. is r.m.s.; time counts from the first instant of the signal
    due = 0.91 * math.sqrt(2.0) * np.exp(2j * math.pi * offset_hz * (run["time"] + 0.1))
    # 27 steps to a turn, no reactance in the deck: nothing but the digits of the sources
    assert run["ti"] + 1j * run["tq"] == pytest.approx(due, abs=1e-6)


def test_a_station_goes_on_where_a_stretch_begins_while_the_dial_moves(bench: Bench) -> None:
    """The carrier's angle is the integral of its offset from the dial since the sound began.

    700 Hz t less 2 kHz/s t^2/2 for a dial that moves 400 Hz in 0.2 s, whatever came before the stretch.
    """
    dial = DialPath(((0.0, 0.0), (0.2, 400.0)))
    signal = Signal(1.3, offset_hz=700.0, start_s=0.0)
    block = signal_block(signal, 0, amperes_per_volt=0.7, start=0.1307, stop=0.1507, dial=dial)
    text = "Rti ti 0 1\nRtq tq 0 1\n" + written(Circuit("carrier", block.elements))
    with bench.session(Deck("carrier", text)) as session:
        run = session.tran(1e-4, 0.02, 0.0, 1e-4)
    t = run["time"] + 0.1307
    due = 0.91 * math.sqrt(2.0) * np.exp(2j * math.pi * (700.0 * t - 0.5 * 2000.0 * t**2))
    assert run["ti"] + 1j * run["tq"] == pytest.approx(due, abs=1e-5)
