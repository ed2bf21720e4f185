"""Faults of a file that a person wrote: each with its place, what was expected and the cure; all at once."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from receiver_sim.errors import ReceiverSimError

KeyPath = tuple[str | int, ...]

_SHOWN = 60  # characters of a value that a message repeats


def show(value: object) -> str:
    """Return `value` as a message may print it: no control characters, at most some 60 characters long."""
    text = str(value)
    cut = text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in cut)


def dotted(path: Sequence[str | int]) -> str:
    """Return a key path as text: ('bands', 0, 'coil') -> 'bands[0].coil'."""
    out = ""
    for step in path:
        if isinstance(step, int):
            out += f"[{step}]"
        else:
            out += f".{show(step)}" if out else show(step)
    return out


def nearest(word: str, known: Collection[str]) -> str | None:
    """Return the entry of `known` that reads most like `word` (case disregarded), or None if none is near."""
    folded = {entry.casefold(): entry for entry in sorted(known, reverse=True)}
    found = difflib.get_close_matches(word[:_SHOWN].casefold(), list(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def listed(words: Iterable[str]) -> str:
    """Return the words quoted and joined for a sentence: 'a', 'b' or 'c'."""
    quoted = [f"'{word}'" for word in words]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " or " + quoted[-1]


@dataclass(frozen=True)
class Fault:
    """One fault: place, value, expectation and cure.

    `file` as the caller gave it; `line` counts from 1 (0: the file as a whole); `key` is a dotted key path
    ('' for the file as a whole); `value` the text found there (None: nothing is there to show); `missing`
    says that a required key is not there; `near` is the nearest valid key; `cure` says what to do.
    """

    file: str
    line: int
    key: str
    expected: str
    value: str | None = None
    missing: bool = False
    near: str | None = None
    cure: str | None = None

    def __str__(self) -> str:
        head = [f"{self.file}:{self.line}" if self.line else self.file]
        if self.key:
            head.append(self.key)
        if self.missing:
            head.append("missing")
        elif self.value is not None:
            head.append(f"value '{show(self.value)}'")
        tail = [f"expected {self.expected}"]
        if self.near is not None:
            tail.append(f"nearest key '{self.near}'")
        if self.cure is not None:
            tail.append(self.cure)
        return ": ".join([*head, "; ".join(tail)])


class FileFaults(ReceiverSimError):  # noqa: N818 - holds many
    """A file is unusable. `.faults` holds every fault in it, sorted by line; str() prints one a line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(sorted(set(faults), key=lambda f: (f.line, f.key, f.expected)))
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[FileFaults], tuple[tuple[Fault, ...]]]:
        return type(self), (self.faults,)


class BuildFaults(FileFaults):
    """A build file is unusable; see `FileFaults`."""
