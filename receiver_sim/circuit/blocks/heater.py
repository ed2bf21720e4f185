"""The heater line with its hum pot, grounded centre tap or grounded side, and where each tube's heater
hangs: on the line of all, behind a dropper, or on a source of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from receiver_sim.circuit.circuit import Block, Circuit
from receiver_sim.circuit.element import Nature
from receiver_sim.circuit.limits import CONTACT_OHM, SOCKET_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.circuit.roles import Role
from receiver_sim.schema import Build
from receiver_sim.schema.audio_stages import HeaterFeed

OPEN_SIDE = "open side of the heater line"
GROUNDED_SIDE = "grounded side of the heater line"
CENTRE_TAP = "half of the heater winding"
"""What the model has in the place of a hum pot where there is none."""

_NODES = {"rf": "hrf", "detector": "hdet", "audio": "haud", "first": "hfst"}


def feed_of(build: Build, socket: str) -> HeaterFeed | None:
    """Return how the heater in a socket ('rf', 'detector', 'audio', 'first') is fed, None for straight from
    the line.
    """
    if socket == "rf":
        return None if build.rf_stage is None else build.rf_stage.heater_feed
    if socket == "detector":
        return build.detector.heater_feed
    stage = build.audio if socket == "audio" or build.audio is None else build.audio.first
    return None if stage is None else stage.heater_feed


def heater_ends(build: Build, socket: str) -> dict[str, str]:
    """Return the nodes of both ends of the heater in a socket. A cell brings no hum: both at ground."""
    feed = feed_of(build, socket)
    if feed is not None and feed.source == "cell":
        return {"heater_a": "0", "heater_b": "0"}
    own = feed is not None and feed.volts is not None
    return {"heater_a": _NODES[socket] if own else "ha", "heater_b": "hb"}


def heater_feeds(build: Build) -> list[dict[str, Any]]:
    """Return node and volts, as a share of the line's, of each heater that has its own.

    A dropper stands in the lead to end a; a winding of its own counts as in phase with the line and grounded
    as it is.
    """
    feeds = [(socket, feed_of(build, socket)) for socket in _NODES]
    return [
        {"node": _NODES[socket], "share": feed.volts / build.heater.volts}
        for socket, feed in feeds
        if feed is not None and feed.volts is not None and feed.source != "cell"
    ]


def _halves(build: Build, position: float) -> tuple[float, float]:
    pot = build.heater.hum_pot
    if build.heater.wiring == "one_side":
        return SOCKET_OHM, CONTACT_OHM
    if build.heater.wiring == "centre_tap":
        position = 0.5
    return max(position * pot, CONTACT_OHM), max((1.0 - position) * pot, CONTACT_OHM)


def hum_pot_elements(circuit: Circuit, build: Build, position: float) -> dict[str, float]:
    """Return the values of the two parts of the hum pot at `position` (0..1 from heater end a), by name.

    A grounded centre tap is the pot at half way whatever the position; a grounded side leaves the other free.
    """
    parts = circuit.part(Role.HUM_POT_A), circuit.part(Role.HUM_POT_B)
    return dict(zip(parts, _halves(build, position), strict=True))


@form("heater", "winding")
def winding(site: Site) -> Sequence[Block]:
    """Return the heater winding and what grounds it."""
    heater = site.build.heater
    a, b = _halves(site.build, heater.hum_pot_position)
    volts = heater.volts if heater.supply == "dc" else 0.0
    block = filled(
        "heater.cir", {"dc_volts": volts, "hum_a": a, "hum_b": b, "feeds": heater_feeds(site.build)}
    )
    source, *pot = (block.roles[role] for role in (Role.HEATER, Role.HUM_POT_A, Role.HUM_POT_B))
    instead = {"one_side": (OPEN_SIDE, GROUNDED_SIDE), "centre_tap": (CENTRE_TAP, CENTRE_TAP)}
    for name, word in zip(pot, instead.get(heater.wiring, ()), strict=False):
        block = _called(block, name, word=word, nature=Nature.MODEL, tolerance=None)
    if heater.supply == "dc":
        block = _called(block, source, word="d.c. heater supply")
    return [block]


def _called(block: Block, name: str, **about: Any) -> Block:
    """Return the block with one element said to be something else."""
    elements = (e._replace(about=replace(e.about, **about)) if e.name == name else e for e in block.elements)
    return replace(block, elements=tuple(elements))
