"""Results as JSON, to print or to keep."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from receiver_sim import outputs
from receiver_sim.results.base import plain


def document(result: Any) -> str:
    """Return a result as JSON text with a newline at its end; keys in the order of the dataclass fields.

    Raises ValueError if the result holds NaN or infinity.
    """
    return json.dumps(plain(result), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def encoded(result: Any) -> bytes:
    """Return `document(result)` as a file holds it: UTF-8; what that can't hold stays an escape of JSON."""
    return document(result).encode("utf-8", "backslashreplace")


def write_json(result: Any, path: Path) -> Path:
    """Write `document(result)` to `path` (UTF-8), whole or not at all; return the path.

    Raises ValueError if the result holds NaN or infinity, OutputFailed.
    """
    return outputs.write(path, encoded(result))


def write_text(text: str, path: Path) -> Path:
    """Write text (UTF-8) to `path`, whole or not at all; return the path. Raises OutputFailed."""
    return outputs.write(path, text.encode("utf-8"))
