"""Results as JSON, to print or to keep."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from receiver_sim.results.base import plain
from receiver_sim.views.files import write_atomically


def document(result: Any) -> str:
    """Return a result as JSON text with a newline at its end; keys in the order of the dataclass fields.

    Raises ValueError if the result holds NaN or infinity.
    """
    return json.dumps(plain(result), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_json(result: Any, path: Path) -> Path:
    """Write `document(result)` to `path` (UTF-8), whole or not at all; return the path.

    Raises ValueError if the result holds NaN or infinity, OSError as the system does.
    """
    return write_atomically(Path(path), document(result).encode("utf-8"))


def write_text(text: str, path: Path) -> Path:
    """Write text (UTF-8) to `path`, whole or not at all; return the path. Raises OSError."""
    return write_atomically(Path(path), text.encode("utf-8"))
