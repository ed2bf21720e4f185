"""What differs between what is kept and what is found, by place and size."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from difflib import SequenceMatcher
from typing import Any, NamedTuple

REL = 1e-4
"""Largest difference of figures that come from one solution of the circuit, as a share of the figure."""
REL_OF_RUNS = 1e-3
"""The same of those that come from runs over time, whose steps ngspice chooses."""
RUNS = ("detect", "audio", "onset", "check", "listen", "spread", "calibrate", "faults", "swap", "supply")
"""Verbs that run over time, or search until a difference is small."""

SMALL = 1e-3
"""Part of the largest figure of a column below which its others are held against that part: what is left
of a difference of near equals has fewer digits."""


RESIDUES = {"energy_error": 1e-6}
"""Figures that are zero but for rounding, and below what they are held to be so."""


class Difference(NamedTuple):
    """place: keys on the way to it; was, now: what stands there; size: by the scale, inf for words."""

    place: str
    was: Any
    now: Any
    size: float


PROSE = ("page", "complaints", "words")
"""Keys of printed lines, which may be folded in another place."""

_NUMBER = re.compile(r"(?<![\w.])[-+\N{MINUS SIGN}]?\d+(?:\.\d+)?(?:e[-+]?\d+)?", re.IGNORECASE)


def differences(was: Any, now: Any, *, rel: float) -> list[Difference]:
    """Return everything that differs by more than `rel`, the largest first."""
    columns: dict[str, float] = defaultdict(float)
    for place, value in _leaves(was, ()):
        if _is_number(value):
            column = _column(place)
            columns[column] = max(columns[column], abs(value))
    found = list(_compared(was, now, (), columns, rel))
    return sorted(found, key=lambda one: -one.size)


def tolerance_of(verb: str) -> float:
    """Return the tolerance of a verb's figures."""
    return REL_OF_RUNS if verb in RUNS else REL


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _leaves(value: Any, place: tuple[Any, ...]) -> Iterator[tuple[tuple[Any, ...], Any]]:
    if isinstance(value, dict):
        for key, held in value.items():
            yield from _leaves(held, (*place, key))
    elif isinstance(value, list):
        for number, held in enumerate(value):
            yield from _leaves(held, (*place, number))
    else:
        yield place, value


def _column(place: tuple[Any, ...]) -> str:
    """Return the keys without numbers of rows: figures of one column are of one kind."""
    return ".".join(str(key) for key in place if isinstance(key, str))


def _compared(
    was: Any, now: Any, place: tuple[Any, ...], columns: dict[str, float], rel: float
) -> Iterator[Difference]:
    where = ".".join(map(str, place))
    if isinstance(was, dict) and isinstance(now, dict):
        for key in [*was, *(key for key in now if key not in was)]:
            if key not in was or key not in now:
                yield Difference(
                    f"{where}.{key}", was.get(key, "nothing"), now.get(key, "nothing"), float("inf")
                )
            else:
                yield from _compared(was[key], now[key], (*place, key), columns, rel)
    elif isinstance(was, list) and isinstance(now, list):
        if place and place[-1] in PROSE:
            yield from _pages(was, now, where, rel)
            return
        if len(was) != len(now):
            yield Difference(where, f"{len(was)} of them", f"{len(now)} of them", float("inf"))
        for number, (a, b) in enumerate(zip(was, now, strict=False)):
            yield from _compared(a, b, (*place, number), columns, rel)
    elif _is_number(was) and _is_number(now):
        scale = max(abs(was), SMALL * columns[_column(place)])
        if not _both_nil(was, now, place) and abs(now - was) > rel * scale:
            yield Difference(where, was, now, abs(now - was) / scale if scale else float("inf"))
    elif isinstance(was, str) and isinstance(now, str):
        yield from _words(was, now, where, rel)
    elif was != now:
        yield Difference(where, was, now, float("inf"))


def _both_nil(was: float, now: float, place: tuple[Any, ...]) -> bool:
    """Whether two figures are what rounding leaves of nothing."""
    return max(abs(was), abs(now)) < max(RESIDUES.get(str(key), 0.0) for key in place)


def _pages(was: list[str], now: list[str], where: str, rel: float) -> Iterator[Difference]:
    """Compare printed lines, matched by their words; lines that were folded elsewhere alone are alike."""
    shapes = [[" ".join(_NUMBER.sub("0", line).split()) for line in lines] for lines in (was, now)]
    for what, a, b, c, d in SequenceMatcher(None, *shapes, autojunk=False).get_opcodes():
        if what == "equal":
            for number, old, new in zip(range(a, b), was[a:b], now[c:d], strict=True):
                yield from _words(old, new, f"{where}.{number}", rel)
        else:
            texts = (" ".join(" ".join(lines).split()) for lines in (was[a:b], now[c:d]))
            yield from _words(*texts, f"{where}.{a}", rel)


def _words(was: str, now: str, where: str, rel: float) -> Iterator[Difference]:
    """Compare texts: cells and words exactly, a number within one of its last digit besides."""
    if was == now:
        return
    if _cells(_NUMBER.sub("0", was)) != _cells(_NUMBER.sub("0", now)):
        yield Difference(where, was, now, float("inf"))
        return
    for a, b in zip(_NUMBER.findall(was), _NUMBER.findall(now), strict=True):
        one, other = (float(text.replace("\N{MINUS SIGN}", "-")) for text in (a, b))
        step = max(_last_digit(a), _last_digit(b))
        if abs(other - one) > max(1.01 * step, rel * abs(one)):
            yield Difference(where, was, now, abs(other - one) / (abs(one) or 1.0))
            return


def _cells(line: str) -> list[str]:
    """Return what stands in each column of a line, wide as it may be."""
    return re.split(r"\s{2,}", line.strip())


def _last_digit(text: str) -> float:
    mantissa, _, exponent = text.lower().partition("e")
    return float(10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2])))
