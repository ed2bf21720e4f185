"""One tube on stiff supplies: the deck for curves, published points and small-signal figures."""

from __future__ import annotations

from receiver_sim.engine import Deck
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.schema.card import TubeCard

_OPTIONS = ".options keepopinfo reltol=1e-7 abstol=1e-15 vntol=1e-10"


def jig_deck(card: TubeCard, connection: str) -> Deck:
    """Return the deck of one tube on stiff supplies, connected as `connection` (pentode, tetrode or triode).

    `vp`, `vs`, `vg` set plate, screen and grid against the lower end of `rk`, the cathode resistor; `rg`
    is in the grid lead (a grid leak, nothing to speak of at rest); `vinj` stands at the control node of the
    space current. The currents into the electrodes are those of the sources with their sign changed.
    """
    tied = connection == "triode"
    lines = [
        _OPTIONS,
        subcircuit(card, "tube", triode_connected=tied and card.kind != "triode"),
        "Vp p 0 dc 100 ac 0",
        *(() if tied else ("Vs s 0 dc 100 ac 0",)),
        "Vg gs 0 dc -3 ac 0",
        "Rg gs g 1u",
        "Rk k 0 1u",
        "Vinj inj 0 dc 0 ac 0",
        f"Xt {'p g k inj' if tied else 'p s g k inj'} tube",
    ]
    return Deck(title=f"{card.type} as {connection} on stiff supplies", text="\n".join(lines))
