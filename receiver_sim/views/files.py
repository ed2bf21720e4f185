"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import threading
from pathlib import Path


def write_atomically(path: Path, content: bytes) -> Path:
    """Write `content` so that a reader finds the old file or the new one, never a part; return `path`.

    Makes the folder if need be. Raises OSError as the system does; nothing is left behind then.
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    # In the same folder, as a rename between file systems is no rename.
    draft = path.with_name(f".{path.name}.{os.getpid()}.{threading.get_ident()}.part")
    try:
        draft.write_bytes(content)
        os.replace(draft, path)
    except BaseException:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise
    return path


def slug(name: str) -> str:
    """Return a name as part of a file name: lower-case ASCII letters, digits, hyphens ('40 m' -> '40-m')."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "unnamed"
