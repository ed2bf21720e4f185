"""`draw`: the schematic of a set as built."""

from __future__ import annotations

from receiver_sim.api._bias import operating_points
from receiver_sim.builds import band_named, cards_for
from receiver_sim.engine import Bench
from receiver_sim.results.bias import OperatingPoint
from receiver_sim.schema import Build
from receiver_sim.views.schematic.drawing import Schematic, schematic


def draw(
    build: Build, *, band: str | None = None, volts_at: float | None = None, bench: Bench | None = None
) -> Schematic:
    """Return the schematic of a set with the coil of a band, the first if None.

    volts_at: also write what a meter reads, the control at that rotation (0..1), the set not oscillating;
    only this runs ngspice, on `bench` if one is given. The drawing's `rendered` gives the bytes of a file.
    Raises BuildFaults, UnknownName for an unknown band, ValueError for a rotation outside 0..1, EngineError.
    """
    one, cards = band_named(build, band), cards_for(build)
    if volts_at is None:
        return schematic(build, cards, one)
    (point,) = operating_points(build, rotations=[volts_at], band=one.name, bench=bench)
    return schematic(build, cards, one, volts=_by_pin(point), rotation=volts_at)


def _by_pin(point: OperatingPoint) -> dict[tuple[str, str], float]:
    """Return volts by socket and electrode, and by '' and the words of a test point."""
    out: dict[tuple[str, str], float] = {("", words): volts for words, volts in point.volts.items()}
    for tube in point.tubes:
        out |= {(tube.socket, "plate"): tube.plate_v, (tube.socket, "cathode"): tube.cathode_v}
        if tube.screen_v is not None:
            out[tube.socket, "screen"] = tube.screen_v
    return out
