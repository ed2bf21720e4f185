"""The tank as one mode of the RF circuit: what the envelope view must know of it. `measure.mode` measures
it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.mode import swing_factor


@dataclass(frozen=True)
class Mode:
    """The tank near resonance, seen from its hot end.

    reference_hz: dial frequency that `offset_rad` is counted from; decay: of the amplitude, 1/s;
    offset_rad: resonance minus reference, rad/s; residue: V/(A s) of the hot end's own impedance, 1/(2C)
    for an ideal tank; grid, cathode, plate, screen: volts there per volt of the hot end; aerial: amperes
    into the hot end per volt of e.m.f. in the aerial, None without one; misfit: largest deviation of the
    fits, relative; rest: d.c. volts of the deck's nodes; stray: ohms from a cathode current to the volts
    between grid and cathode that are not the resonance's; harmonics: all such ohms at HARMONICS; feedback:
    volts, per volt of the hot end, where the current that pays for the losses leaves the tube: 0 at ground.
    beside_hz, beside_decay: of a second resonance so near that it shows in the response, its frequency and
    the decay of its amplitude (1/s; negative: it grows without the detector's tube), None without one.
    along: where the control acts on the tank itself, the modes at rotations (0..1) from stop to stop.
    """

    reference_hz: float
    decay: float
    offset_rad: float
    residue: complex
    grid: complex
    cathode: complex
    plate: complex
    screen: complex
    aerial: complex | None
    misfit: float
    rest: Mapping[str, float] = field(default_factory=dict)
    stray: complex = 0j
    harmonics: tuple[complex, ...] = ()
    feedback: complex = 0j
    beside_hz: float | None = None
    beside_decay: float | None = None
    along: tuple[tuple[float, Mode], ...] = field(default=(), repr=False)

    def at(self, rotation: float) -> Mode:
        """Return the mode with the control at a rotation (0..1): itself unless the control acts on the tank.

        Between the settings at which it was measured, cubic splines through each of its figures.
        """
        if not self.along:
            return self
        wanted = float(np.clip(rotation, self.along[0][0], self.along[-1][0]))
        return _unpacked(self, self._spline(wanted))

    @cached_property
    def _spline(self) -> Any:
        from scipy.interpolate import CubicSpline  # noqa: PLC0415 - it takes long to load

        return CubicSpline([place for place, _ in self.along], [_packed(mode) for _, mode in self.along])

    @property
    def resonance_hz(self) -> float:
        """Frequency of resonance, Hz."""
        return self.reference_hz + self.offset_rad / (2.0 * np.pi)

    @property
    def q(self) -> float:
        """Q of the tank with everything that loads it but the tube's electron streams."""
        return float(np.pi * self.resonance_hz / self.decay)

    @property
    def rp(self) -> float:
        """Parallel resistance of the tank at its hot end, ohm."""
        return abs(self.residue) / self.decay

    @property
    def conductance(self) -> float:
        """Amperes of a fundamental current in phase that make good the losses of 1 V at the hot end, S."""
        return self.decay / abs(self.residue)

    @property
    def transfer(self) -> complex:
        """Share of the tank's impedance that carries the tube's current over into its control volts."""
        return (self.cathode - self.feedback) * (self.grid - self.cathode)

    @property
    def drive(self) -> complex:
        """Volts from cathode to grid for 1 V of the hot end while the tube pays for the losses.

        The strays add to the mode shape what the current that pays makes in them: with input loading at 21
        MHz half a per cent, by which onset lies lower on the control.
        """
        own = self.residue / self.decay * self.transfer
        try:
            factor = swing_factor(own, stray=self.stray)
        except NoAnswer:
            # No current in phase with its control voltage keeps up an oscillation, so there is none; of what
            # a signal brings to the grid, the few per cent by the tube's own current are left out.
            factor = 1.0
        return (self.grid - self.cathode) * factor

    @property
    def capacitance(self) -> float:
        """Capacitance of the equivalent parallel tank, F."""
        return 0.5 / abs(self.residue)


_COMPLEX = ("residue", "grid", "cathode", "plate", "screen", "stray", "feedback")


def _packed(mode: Mode) -> list[complex]:
    """Return all figures of a mode that a control on the tank moves, in a row."""
    aerial = 0j if mode.aerial is None else mode.aerial
    return [mode.decay, mode.offset_rad, aerial, *(getattr(mode, n) for n in _COMPLEX), *mode.harmonics]


def _unpacked(mode: Mode, row: Any) -> Mode:
    """Return a mode with the figures of a row of `_packed`."""
    values = [complex(value) for value in row]
    shares: dict[str, Any] = dict(zip(_COMPLEX, values[3:], strict=False))
    return replace(
        mode,
        along=(),
        decay=values[0].real,
        offset_rad=values[1].real,
        aerial=None if mode.aerial is None else values[2],
        harmonics=tuple(values[3 + len(_COMPLEX) :]),
        **shares,
    )
