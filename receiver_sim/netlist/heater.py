"""Where the heater of each tube hangs: on the line of all, behind a dropper, or on a source of its own.

Node names: `ha` and `hb` are the ends of the line, `hdet`, `haud`, `hfst` end a of a heater with other volts;
its end b is that of the line.
"""

from __future__ import annotations

from typing import Any

from receiver_sim.schema import Build
from receiver_sim.schema.stage import HeaterFeed

_NODES = {"detector": "hdet", "audio": "haud", "first": "hfst"}


def feed_of(build: Build, socket: str) -> HeaterFeed | None:
    """Return how the heater in a socket ('detector', 'audio', 'first') is fed, None for straight from the
    line.
    """
    if socket == "first":
        return None if build.audio.first is None else build.audio.first.heater_feed
    return build.detector.heater_feed if socket == "detector" else build.audio.heater_feed


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


__all__ = ["feed_of", "heater_ends", "heater_feeds"]
