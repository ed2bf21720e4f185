"""Makes the picture of a schematic that README shows: `python notebooks/pictures/schematic.py`."""

from __future__ import annotations

from pathlib import Path

from receiver_sim import api

PICTURE = Path(__file__).with_name("schematic.svg")


def picture() -> bytes:
    """Return the drawing of the demo build as SVG, on white for readers with a dark page."""
    svg = api.draw(api.shipped_build("demo"), band="40 m").rendered("svg")
    return svg.replace(b"<svg ", b'<svg style="background: white; color: black" ', 1)


if __name__ == "__main__":
    PICTURE.write_bytes(picture())
