"""Results for the bench: what a meter reads at each pin, what each part must stand."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer


@dataclass(frozen=True)
class MeterReading:
    """What one meter shows. full_scale_v: the range that one would choose, coming down from the highest."""

    meter: str
    reading_v: float
    full_scale_v: float


@dataclass(frozen=True)
class PinReadings:
    """One pin or test point.

    socket: as the constructor says, '' for a test point; pin: its number, '' for a test point; node: of the
    circuit; true_v: with no meter on it; low_v, high_v: between them it is in eight of ten sets of the build,
    None if that was not found; with_tube: by each meter, tubes in; without_tube: with the tube of
    this socket pulled (empty for a test point); off_ohm: resistance to ground with the set off, its
    capacitors discharged and the control fully down, None above what a bench meter shows.
    """

    socket: str
    tube: str
    pin: str
    words: str
    node: str
    true_v: float
    with_tube: tuple[MeterReading, ...]
    without_tube: tuple[MeterReading, ...]
    off_ohm: float | None
    low_v: float | None = None
    high_v: float | None = None


@dataclass(frozen=True)
class PinChart(Answer):
    """Readings at every pin. setting: words for where the control stands; rotation: 0..1."""

    setting: str
    rotation: float
    meters: tuple[str, ...]
    pins: tuple[PinReadings, ...]


@dataclass(frozen=True)
class Beside:
    """Another quantity of a part that has a limit of its own, such as the screen's dissipation of a tube.

    worst: the most that is met, in the state `when`; limit: None where none is stated; unit: of both.
    """

    words: str
    worst: float
    limit: float | None
    unit: str
    when: str = ""

    @property
    def exceeded(self) -> bool:
        """Whether it meets more than it stands."""
        return self.limit is not None and self.worst > self.limit


@dataclass(frozen=True)
class PartNeeds:
    """What a part must stand, and what to buy.

    highest_v: across it, in the worst of the states looked at (`volts_when`); highest_a: d.c. through it, of
    a mains winding r.m.s., of a rectifier the highest peak; watts_w: the most it turns into heat
    (`watts_when`); buy_v, buy_w: the usual rating at or above that with the margin; stated_v, stated_w,
    stated_a: what the build says it stands (stated_a of a capacitor of the supply: ripple); enough: False
    where that, or a limit of `besides`, is less than the highest. ripple_a: r.m.s. through a capacitor of the
    supply.
    """

    designator: str
    word: str
    key: str
    value: float | None
    unit: str
    preferred: float | None
    highest_v: float | None
    volts_when: str
    highest_a: float | None
    watts_w: float | None
    watts_when: str
    buy_v: float | None
    buy_w: float | None
    ripple_a: float | None
    stated_v: float | None
    stated_w: float | None
    stated_a: float | None
    enough: bool
    note: str = ""
    besides: tuple[Beside, ...] = ()


__all__ = ["Beside", "MeterReading", "PartNeeds", "PinChart", "PinReadings"]
