"""The tank as one mode of the RF netlist: what the envelope view knows of the radio-frequency circuit.

The passive network that the detector tube hangs in (coil, tap, strays, tube capacitances, input loading,
aerial, grid leak) is measured in the RF deck itself, the tube silenced, by a.c. runs around resonance. Near
resonance it is one pole: a current into electrode b makes at electrode a the volts share_a share_b
residue/(j (w - w0) + decay). So the mode shape (`share` of the volts of the hot end that appears at each
electrode) is all that the tube sees of the tank, and by reciprocity all that the tank sees of the tube.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from receiver_sim.engine import Bench, Session
from receiver_sim.netlist.receiver import Cards, receiver_deck
from receiver_sim.physics.mode import residues, resonance, swing_factor
from receiver_sim.schema import Band, Build

ELECTRODES = ("grid", "tap", "plate", "scr")
"""Nodes of the detector's grid, cathode, plate and screen in the RF deck."""

HARMONICS = (2, 3, 4, 5)
_TAP_SOURCE = "Itap"
_POINTS = 11
_SPAN = 2.0
"""Half of the range swept, in bandwidths of the tank."""

_SILENCE_V = 200.0
"""Put into the grid lead by the (otherwise idle) voltage source of the double-injection probe: no current
flows in the tube at the grid volts that result, while the passive network, being linear, does not
notice."""


@dataclass(frozen=True)
class Mode:
    """The tank near resonance, seen from its hot end.

    reference_hz: dial frequency that `offset_rad` is counted from; decay: of the amplitude, 1/s;
    offset_rad: resonance minus reference, rad/s; residue: V/(A s) of the hot end's own impedance, 1/(2C)
    for an ideal tank; grid, cathode, plate, screen: volts there per volt of the hot end; aerial: amperes
    into the hot end per volt of e.m.f. in the aerial, None without one; misfit: largest deviation of the
    fits, relative; rest: d.c. volts of the deck's nodes; stray: ohms from a cathode current to the volts
    between grid and cathode that are not the resonance's; harmonics: all such ohms at HARMONICS.
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
    def drive(self) -> complex:
        """Volts from cathode to grid for 1 V of the hot end while the tube pays for the losses.

        The strays add to the mode shape what the current that pays makes in them: with input loading at 21
        MHz half a per cent, by which onset lies lower on the control.
        """
        own = self.residue / self.decay * self.cathode * (self.grid - self.cathode)
        return (self.grid - self.cathode) * swing_factor(own, stray=self.stray)

    @property
    def capacitance(self) -> float:
        """Capacitance of the equivalent parallel tank, F."""
        return 0.5 / abs(self.residue)


def measure_mode(session: Session, *, dial_hz: float, q: float, aerial: bool) -> Mode:
    """Measure the mode of a loaded receiver deck (any setting of the control) near `dial_hz`; `q` of its
    coil.

    The sources of the deck are left as they were found. Raises EngineError when a simulation fails,
    ValueError if no resonance shows near the dial frequency.
    """
    session.alter("vprobe", _SILENCE_V, "dc")
    centre = dial_hz
    nodes = ("top", *ELECTRODES)
    for _ in range(3):
        runs = {}
        half = _SPAN * centre / q
        for source in ("isig", "vaerial") if aerial else ("isig",):
            session.alter(source, 1.0, "acmag")
            runs[source] = session.ac(centre - half, centre + half, _POINTS, vectors=["frequency", *nodes])
            session.alter(source, 0.0, "acmag")
        frequency = runs["isig"]["frequency"].real
        found = resonance(frequency, response=runs["isig"]["top"], reference_hz=centre)
        away = -found.pole.imag / (2.0 * np.pi)
        if abs(away) < 0.5 * half:
            break
        centre += away
    session.alter("vprobe", 0.0, "dc")
    shares, worst = {}, found.misfit
    for node in ELECTRODES:
        residue, _, misfit = residues(
            frequency, response=runs["isig"][node], reference_hz=centre, pole=found.pole
        )
        shares[node] = residue / found.residue
        if abs(shares[node]) > 1e-6:
            worst = max(worst, misfit)
    pick_up = None
    if aerial:
        residue, _, _ = residues(
            frequency, response=runs["vaerial"]["top"], reference_hz=centre, pole=found.pole
        )
        pick_up = residue / found.residue
    return Mode(
        reference_hz=dial_hz,
        decay=found.pole.real,
        offset_rad=2.0 * np.pi * (centre - dial_hz) - found.pole.imag,
        residue=found.residue,
        grid=shares["grid"],
        cathode=shares["tap"],
        plate=shares["plate"],
        screen=shares["scr"],
        aerial=pick_up,
        misfit=worst,
    )


def _strays(session: Session, mode: Mode) -> tuple[complex, tuple[complex, ...]]:
    """Measure what of the impedance from cathode current to grid volts is not the resonance; see `Mode`."""
    session.alter("vprobe", _SILENCE_V, "dc")
    session.alter(_TAP_SOURCE, 1.0, "acmag")
    first, last = mode.resonance_hz, HARMONICS[-1] * mode.resonance_hz
    run = session.ac(first, last, HARMONICS[-1], vectors=["frequency", "grid", "tap"])
    values = [complex(v) for v in run["grid"] - run["tap"]]
    session.alter(_TAP_SOURCE, 0.0, "acmag")
    session.alter("vprobe", 0.0, "dc")
    own = mode.residue / mode.decay * mode.cathode * (mode.grid - mode.cathode)
    return values[0] - own, tuple(values[1:])


def tuned_mode(
    build: Build, cards: Cards, bench: Bench, *, band: Band, dial_hz: float, tuning: float, rotation: float
) -> Mode:
    """Measure the mode of a band with the tuning capacitor (F) that an onset search found for `dial_hz`.

    rotation: setting of the control (0..1) at which the volts at rest are taken.
    """
    deck = receiver_deck(
        build, cards, band=band, dial_hz=dial_hz, rotation=rotation, extra=f"{_TAP_SOURCE} 0 tap dc 0 ac 0"
    )
    with bench.session(deck) as session:
        session.alter("ctune", tuning)
        point = session.op()
        mode = measure_mode(session, dial_hz=dial_hz, q=band.coil.q, aerial=build.aerial is not None)
        stray, harmonics = _strays(session, mode)
    mode = replace(mode, stray=stray, harmonics=harmonics)
    volts = {name: float(v.real[0]) for name, v in point.items() if "#" not in name}
    return replace(mode, rest=volts)
