"""Bake settings into a deck, so that stock ngspice in batch mode gives the figures of a study."""

from __future__ import annotations

from collections.abc import Mapping

from receiver_sim.engine import Deck


def baked(deck: Deck, *, values: Mapping[str, float], ac: Mapping[str, float]) -> Deck:
    """Return the deck with element values (last word of the line) and a.c. magnitudes of sources replaced.

    Names in any case. Raises KeyError for a name the deck does not hold.
    """
    wanted = {name.lower(): format(value, ".12g") for name, value in values.items()}
    magnitudes = {name.lower(): format(value, ".12g") for name, value in ac.items()}
    lines, seen = [], set()
    for line in deck.text.splitlines():
        words = line.split()
        name = words[0].lower() if words else ""
        if name in wanted:
            words[-1] = wanted[name]
        if name in magnitudes:
            words[words.index("ac") + 1] = magnitudes[name]
        if name in wanted or name in magnitudes:
            seen.add(name)
        lines.append(" ".join(words) if name in seen else line)
    missing = sorted((wanted.keys() | magnitudes.keys()) - seen)
    if missing:
        raise KeyError(f"the deck has no element {', '.join(missing)}")
    return Deck(title=deck.title, text="\n".join(lines))
