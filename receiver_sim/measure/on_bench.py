"""What a measurement needs of a receiver: its settled build with the cards of its tubes, on a bench."""

from __future__ import annotations

from typing import Protocol

from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.schema import Band, Build


class OnBench(Protocol):
    """A settled build on a bench, with the cards of its tubes."""

    @property
    def build(self) -> Build:
        """The settled build."""

    @property
    def cards(self) -> Cards:
        """The cards of its tubes, as shipped or drawn."""

    @property
    def bench(self) -> Bench:
        """The bench it stands on."""


class AtDial(OnBench, Protocol):
    """The same, tuned to a dial setting of a band."""

    @property
    def band(self) -> Band:
        """The band."""

    @property
    def dial_hz(self) -> float:
        """The frequency on the dial, Hz."""
