"""The tap that puts onset at a place of the knob."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.api._common import Progress, quiet
from receiver_sim.builds import bands_named, opened
from receiver_sim.design import tap_finder
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoAnswer, UserError
from receiver_sim.receiver import Receiver
from receiver_sim.results.coils import (
    TapFind,
)
from receiver_sim.schema import Band, Build


def find_taps(
    build: Build,
    *,
    target: float,
    bands: Sequence[str] | None = None,
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> tuple[TapFind, ...]:
    """Find the tap of each band (all if None) that puts onset at `target` (0..1) in the middle of the band.

    Raises BuildFaults, UnknownName for an unknown band, UserError for coils without a tap, EngineMissing. A
    band whose simulation fails says so in its status and warnings.
    """
    chosen = bands_named(build, bands)
    if any(band.coil.tickler is not None for band in chosen):
        raise UserError(
            "a set with tickler coils has no tap: its cathode is on ground; change turns or place of the "
            "tickler and look where onset goes"
        )
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)

        def one(_: Bench, band: Band) -> TapFind:
            dial = band.middle_hz
            try:
                return tap_finder.run(receiver.at(band, dial), target=target)
            except (EngineError, NoAnswer) as error:
                return tap_finder.failed(band, dial, target, str(error))

        return tuple(open_bench.map(one, chosen, lambda done, total: progress("tap", done, total)))
