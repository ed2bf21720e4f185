"""The loop-gain probe: a loaded receiver, its control turned, its return ratio read."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import Loaded
from receiver_sim.physics.return_ratio import return_ratio, zero_phase
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.schema import Band


@dataclass(frozen=True)
class Sample:
    """One engine evaluation: share of the control's travel (0..1), what it sets (screen volts, as a rule),
    frequency of zero phase (Hz), loop gain.
    """

    wiper: float
    screen_v: float
    frequency: float
    gain: float


class Probe:
    """Measures the loop gain of a loaded receiver with the control at a given share of its travel."""

    def __init__(self, on: Loaded, *, band: Band, dial_hz: float, mains: float = 1.0) -> None:
        self._on = on
        self._node = on.node(Place.CONTROL_NODE)
        self.dial_hz = dial_hz
        self.frequency = dial_hz
        self._inductance = band.coil.inductance
        self._half_width = dial_hz / (4.0 * band.coil.q)
        self.tuning: float | None = None
        self.evaluations = 0
        on.drive(Role.LOOP_GAIN)
        if mains != 1.0:
            on.mains(mains)

    def rotation(self, wiper: float) -> float:
        """Return the rotation of the knob for a share of the control's travel."""
        return self._on.circuit.control.rotation(wiper)

    def tune(self, tuning: float) -> None:
        """Set the tuning capacitor (F)."""
        self.tuning = tuning
        self._on.tune(tuning)

    def trim(self) -> None:
        """Tune so that the zero-phase frequency with the control half way is the dial frequency, as an
        operator does.
        """
        circuit = self._on.circuit
        tuning = circuit.dialled(self.dial_hz)[circuit.part(Role.TUNING)]
        self.tune(tuning)
        first = self.measure(0.5, follow=False)
        total = float(resonant_capacitance(self._inductance, frequency=self.dial_hz))
        self.tune(max(tuning + total * ((first.frequency / self.dial_hz) ** 2 - 1.0), 1e-14))
        self.frequency = self.dial_hz

    def measure(self, wiper: float, *, follow: bool = True) -> Sample:
        """Return the loop gain at zero phase with the control at that share of its travel.

        follow: look again around the frequency found where it lies outside the three points.
        """
        self._on.turn_to_share(wiper)
        vectors = ["frequency", self._node, *self._on.control_vectors]
        for _ in range(4):
            low, high = self.frequency - self._half_width, self.frequency + self._half_width
            run = self._on.session.ac(low, high, 3, vectors=vectors)
            self.evaluations += 1
            frequency, gain = zero_phase(run["frequency"].real, ratio=return_ratio(run[self._node]))
            near = abs(frequency - self.frequency) <= 3.0 * self._half_width
            self.frequency = min(max(frequency, 0.5 * self.dial_hz), 2.0 * self.dial_hz)
            if near or not follow:
                break
        return Sample(wiper, self._on.figure(run, share=wiper), frequency, gain)
