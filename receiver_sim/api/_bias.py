"""What a meter should read."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.builds import band_named, opened
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.receiver import Receiver, cards_for
from receiver_sim.results.bias import OperatingPoint
from receiver_sim.schema import Build
from receiver_sim.studies import operating_point


def operating_points(
    build: Build,
    *,
    rotations: Sequence[float],
    band: str | None = None,
    bench: Bench | None = None,
) -> tuple[OperatingPoint, ...]:
    """Return what a meter should read with the control at each of `rotations` (0..1), not oscillating.

    band: the coil that is in, the first one if None. Raises BuildFaults, UnknownName for an unknown band,
    ValueError for a rotation outside 0..1, EngineError.
    """
    if not all(0.0 <= rotation <= 1.0 for rotation in rotations):
        raise WrongValue(f"rotations lie from 0 to 1, not {list(rotations)}")
    one = band_named(build, band)
    settings = [(f"{100.0 * rotation:.4g} %", float(rotation)) for rotation in rotations]
    with opened(bench) as open_bench:
        return operating_point.run(Receiver(build, open_bench).at(one), settings=settings)


def cathode_transconductance(build: Build, point: OperatingPoint) -> float:
    """Return g_k of the detector (S) at a d.c. condition: change of its cathode current with its grid volts.

    From the law of the tube's card at the volts of `point`, as ngspice uses it.
    """
    tube = next(t for t in point.tubes if t.socket == "detector")
    figures = small_signal(
        cards_for(build).detector.law(),
        grid_v=tube.grid_v - tube.cathode_v,
        plate_v=tube.plate_v - tube.cathode_v,
        screen_v=(tube.screen_v or 0.0) - tube.cathode_v,
    )
    return float(figures.gk)
