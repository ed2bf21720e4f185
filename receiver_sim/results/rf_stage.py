"""What an r.f. stage does, beside the same set without it."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.onset import ControlSetting


@dataclass(frozen=True)
class FrontEnd:
    """One way from the aerial to the tank, at the middle of a band.

    status, onset: of oscillation; q: of the tank with all that loads it; aerial_gain: volts at the hot end
    for 1 V of e.m.f. in the aerial, without regeneration; aerial_a: r.m.s. in the aerial for 1 V peak at the
    hot end; power_w: radiated then; weakest_v: e.m.f. in the aerial that stands `ratio_db` above the set's
    own noise in `bandwidth_hz`, None where it could not be found. along_rotation: onset (0..1) at the dial
    frequencies of the report; 1 where the top of the control does not oscillate, 0 where the bottom does;
    empty where the report looks at the middle of the dial alone.
    """

    status: Status
    onset: ControlSetting | None
    q: float
    aerial_gain: float
    aerial_a: float
    power_w: float
    weakest_v: float | None
    along_rotation: FloatArray


@dataclass(frozen=True)
class RfStageEffect:
    """An r.f. stage on one band, beside the same set without it.

    present: as built; without: the aerial where the stage's plate is. radiation_db: power radiated without
    the stage over that with it; dial_hz: middle of the dial; along_hz: dial frequencies of `along_rotation`.
    ratio_db, bandwidth_hz: what `weakest_v` is for.
    """

    band: str
    dial_hz: float
    present: FrontEnd
    without: FrontEnd
    radiation_db: float
    along_hz: FloatArray
    ratio_db: float
    bandwidth_hz: float
