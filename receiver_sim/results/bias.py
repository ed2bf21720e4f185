"""Results on d.c. conditions: operating point, ratings, regulator."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import Status
from receiver_sim.results.onset import SCREEN, ControlSetting


@dataclass(frozen=True)
class RatingLine:
    """One rating of one part against what the circuit does: value and limit in `unit`."""

    part: str
    quantity: str
    value: float
    limit: float
    unit: str

    @property
    def exceeded(self) -> bool:
        """Whether the limit is exceeded."""
        return self.value > self.limit


@dataclass(frozen=True)
class TubePoint:
    """D.c. condition of one tube: volts to ground at its electrodes, currents in ampere, powers in watt.

    screen values are None for a triode. grid_a is the grid current. outside names the electrodes whose volts
    lie outside the range the card was fitted on.
    """

    socket: str
    tube: str
    plate_v: float
    screen_v: float | None
    grid_v: float
    cathode_v: float
    plate_a: float
    screen_a: float | None
    grid_a: float
    plate_w: float
    screen_w: float | None
    outside: tuple[str, ...]


@dataclass(frozen=True, repr=False)
class OperatingPoint(Answer):
    """What a meter should read, at one setting of the control; volts to ground at the named test points."""

    label: str
    setting: ControlSetting
    tubes: tuple[TubePoint, ...]
    volts: dict[str, float]
    regulator_a: float | None
    ratings: tuple[RatingLine, ...]


@dataclass(frozen=True)
class MainsPoint:
    """Regulator and onset at one line voltage (fraction of nominal).

    regulated_v, regulator_a (None without a regulator), screen_v at the fixed rotation (value, V or F, in its
    place for a control that does not set the screen), onset at that line voltage, holds: whether the
    regulator is struck and within its current limits.
    """

    mains: float
    supply_v: float
    regulated_v: float
    regulator_a: float | None
    holds: bool | None
    screen_v: float | None
    onset_status: Status
    onset: ControlSetting | None
    reason: str
    value: float | None = None
    unit: str = "V"
    quantity: str = SCREEN

    @property
    def figure(self) -> float:
        """What the control sets at the fixed rotation."""
        found = self.value if self.screen_v is None else self.screen_v
        assert found is not None
        return found


@dataclass(frozen=True)
class RegulatorDrift:
    """How the screen and the onset move with the mains, one band, the knob left where onset is at nominal
    mains.
    """

    band: str
    dial_hz: float
    rotation: float
    points: tuple[MainsPoint, ...]
    dropper_w: float | None
    regulator_w: float | None
