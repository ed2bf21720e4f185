"""Builds made ready for the studies: those that ship, their cards, their supply run first, their bands."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from receiver_sim.engine import Bench
from receiver_sim.errors import UnknownName, WrongValue
from receiver_sim.receiver import cards_for, current_drawn, dial_frequencies, settle
from receiver_sim.schema import Band, Build, load_build

__all__ = [
    "band_named",
    "bands_named",
    "cards_for",
    "current_drawn",
    "dial_frequencies",
    "opened",
    "output_index",
    "settle",
    "shipped_build",
    "shipped_builds",
]


@contextmanager
def opened(given: Bench | None) -> Iterator[Bench]:
    """Give the bench that is given, else a new one that is closed at the end."""
    if given is not None:
        yield given
        return
    with Bench() as bench:
        bench.warm()
        yield bench


_BUILDS = Path(__file__).with_name("schema") / "builds"


def shipped_builds() -> tuple[str, ...]:
    """Return the names of the builds that come with the program."""
    return tuple(sorted(path.stem for path in _BUILDS.glob("*.yaml")))


def shipped_build(name: str) -> Build:
    """Return a build that comes with the program, such as 'demo'. Raises UnknownName, which lists them."""
    if name not in shipped_builds():
        there = ", ".join(shipped_builds())
        raise UnknownName(f"no build '{name}' comes with the program; there are: {there}")
    return load_build(_BUILDS / f"{name}.yaml")


def band_named(build: Build, name: str | None) -> Band:
    """Return the band of that name, the first one for None; '40m' finds '40 m'.

    Raises UnknownName listing the names there are.
    """
    if name is None:
        return build.bands[0]
    wanted = _plain(name)
    alike = [b for b in build.bands if b.name == name] or [b for b in build.bands if _plain(b.name) == wanted]
    if len(alike) == 1:
        return alike[0]
    if alike:
        names = " and ".join(f"'{b.name}'" for b in alike)
        raise UnknownName(f"'{name}' may be {names}: write the name as in the build")
    raise UnknownName(f"no band '{name}' in this build; its bands: {', '.join(b.name for b in build.bands)}")


def bands_named(build: Build, names: Sequence[str] | None) -> list[Band]:
    """Return the bands of those names, all for None. Raises UserError for one name alone, and as
    `band_named`.
    """
    if isinstance(names, str):
        raise WrongValue(f"bands: a list of names is expected, not one name; write ['{names}']")
    return list(build.bands) if names is None else [band_named(build, name) for name in names]


def output_index(build: Build, which: int | str) -> int:
    """Return the number of the phones or load that is meant by number or name. Raises UnknownName."""
    names = [phone.name for phone in build.phones]
    if isinstance(which, str) and which in names:
        return names.index(which)
    if isinstance(which, int) and not isinstance(which, bool) and 0 <= which < len(names):
        return which
    listed = ", ".join(f"{i} '{name}'" for i, name in enumerate(names))
    raise UnknownName(f"no output {which!r} in this build; its outputs: {listed}")


def _plain(name: str) -> str:
    """Return the name of a band without case, spaces and hyphens."""
    return re.sub(r"[\s_-]+", "", name).casefold()
