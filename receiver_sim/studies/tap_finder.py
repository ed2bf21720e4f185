"""Where must the cathode tap be so that regeneration sets in at a wanted place of the control?

At the wanted rotation the loop gain is measured with the tap at different turns, until it is one. The place
found is then put back into the coil and the onset searched as for any build.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.results.base import Status
from receiver_sim.results.coils import TapFind, TapPlace
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_figures import retapped

FindOnset = Callable[[Band], Onset]

QUARTER, HALF = 0.25, 0.5
"""Steps in turns; of a coil without turns a hundredth of them stands for a turn."""

_LEAST_TURNS, _LEAST_SHARE = 0.05, 0.001
_TOLERANCE = 2e-4


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
    middle = math.sqrt(band.from_ * band.to)
    return band.model_copy(update={"coil": retapped(band.coil, place, middle=middle)})


def gain_at(
    build: Build, cards: Cards, bench: Bench, *, band: Band, dial_hz: float, rotation: float
) -> float:
    """Return the loop gain of a band tuned to `dial_hz` with the control at `rotation` (0..1)."""
    with loaded(bench, plan(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)) as on:
        probe = Probe(on, band=band, dial_hz=dial_hz)
        probe.trim()
        return probe.measure(on.circuit.control.share(rotation)).gain


def _place(band: Band, place: float, find: FindOnset) -> TapPlace:
    turns = turns_of(band)
    found = find(with_tap(band, place))
    share = place if turns is None else place / turns
    return TapPlace(None if turns is None else place, share, found.status, found.onset)


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    *,
    band: Band,
    dial_hz: float,
    target: float,
    find_onset: FindOnset,
) -> TapFind:
    """Find the tap of one band that puts onset at `target` (rotation 0..1) of the control at `dial_hz`.

    find_onset: the onset search at `dial_hz` for the band with another coil. Raises EngineError when a
    simulation fails, ValueError where the loop gain can't be measured.
    """
    turns = turns_of(band)
    scale = 1.0 if turns is not None else 0.01
    low = _LEAST_TURNS if turns is not None else _LEAST_SHARE
    high = 0.5 if turns is None else turns / 2.0
    now = band.coil.tap if turns is None else band.coil.tap * turns

    def miss(place: float) -> float:
        one = with_tap(band, place)
        return gain_at(build, cards, bench, band=one, dial_hz=dial_hz, rotation=target) - 1.0

    present = _place(band, now, find_onset)
    ends = miss(low), miss(high)
    if ends[0] >= 0.0 or ends[1] < 0.0:
        status = Status.NOT_IN_RANGE if ends[0] >= 0.0 else Status.DOES_NOT
        return TapFind(band.name, dial_hz, target, status, None, None, None, None, present)
    place = float(brentq(miss, low, high, xtol=_TOLERANCE * scale, rtol=1e-4))
    place = round(place / scale, 3) * scale
    exact = _place(band, max(place, low), find_onset)
    step = max(round(place / (QUARTER * scale)), 1) * QUARTER * scale

    def near(by: float) -> TapPlace | None:
        return _place(band, step + by, find_onset) if low <= step + by <= high else None

    return TapFind(
        band=band.name,
        dial_hz=dial_hz,
        target=target,
        status=exact.status,
        exact=exact,
        step=_place(band, step, find_onset),
        less=near(-HALF * scale),
        more=near(HALF * scale),
        present=present,
    )


def failed(band: Band, dial_hz: float, target: float, reason: str) -> TapFind:
    """Return the result of a search whose simulation failed, with the reason as its warning."""
    turns = turns_of(band)
    here = None if turns is None else band.coil.tap * turns
    present = TapPlace(here, band.coil.tap, Status.FAILED, None)
    return TapFind(band.name, dial_hz, target, Status.FAILED, None, None, None, None, present, (reason,))
