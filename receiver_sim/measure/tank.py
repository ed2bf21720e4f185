"""The tank in a loaded receiver: tuned to a frequency, its passive mode measured there, tube cold."""

from __future__ import annotations

import numpy as np

from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded
from receiver_sim.measure.mode import measure_mode, silenced
from receiver_sim.physics.tank import resonant_capacitance, resonant_frequency
from receiver_sim.schema import Band
from receiver_sim.schema.coil_figures import coil_figures

LEAST_FARAD = 1e-14
"""Smallest tuning capacitor a deck is given."""

SEEK = (0.7, 1.4)
"""Shares of a frequency between which a resonance is looked for that does not lie there."""

_STEPS = 801


class Tank:
    """A loaded receiver of one band whose dial is turned and whose tank is measured.

    Losses and input loading, which go with frequency, follow the dial.
    """

    def __init__(self, on: Loaded, *, band: Band) -> None:
        self._on = on
        self._inductance = coil_figures(band.coil).inductance

    def mode(self, frequency: float, *, q: float) -> Mode:
        """Measure the mode near a frequency (Hz), the tuning capacitor left alone; `q`: about that of the
        tank.

        Where it does not lie there, since an aerial near its own resonance pulls the tank away or broadens
        it, the strongest resonance within `SEEK` of the frequency is looked for. Raises NoAnswer if that
        is none either.
        """
        try:
            return measure_mode(self._on, dial_hz=frequency, q=q)
        except NoAnswer:
            peak, width = self._strongest(frequency)
            return measure_mode(self._on, dial_hz=peak, q=max(peak / width, 1.0))

    def _strongest(self, frequency: float) -> tuple[float, float]:
        """Return where the tank's resistance is highest around a frequency, and the width of that peak (Hz).

        A tank whose mode is not found at its place is damped by its aerial, so its peak is broad enough for
        the steps.
        """
        hot = self._on.node(Place.HOT_END)
        with silenced(self._on), self._on.driven(Role.TANK_CURRENT):
            run = self._on.session.ac(
                frequency * SEEK[0], frequency * SEEK[1], _STEPS, vectors=["frequency", hot]
            )
        at, ohm = run["frequency"].real, run[hot].real
        top = int(np.argmax(ohm))
        above = ohm >= 0.5 * ohm[top]
        left = top - int(np.argmin(above[top::-1])) if not above[: top + 1].all() else 0
        right = top + int(np.argmin(above[top:])) if not above[top:].all() else len(ohm) - 1
        return float(at[top]), float(at[right] - at[left])

    def follow(self, frequency: float) -> float:
        """Set what follows the dial (losses, input loading) for a frequency (Hz); return a first value (F) of
        the tuning capacitor, which is left alone.
        """
        circuit = self._on.circuit
        elements = circuit.dialled(frequency)
        tuning = elements.pop(circuit.part(Role.TUNING))
        for name, value in elements.items():
            self._on.set(name, value)
        return tuning

    def tune(self, frequency: float, *, q: float) -> tuple[float, Mode]:
        """Tune the tank to a frequency (Hz) to 1e-6 or so; return the tuning capacitor (F) and the mode
        there.

        The capacitor may come out below zero: the coil then does not reach that frequency. Raises ValueError
        where no resonance is found.
        """
        tuning = self.follow(frequency)
        total = float(resonant_capacitance(self._inductance, frequency=frequency))
        away = 0.0
        for _ in range(4):
            self._on.tune(tuning)
            mode = self.mode(frequency, q=q)
            away = (mode.resonance_hz / frequency) ** 2 - 1.0
            if abs(away) < 1e-6:
                break
            tuning += total * away
        return tuning, mode

    def resonance(self, tuning: float, *, guess: float, q: float) -> float:
        """Return the frequency (Hz) at which the tank resonates with a tuning capacitor (F), from a guess
        (Hz).
        """
        self._on.tune(max(tuning, LEAST_FARAD))
        frequency = guess
        for _ in range(4):
            self.follow(frequency)
            found = self.mode(frequency, q=q).resonance_hz
            near = abs(found / frequency - 1.0) < 1e-5
            frequency = found
            if near:
                break
        return frequency

    def guess(self, tuning: float, *, near: float, near_tuning: float) -> float:
        """Return the frequency (Hz) to expect with `tuning` (F), from one that is known: same L, other C."""
        known = float(resonant_capacitance(self._inductance, frequency=near))
        return float(resonant_frequency(self._inductance, capacitance=known + tuning - near_tuning))
