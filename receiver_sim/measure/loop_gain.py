"""The loop-gain probe: a loaded receiver, its control turned, its return ratio read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Vectors
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded
from receiver_sim.physics.return_ratio import return_ratio, strongest_zero_phase, zero_phase
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.schema import Band

_WIDE = (1.0 / 1.1, 1.1)
_WIDE_POINTS = 401
"""The dial's frequency times these is where a phase of zero is looked for if there is none beside it: a plate
circuit that resonates near by pulls the tank so far; what lies farther off is not the tank. A step is 5e-4 of
the frequency."""


@dataclass(frozen=True)
class Sample:
    """One engine evaluation: share of the control's travel (0..1), what it sets (V or F),
    frequency of zero phase (Hz), loop gain.
    """

    wiper: float
    figure: float
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

    @property
    def sets(self) -> dict[str, str]:
        """Quantity and unit of what the control sets, by those names."""
        return self._on.circuit.control.sets

    def tune(self, tuning: float) -> None:
        """Set the tuning capacitor (F)."""
        self.tuning = tuning
        self._on.tune(tuning)

    def trim(self) -> None:
        """Tune so that the zero-phase frequency with the control half way is the dial frequency, as an
        operator does.

        A tube that hardly works half way up may have none there, or only that of a circuit beside the tank:
        then the top of the control counts. Where the feedback never aids the swing the dial stays as it is
        marked.
        """
        circuit = self._on.circuit
        tuning = circuit.dialled(self.dial_hz)[circuit.part(Role.TUNING)]
        self.tune(tuning)
        swings_at = self._own_frequency()
        self.frequency = self.dial_hz
        if swings_at is not None:
            total = float(resonant_capacitance(self._inductance, frequency=self.dial_hz))
            self.tune(max(tuning + total * ((swings_at / self.dial_hz) ** 2 - 1.0), 1e-14))

    def _own_frequency(self) -> float | None:
        """Return the zero-phase frequency beside the dial's at which the feedback aids the swing, half way or
        at the top of the control; else the strongest far and wide at the top; None if it aids none."""
        for wiper in (0.5, 1.0):
            self._on.turn_to_share(wiper)
            self.frequency = self.dial_hz
            found = self._near(follow=False)
            if found is not None and found[1] > 0.0:
                return found[0]
        frequency, gain, _ = self._wide(None)
        return frequency if gain > 0.0 else None

    def measure(self, wiper: float) -> Sample:
        """Return the loop gain at zero phase with the control at that share of its travel.

        It is looked at again around the frequency found where that lies outside the three points. Where the
        phase has no zero there, or only one at which the loop weakens itself (a gain below zero), a wider
        range is searched for one.
        """
        self._on.turn_to_share(wiper)
        found = self._near(follow=True)
        if found is None or found[1] <= 0.0:
            found = self._wide(found)
        frequency, gain, run = found
        return Sample(wiper, self._on.figure(run, share=wiper), frequency, gain)

    def measure_each(self, wipers: Sequence[float]) -> list[Sample] | None:
        """Return what `measure` does at each of some shares, in one exchange with the engine.

        All are looked for beside the frequency found last; whichever lies elsewhere is measured by itself.
        None where the engine can't give them so (`Session.ac_each`): measure one by one then, if need be on
        a circuit loaded anew.
        """
        on, near, half = self._on, self.frequency, self._half_width
        runs = on.session.ac_each(
            [(on.circuit.control.at_share(wiper), near - half, near + half) for wiper in wipers], 3,
            vectors=self.vectors,
        )  # fmt: skip
        if runs is None:
            return None
        out = []
        for wiper, run in zip(wipers, runs, strict=True):
            self.frequency = near
            out.append(self.read(run, wiper) or self.measure(wiper))
        self.frequency = near
        return out

    @property
    def ends(self) -> tuple[float, float]:
        """From and up to which frequency (Hz) three points are taken about the zero phase found last."""
        return self.frequency - self._half_width, self.frequency + self._half_width

    @property
    def vectors(self) -> list[str]:
        """What `read` wants kept of a run."""
        return ["frequency", self._node, *self._on.control_vectors]

    def read(self, run: Vectors, wiper: float, *, reach: float = 3.0) -> Sample | None:
        """Return what `measure` does from a run of three points between `ends` that was made for it, None
        where its zero phase has to be looked for elsewhere: farther off than `reach` half widths.
        """
        self.evaluations += 1
        try:
            frequency, gain = zero_phase(run["frequency"].real, ratio=return_ratio(run[self._node]))
        except NoAnswer:
            return None
        if gain <= 0.0 or abs(frequency - self.frequency) > reach * self._half_width:
            return None
        return Sample(wiper, self._on.figure(run, share=wiper), frequency, gain)

    def _run(self, low: float, high: float, points: int) -> Vectors:
        self.evaluations += 1
        return self._on.session.ac(low, high, points, vectors=self.vectors)

    def _near(self, *, follow: bool) -> tuple[float, float, Vectors] | None:
        """Return frequency and gain of the zero phase beside the last one, with the run; None if there is
        none."""
        for _ in range(4):
            run = self._run(*self.ends, 3)
            try:
                frequency, gain = zero_phase(run["frequency"].real, ratio=return_ratio(run[self._node]))
            except NoAnswer:
                return None
            near = abs(frequency - self.frequency) <= 3.0 * self._half_width
            self.frequency = min(max(frequency, 0.5 * self.dial_hz), 2.0 * self.dial_hz)
            if near or not follow:
                break
        return frequency, gain, run

    def _wide(self, beside: tuple[float, float, Vectors] | None) -> tuple[float, float, Vectors]:
        """Return the same for the strongest zero phase far and wide.

        Without any the gain is the real part at the peak of the return ratio, which then does not exceed
        zero: no oscillation can build up there.
        """
        run = self._run(_WIDE[0] * self.dial_hz, _WIDE[1] * self.dial_hz, _WIDE_POINTS)
        ratio = return_ratio(run[self._node])
        place = strongest_zero_phase(run["frequency"].real, ratio=ratio)
        if place is not None:
            self.frequency = place
            found = self._near(follow=True)
            if found is not None and found[1] > 0.0:
                return found
        # three points whose phase hardly turns put its zero anywhere, below zero hertz too
        if beside is not None and 0.5 * self.dial_hz <= beside[0] <= 2.0 * self.dial_hz:
            self.frequency = beside[0]
            return beside
        peak = int(np.argmax(np.abs(ratio)))
        self.frequency = self.dial_hz
        return float(run["frequency"][peak].real), min(float(ratio[peak].real), 0.0), run
