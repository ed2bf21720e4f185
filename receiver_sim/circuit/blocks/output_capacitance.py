"""What a tube's output capacitance hangs on: cathode, suppressor, screen and shell, each wired somewhere."""

from __future__ import annotations

from typing import NamedTuple

from receiver_sim.schema.card import TubeCard

SHELL_OF_METAL = 0.45
"""Share of the printed output capacitance that goes to a metal shell: one structure in two bulbs, 6.5 pF in
the glass 6C6 and 12 pF in the metal 6J7 (sheets, from memory, medium)."""

SHELL_OF_GLASS = 0.25
"""The same to the shield that a sheet's figure of a glass tube is measured with: 2.1 pF without and 2.8 pF
with it for the 6AK5 (sheets, from memory, medium)."""

CATHODE_SHARE = 0.05
"""What reaches the cathode past screen and suppressor, mostly by leads and heater. Common practice, no
source."""


class OutputCapacitances(NamedTuple):
    """Capacitances of a plate, F; they add up to the card's output capacitance."""

    cathode: float
    suppressor: float
    screen: float
    shell: float


def suppressor_has_a_pin(card: TubeCard) -> bool:
    """Return whether a tube's suppressor is wired at the socket, not joined to the cathode inside."""
    return any(electrode == "g3" for electrode in card.pins.values())


def output_capacitances(card: TubeCard) -> OutputCapacitances:
    """Return what the output capacitance of a card hangs on.

    Plate of a pentode faces its suppressor, that of a screen-grid tetrode its screen, both their shell or
    shield; a triode's sheet gives the cathode alone.
    """
    whole = card.capacitances.cpk
    if card.kind == "triode":
        return OutputCapacitances(whole, 0.0, 0.0, 0.0)
    metal = any(electrode == "shell" for electrode in card.pins.values())
    shell = (SHELL_OF_METAL if metal else SHELL_OF_GLASS) * whole
    cathode = CATHODE_SHARE * whole
    facing = whole - shell - cathode
    if card.kind == "tetrode":
        return OutputCapacitances(cathode, 0.0, facing, shell)
    return OutputCapacitances(cathode, facing, 0.0, shell)
