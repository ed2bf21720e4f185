"""The audio view as a deck: the receiver without its tank, for runs over time and noise.

All node names and sources are those of `receiver`; there are no `top`, `tap` and `gx`, and the r.f. choke is
its winding. `isignal` feeds current into the detector's grid.
"""

from __future__ import annotations

from receiver_sim.data import folder
from receiver_sim.engine import Deck
from receiver_sim.netlist.limits import CONTACT_OHM
from receiver_sim.netlist.receiver import (
    Cards,
    audio_parts,
    control_elements,
    control_values,
    load_part,
    supply_parts,
    tube_parts,
)
from receiver_sim.netlist.templates import render
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.schema import Build

OPTIONS = ".options keepopinfo reltol=1e-5 abstol=1e-8 vntol=1e-6 trtol=100 itl1=500"
"""Tight in Newton's search, so that harmonics 80 dB down stand clear of the solver's errors; the step is set
by the study, so the local error may not shorten it: with a regulator's breakdown on the supply it would do so
without end.
"""


def audio_deck(build: Build, cards: Cards, *, rotation: float) -> Deck:
    """Return the deck of the audio view with the control at `rotation` (0..1)."""
    det, tube = build.detector, cards.detector.capacitances
    pot = control_elements(build, rotation)
    values = {
        "grid_capacitor": det.grid_capacitor,
        "grid_leak": det.grid_leak,
        "stray_grid": det.strays.grid,
        "cgk": tube.cgk,
        "cgp": tube.cgp,
        "cpk": tube.cpk,
        "choke_resistance": max(det.rf_filter.choke_resistance, CONTACT_OHM),
        "filter_capacitance": det.rf_filter.plate_capacitor
        + det.rf_filter.output_capacitor
        + det.strays.plate,
    }
    control = {**control_values(build), "pot_a": pot["rpota"], "pot_b": pot["rpotb"]}
    parts = [
        OPTIONS,
        subcircuit(cards.detector, "det"),
        *tube_parts(build, cards.audio, cards.first),
        *supply_parts(build),
        render(folder("netlists"), "control.cir", control),
        render(folder("netlists"), "audio_detector.cir", values),
        load_part(build),
        *audio_parts(build, cards.audio, cards.first),
    ]
    return Deck(title="audio view", text="\n".join(parts))
