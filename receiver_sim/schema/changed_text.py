"""The text of a build with some values changed, to be written as a file that every verb takes."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence

import yaml

from receiver_sim.schema.build import Build
from receiver_sim.schema.loading import changed_build

SAFETY = (
    "SAFETY: plate supplies kill. Switch off, unplug, let the bleeder discharge the capacitors and measure "
    "before touching."
)


def changed_text(build: Build, changes: Mapping[str, str], *, notes: Sequence[str] = ()) -> str:
    """Return the build's file with values changed (keys to text as in a file), notes as comments ahead.

    Comments of the file that the build came from are not kept. Raises BuildFaults if it would be faulty.
    """
    data = copy.deepcopy(changed_build(build, changes)._data)
    head = "".join(f"# {line}\n" for line in (SAFETY, *notes))
    return head + yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=110)
