"""The regeneration control: which elements follow the knob, and what it sets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.physics.potentiometer import rotation_fraction, wiper_fraction


@dataclass(frozen=True)
class Follower:
    """An element that follows the knob.

    share: 'above' (1 - s of `whole`), 'below' (s of it) or 'between' (from `whole` at s = 0 to `end` at s =
    1), with s the share of the control's travel; never less than `least`.
    """

    element: str
    share: str
    whole: float
    end: float = 0.0
    least: float = CONTACT_OHM

    def value(self, share: float, *, largest: float = 1.0) -> float:
        """Return the element's value with the control at a share (0..1) of its travel.

        largest: what the value at the upper stop is multiplied by, of an element between two values.
        """
        if self.share == "between":
            return max(self.whole + share * (self.end * largest - self.whole), self.least)
        return max((1.0 - share if self.share == "above" else share) * self.whole, self.least)


@dataclass(frozen=True)
class Control:
    """The regeneration control of a circuit.

    quantity, unit: of what the knob sets; node: where it is read, None where it is the value of an element.
    degrees: of rotation from stop to stop; law, mid: of its track. on_tank: whether it acts on the tank
    itself.
    """

    quantity: str
    unit: str
    node: str | None
    degrees: float
    followers: tuple[Follower, ...]
    law: Any
    mid: float | None
    on_tank: bool = False

    def share(self, rotation: float) -> float:
        """Return the share (0..1) of its travel for a rotation (0..1)."""
        return float(wiper_fraction(rotation, law=self.law, mid=self.mid))

    def rotation(self, share: float) -> float:
        """Return the rotation (0..1) for a share of its travel."""
        return float(rotation_fraction(share, law=self.law, mid=self.mid))

    @property
    def sets(self) -> dict[str, str]:
        """Quantity and unit of what it sets, by those names."""
        return {"quantity": self.quantity, "unit": self.unit}

    def at_share(self, share: float, *, largest: float = 1.0) -> dict[str, float]:
        """Return the values of the elements that follow, by name, at a share (0..1) of its travel.

        largest: see `Follower.value`.
        """
        return {one.element: one.value(share, largest=largest) for one in self.followers}

    def figure(self, volts: Mapping[str, float], *, share: float) -> float:
        """Return what the knob sets at a share of its travel: volts of its node in an operating point, or
        the value of
        the element that follows.
        """
        return next(iter(self.at_share(share).values())) if self.node is None else volts[self.node]

    def at(self, rotation: float) -> dict[str, float]:
        """Return the values of the elements that follow, by name, at a rotation (0..1)."""
        return self.at_share(self.share(rotation))


def control_of(
    said: Mapping[str, Any], *, whole: Mapping[str, float], degrees: float, law: Any, mid: float | None
) -> Control:
    """Return the control that a description declares; whole: ohm or farad of what its followers share, by
    name.

    law, mid: of the track, as `physics.potentiometer` takes them.
    """
    followers = tuple(
        Follower(
            element=str(element),
            share=str(one["share"]),
            whole=whole[one["of"]],
            end=whole[one["to"]] if "to" in one else 0.0,
            least=whole.get(one.get("least", ""), CONTACT_OHM),
        )
        for element, one in said["follows"].items()
    )
    return Control(
        quantity=str(said["quantity"]),
        unit=str(said["unit"]),
        node=said.get("node"),
        degrees=degrees,
        followers=followers,
        law=law,
        mid=mid,
        on_tank=bool(said.get("on_tank", False)),
    )
