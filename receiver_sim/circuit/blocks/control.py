"""The regeneration control: a potentiometer that sets the volts of the detector's screen."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.control import control_of
from receiver_sim.circuit.description import described
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.data import folder


@form("control", "screen_potentiometer")
def screen_potentiometer(site: Site) -> Sequence[Block]:
    """Return the control with its wiper where `site` has it."""
    said = site.build.regeneration
    declared = described(folder("netlists"), "control").control
    assert declared is not None
    control = control_of(
        declared, whole={"track": said.pot}, degrees=said.rotation, law=said.law, mid=said.mid
    )
    parts = control.at(site.rotation)
    return [
        filled(
            "control.cir",
            {
                "feed": "bplus" if site.build.regulator is None else "vreg",
                "top": max(said.top, CONTACT_OHM),
                "bottom": max(said.bottom, CONTACT_OHM),
                "stopper": max(said.stopper, CONTACT_OHM),
                "bypass": said.bypass,
                "pot_a": parts["rpota"],
                "pot_b": parts["rpotb"],
            },
            control=control,
        )
    ]
