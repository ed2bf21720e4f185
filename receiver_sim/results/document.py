"""The JSON document that every verb prints with `--json`."""

from __future__ import annotations

from typing import Any

from receiver_sim import __version__
from receiver_sim.results.base import plain

FORMAT = 1


def document(verb: str, result: Any) -> dict[str, Any]:
    """Wrap a result: {"format", "receiver_sim" (version), "verb", "result"}; its JSON Schema is shipped
    beside this file.
    """
    return {"format": FORMAT, "receiver_sim": __version__, "verb": verb, "result": plain(result)}
