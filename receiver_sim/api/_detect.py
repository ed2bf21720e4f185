"""How sensitive: AM and beat note."""

from __future__ import annotations

from receiver_sim.api._found import first_found
from receiver_sim.builds import opened, output_index
from receiver_sim.engine import Bench
from receiver_sim.receiver import cards_for, settle
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
    BuildFaults, KeyError for an unknown band, WrongValue (a ValueError) without an aerial, EngineError.
    """
    cards = cards_for(build)
    with opened(bench) as open_bench:
        settled = settle(build, open_bench)
        found = first_found(settled, cards, open_bench, band)
        return detection.run(
            settled,
            cards,
            open_bench,
            found.mode,
            band=found.band,
            found=found.oscillation,
            output=output_index(settled, output),
            beat_hz=beat_hz,
        )
