"""The loop-gain probe: a loaded receiver deck, its control turned, its return ratio read."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.engine import Session, Vectors
from receiver_sim.netlist.receiver import control_elements
from receiver_sim.physics.potentiometer import rotation_fraction
from receiver_sim.physics.return_ratio import return_ratio, zero_phase
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.schema import Band, Build

CONTROL_NODE = "xdet.gk"
"""Node whose voltage drives the detector's space current."""


def operating_volts(run: Vectors, node: str) -> float:
    """Return the d.c. volts of a node at the operating point that belongs to an a.c. run."""
    if run.op is None:
        raise ValueError("this run kept no operating point: the deck lacks the option keepopinfo")
    return float(run.op[node].real[0])


@dataclass(frozen=True)
class Sample:
    """One engine evaluation: wiper fraction 0..1, screen volts, frequency of zero phase (Hz), loop gain."""

    wiper: float
    screen_v: float
    frequency: float
    gain: float


class Probe:
    """Measures the loop gain of a loaded receiver deck with the control at a given wiper fraction."""

    def __init__(
        self, session: Session, build: Build, *, band: Band, dial_hz: float, mains: float = 1.0
    ) -> None:
        self._session, self._build = session, build
        self._law = build.regeneration
        self.dial_hz = dial_hz
        self.frequency = dial_hz
        self._inductance = band.coil.inductance
        self._half_width = dial_hz / (4.0 * band.coil.q)
        self.tuning: float | None = None
        self.evaluations = 0
        session.alter("vinj", 1.0, "acmag")
        if mains != 1.0:
            session.alter("vsupply", build.supply.volts * mains, "dc")

    def rotation(self, wiper: float) -> float:
        """Return the rotation of the knob for a wiper fraction."""
        return float(rotation_fraction(wiper, law=self._law.law, mid=self._law.mid))

    def tune(self, tuning: float) -> None:
        """Set the tuning capacitor (F)."""
        self.tuning = tuning
        self._session.alter("ctune", tuning)

    def trim(self, tuning: float) -> None:
        """Tune so that the zero-phase frequency with the control half way is the dial frequency, as an
        operator does.
        """
        self.tune(tuning)
        first = self.measure(0.5, follow=False)
        total = float(resonant_capacitance(self._inductance, frequency=self.dial_hz))
        self.tune(max(tuning + total * ((first.frequency / self.dial_hz) ** 2 - 1.0), 1e-14))
        self.frequency = self.dial_hz

    def measure(self, wiper: float, *, follow: bool = True) -> Sample:
        """Return the loop gain at zero phase with the wiper there.

        follow: look again around the frequency found where it lies outside the three points.
        """
        for element, value in control_elements(self._build, self.rotation(wiper)).items():
            self._session.alter(element, value)
        for _ in range(4):
            low, high = self.frequency - self._half_width, self.frequency + self._half_width
            run = self._session.ac(low, high, 3, vectors=["frequency", CONTROL_NODE, "scr"])
            self.evaluations += 1
            frequency, gain = zero_phase(run["frequency"].real, ratio=return_ratio(run[CONTROL_NODE]))
            near = abs(frequency - self.frequency) <= 3.0 * self._half_width
            self.frequency = min(max(frequency, 0.5 * self.dial_hz), 2.0 * self.dial_hz)
            if near or not follow:
                break
        return Sample(wiper, operating_volts(run, "scr"), frequency, gain)
