"""How sensitive: AM and beat note."""

from __future__ import annotations

from receiver_sim.api._found import first_found
from receiver_sim.builds import opened, output_index
from receiver_sim.engine import Bench
from receiver_sim.receiver import Receiver
from receiver_sim.results.envelope import (
    Detection,
)
from receiver_sim.schema import Build
from receiver_sim.studies import detection


def detect(
    build: Build,
    *,
    band: str | None = None,
    output: int | str = 0,
    beat_hz: float = detection.BEAT_HZ,
    bench: Bench | None = None,
) -> Detection:
    """Return sensitivity to AM below onset and to a beat note above it.

    band: the first that has an onset if None. Without one the result says what can still be said. Raises
    BuildFaults, UnknownName for an unknown band, WrongValue (a ValueError) without an aerial, EngineError.
    """
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        found = first_found(receiver, band)
        return detection.run(
            receiver,
            found.mode,
            band=found.band,
            found=found.oscillation,
            output=output_index(receiver.build, output),
            beat_hz=beat_hz,
        )
