"""What the regeneration control sets, in words: screen voltage, plate feed voltage, picofarads."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple, Protocol

from receiver_sim.results.onset import SCREEN, ControlSetting
from receiver_sim.views.numbers import fixed

_SHOWN = {"V": ("V", 1.0), "F": ("pF", 1e12)}


class Words(NamedTuple):
    """How a quantity of the control is shown: its short name, its whole name, unit, factor from SI."""

    name: str
    whole: str
    unit: str
    scale: float

    def shown(self, figure: float | None, decimals: int) -> str:
        """Return a figure (SI) in this unit, without the unit; '-' for None."""
        return fixed(figure, decimals, self.scale)

    def per(self, slope: float | None, decimals: int) -> str:
        """Return a slope per SI unit as one per this unit."""
        return fixed(slope, decimals, 1.0 / self.scale)

    @property
    def plural(self) -> str:
        """The short name with its unit, for sentences: 'screen voltage', 'picofarads of the throttle'."""
        return f"{self.name} voltage" if self.unit == "V" else f"picofarads of the {self.name}"


def words(quantity: str = SCREEN, unit: str = "V") -> Words:
    """Return how a quantity (in V or F) is shown."""
    name = quantity.removesuffix(" voltage").removesuffix(" capacitance")
    shown, scale = _SHOWN[unit]
    return Words(name, quantity, shown, scale)


class _Sets(Protocol):
    @property
    def screen_v(self) -> Any: ...
    @property
    def quantity(self) -> str: ...
    @property
    def unit(self) -> str: ...


def words_of(known: Iterable[_Sets | None]) -> Words:
    """Return how the figures of one control are shown, from settings, curves or maps of it; those of a screen
    where none is known.
    """
    first = next((one for one in known if one is not None), None)
    if first is None or first.screen_v is not None:
        return words()
    return words(first.quantity, first.unit)


def set_to(setting: ControlSetting, decimals: int = 1) -> str:
    """Return what a setting sets, with its unit: '23.4 V', '87.3 pF'."""
    how = words_of([setting])
    return f"{how.shown(setting.figure, decimals)} {how.unit}"


def named(setting: ControlSetting, decimals: int = 1) -> str:
    """Return the same with its name: 'screen 23.4 V', 'throttle 87.3 pF'."""
    return f"{words_of([setting]).name} {set_to(setting, decimals)}"
