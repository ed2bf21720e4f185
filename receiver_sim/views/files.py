"""Names of bands, tubes and the like as parts of file names."""

from __future__ import annotations

import re
from collections.abc import Sequence


def slug(name: str) -> str:
    """Return a name as part of a file name: lower-case ASCII letters, digits, hyphens ('40 m' -> '40-m')."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:_LONGEST] or "unnamed"


_LONGEST = 100
"""Letters of the longest part: most systems end a name at 255 bytes."""


def slugs(names: Sequence[str]) -> list[str]:
    """Return the `slug` of each name, all different: '40 m' and '40-m' become '40-m' and '40-m-2'."""
    out: list[str] = []
    for name in names:
        plain = slug(name)
        tried, number = plain, 1
        while tried in out:
            number += 1
            tried = f"{plain}-{number}"
        out.append(tried)
    return out
