"""Results as JSON, to print or to keep."""

from __future__ import annotations

import json
from typing import Any

from receiver_sim.results.base import plain


def document(result: Any) -> str:
    """Return a result as JSON text with a newline at its end; keys in the order of the dataclass fields.

    Raises ValueError if the result holds NaN or infinity.
    """
    return json.dumps(plain(result), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def encoded(result: Any) -> bytes:
    """Return `document(result)` as a file holds it: UTF-8; what that can't hold stays an escape of JSON."""
    return document(result).encode("utf-8", "backslashreplace")
