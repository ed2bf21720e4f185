"""What a bench and its workers say to each other; plain data, no numpy, no PySpice."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Load:
    """Take this circuit; `lines` are a deck's logical lines without title and .end."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Run:
    """Send `alters`, then `command`, and hand back `vectors` (all if None) of the plot of this `kind`."""

    alters: tuple[str, ...]
    command: str
    kind: str
    vectors: tuple[str, ...] | None


@dataclass(frozen=True)
class Runs:
    """Make these runs one after the other, up to the first that fails."""

    runs: tuple[Run, ...]


@dataclass(frozen=True)
class Unload:
    """Forget the circuit and everything computed from it."""


@dataclass(frozen=True)
class Plot:
    """One plot: name of its scale ("" if none) and its vectors as (name, is complex, bytes of float64)."""

    scale: str
    vectors: tuple[tuple[str, bool, bytes], ...]


@dataclass(frozen=True)
class Ready:
    """A worker stands ready with this ngspice version, from this library."""

    version: int
    library: str


@dataclass(frozen=True)
class Done:
    """The request was carried out. `plot` and `op` are set after a Run, `warnings` are ngspice's lines,
    `rung` is the name of the one of ngspice's own that found its operating points."""

    seconds: float
    warnings: tuple[str, ...] = ()
    plot: Plot | None = None
    op: Plot | None = None
    rung: str = "NEWTON"


@dataclass(frozen=True)
class Failed:
    """The request failed; `messages` are all lines ngspice gave, `missing` says that there is no engine."""

    reason: str
    messages: tuple[str, ...] = ()
    missing: bool = False


@dataclass(frozen=True)
class DoneEach:
    """All of the Runs were carried out, each as its Done says."""

    each: tuple[Done, ...]


Request = Load | Run | Runs | Unload
Reply = Ready | Done | DoneEach | Failed
