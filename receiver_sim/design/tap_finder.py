"""Where must the cathode tap be so that regeneration sets in at a wanted place of the control?

At the wanted rotation the loop gain is measured with the tap at different turns, until it is one. The place
found is then put back into the coil and the onset searched as for any build.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import Status
from receiver_sim.results.coils import TapAdvice, TapFind, TapPlace
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_changes import Change, changes, pairs
from receiver_sim.schema.coil_figures import retapped

QUARTER, HALF = 0.25, 0.5
"""Steps in turns; of a coil without turns a hundredth of them stands for a turn."""

_LEAST_TURNS, _LEAST_SHARE = 0.05, 0.001
_TOLERANCE = 2e-4
_GRID = 9


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit of one trial: the receiver tuned to `dial_hz`, the control at `rotation` (0..1)."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def turns_of(band: Band) -> float | None:
    """Return the turns of a band's coil, None for a coil given by figures."""
    winding = band.coil.winding
    if winding is None:
        return None
    return sum(s.turns for s in winding.sections) if winding.kind == "sections" else winding.turns


def with_tap(band: Band, place: float) -> Band:
    """Return the band with its tap at `place`: turns, or the share of all turns for a coil without turns."""
    return band.model_copy(update={"coil": retapped(band.coil, place, middle=band.middle_hz)})


def gain_at(tuned: Tuned, *, rotation: float) -> float:
    """Return the loop gain at a dial setting with the control at `rotation` (0..1)."""
    with loaded(
        tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    ) as on:
        probe = Probe(on, band=tuned.band, dial_hz=tuned.dial_hz)
        probe.trim()
        return probe.measure(on.circuit.control.share(rotation)).gain


@dataclass(frozen=True)
class Seeker:
    """Looks for taps on one build and band; `gain` is None where the loop gain can't be measured."""

    tuned: Tuned
    target: float

    @property
    def build(self) -> Build:
        """The settled build."""
        return self.tuned.build

    @property
    def band(self) -> Band:
        """The band."""
        return self.tuned.band

    def tapped(self, place: float) -> Tuned:
        """Return the receiver tuned alike with the tap at `place`."""
        return Tuned(self.tuned.receiver, with_tap(self.band, place), self.tuned.dial_hz)

    @property
    def scale(self) -> float:
        """One turn, or a hundredth of the turns of a coil without turns."""
        return 0.01 if turns_of(self.band) is None else 1.0

    @property
    def ends(self) -> tuple[float, float]:
        """The lowest and the highest tap looked at."""
        turns = turns_of(self.band)
        return (_LEAST_SHARE, 0.5) if turns is None else (_LEAST_TURNS, turns / 2.0)

    def gain(self, place: float) -> float:
        """Return the loop gain at the wanted setting with the tap at `place`; 0 where no phase is zero."""
        try:
            return gain_at(self.tapped(place), rotation=self.target)
        except NoAnswer:
            return 0.0

    def highest(self) -> tuple[float, float]:
        """Return the tap with the most loop gain at the wanted setting, and that loop gain.

        The gain rises with the tap up to where tube and strays at the tap load the tank; beyond it falls.
        """
        found = {float(place): self.gain(float(place)) for place in np.geomspace(*self.ends, _GRID)}
        best = max(found, key=lambda place: found[place])
        return best, found[best]

    def exact(self, above: float) -> float:
        """Return the tap of loop gain one between the lowest and one with more, to a thousandth of a turn."""
        from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

        low = self.ends[0]
        place = float(
            brentq(lambda x: self.gain(x) - 1.0, low, above, xtol=_TOLERANCE * self.scale, rtol=1e-4)
        )
        return max(round(place / self.scale, 3) * self.scale, low)

    def solved(self) -> float | None:
        """Return the tap of loop gain one at the wanted setting, None if no tap has it."""
        low, high = self.ends
        if self.gain(low) >= 1.0:
            return None
        best, gain = high, self.gain(high)
        if gain < 1.0:
            best, gain = self.highest()
        return None if gain < 1.0 else self.exact(best)

    def place(self, place: float) -> TapPlace:
        """Return a place of the tap with the onset there."""
        turns = turns_of(self.band)
        found = self.tapped(place).onset
        share = place if turns is None else place / turns
        return TapPlace(None if turns is None else place, share, found.status, found.onset)


def run(
    tuned: Tuned,
    *,
    target: float,
) -> TapFind:
    """Find the tap of one band that puts onset at `target` (rotation 0..1) of the control.

    Where no tap does it, changes of the set are tried. Raises EngineError when a simulation fails, NoAnswer
    where the loop gain can't be measured.
    """
    seek = Seeker(tuned, target)
    turns, (low, high), scale = turns_of(tuned.band), seek.ends, seek.scale
    now = tuned.band.coil.tap if turns is None else tuned.band.coil.tap * turns
    present = seek.place(now)
    if seek.gain(low) >= 1.0:
        return _advised(seek, present, Status.NOT_IN_RANGE, best=low, gain=seek.gain(low))
    best, gain = high, seek.gain(high)
    if gain < 1.0:
        best, gain = seek.highest()
    if gain < 1.0:
        return _advised(seek, present, Status.DOES_NOT, best=best, gain=gain)
    place = seek.exact(best)
    exact = seek.place(place)
    step = max(round(place / (QUARTER * scale)), 1) * QUARTER * scale

    def near(by: float) -> TapPlace | None:
        return seek.place(step + by) if low <= step + by <= high else None

    return TapFind(
        band=tuned.band.name,
        dial_hz=tuned.dial_hz,
        target=target,
        status=exact.status,
        exact=exact,
        step=seek.place(step),
        less=near(-HALF * scale),
        more=near(HALF * scale),
        present=present,
    )


def _advised(seek: Seeker, present: TapPlace, status: Status, *, best: float, gain: float) -> TapFind:
    """Return the result of a search without a tap, with what was tried instead, in the order of its gain."""
    more = status is Status.DOES_NOT
    tried = [_tried(seek, one, more=more) for one in changes(seek.build, seek.band, more=more)]
    sign = -1.0 if more else 1.0
    tried.sort(key=lambda pair: sign * pair[1].gain)
    if not any(advice.place for _, advice in tried):
        # no single change is enough: the best of each kind, two at a time
        tried += [_tried(seek, both, more=more) for both in pairs([change for change, _ in tried])]
        tried.sort(key=lambda pair: sign * pair[1].gain)
    return TapFind(
        band=seek.band.name,
        dial_hz=seek.tuned.dial_hz,
        target=seek.target,
        status=status,
        exact=None,
        step=None,
        less=None,
        more=None,
        present=present,
        best=seek.place(best),
        best_gain=gain,
        advice=tuple(advice for _, advice in tried),
    )


def _tried(seek: Seeker, change: Change, *, more: bool) -> tuple[Change, TapAdvice]:
    build, band = change.apply(seek.build, seek.band)
    tuned = seek.tuned
    other = Seeker(Tuned(tuned.receiver.changed(build), band, tuned.dial_hz), seek.target)
    low, high = other.ends
    lowest = other.gain(low)
    best, gain = other.highest() if more else (low, lowest)
    place = None
    if more and gain >= 1.0 > lowest:
        place = other.place(other.exact(best))
    elif not more and lowest < 1.0:
        top, most = (high, other.gain(high))
        if most < 1.0:
            top, most = other.highest()
        place = other.place(other.exact(top)) if most >= 1.0 else None
    return change, TapAdvice(change.text, gain, place)


def failed(band: Band, dial_hz: float, target: float, reason: str) -> TapFind:
    """Return the result of a search whose simulation failed, with the reason as its warning."""
    turns = turns_of(band)
    here = None if turns is None else band.coil.tap * turns
    present = TapPlace(here, band.coil.tap, Status.FAILED, None)
    return TapFind(band.name, dial_hz, target, Status.FAILED, None, None, None, None, present, (reason,))
