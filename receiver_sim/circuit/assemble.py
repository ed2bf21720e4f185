"""Which blocks a build has, in which forms, and the circuit of the whole receiver made of them."""

from __future__ import annotations

from collections.abc import Callable

from receiver_sim.circuit import blocks
from receiver_sim.circuit.blocks.control import control_form
from receiver_sim.circuit.circuit import Block, Circuit, joined
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.limits import NEWTON_OPTION
from receiver_sim.circuit.registry import Cards, Site, make
from receiver_sim.schema import Band, Build
from receiver_sim.schema.supply import SettledSupply

OPTIONS = f"keepopinfo reltol=1e-6 abstol=1e-14 vntol=1e-9 {NEWTON_OPTION}"

Choice = Callable[[Site], "str | None"]


def _supply(site: Site) -> str:
    return "filtered" if isinstance(site.build.supply, SettledSupply) else "dc"


def _regulator(site: Site) -> str | None:
    if site.build.regulator is None:
        return None
    return "shunt" if site.regulator_lit else "unlit"


def _aerial(site: Site) -> str:
    if site.build.aerial is None:
        return "none"
    if site.build.rf_stage is not None:
        return "r.f. stage"
    return "link" if site.build.aerial.coupling is None else "capacitor"


def _feedback(site: Site) -> str:
    return "tapped" if site.band.coil.tickler is None else "tickler"


def _detector(site: Site) -> str:
    usual = "tapped_cathode" if site.band.coil.tickler is None else "tickler"
    return getattr(site.build.detector, "kind", usual)


def _control(site: Site) -> str:
    return getattr(site.build.regeneration, "kind", None) or control_form(site.build)


def _strays(site: Site) -> str | None:
    strays = site.build.detector.strays
    if site.build.audio is None:
        return None
    return "to_grid" if strays.audio_plate > 0.0 or strays.phone_lead > 0.0 else None


SLOTS: tuple[tuple[str, Choice], ...] = (
    ("supply", _supply),
    ("heater", lambda _: "winding"),
    ("regulator", _regulator),
    ("control", _control),
    ("screen", lambda site: None if site.build.detector.screen is None else "fixed"),
    ("coil", _feedback),
    ("aerial", _aerial),
    ("r.f. stage", lambda site: None if site.build.rf_stage is None else "amplifier"),
    ("detector", _detector),
    ("load", lambda site: site.build.detector.load.kind),
    ("audio", lambda site: None if site.build.audio is None else "amplifier"),
    ("output", lambda site: None if site.build.audio is None else site.build.audio.output.kind),
    ("phones", lambda _: "loads"),
    ("strays", _strays),
)
"""The blocks in their order, and how a build says which form of each it has (None: it has none)."""


def receiver_circuit(
    build: Build,
    cards: Cards,
    *,
    band: Band,
    dial_hz: float,
    rotation: float,
    regulator_lit: bool = True,
) -> Circuit:
    """Return the circuit of the whole receiver, every element of it: the RF view.

    It is tuned to about `dial_hz`, the control at `rotation` (0..1). regulator_lit: False for a gas
    regulator that has not struck.
    """
    site = Site(build, cards, band, dial_hz, rotation, regulator_lit)
    made: list[Block] = []
    for block, choice in SLOTS:
        name = choice(site)
        if name is not None:
            made += make(block, name, site)
    return joined(f"receiver at {dial_hz / 1e6:.6g} MHz", made, options=OPTIONS)


def regeneration_control(build: Build, cards: Cards) -> Control:
    """Return the regeneration control of a build alone. Raises NoSuchPart where it has none."""
    band = build.bands[0]
    site = Site(build, cards, band, band.from_, 0.5)
    choice = dict(SLOTS)["control"]
    name = choice(site)
    made = () if name is None else make("control", name, site)
    return joined("control", made, options="").control


__all__ = ["OPTIONS", "SLOTS", "Cards", "blocks", "receiver_circuit", "regeneration_control"]
