"""What an analysis hands back: plain arrays by name."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from receiver_sim.engine.rungs import Rung

if TYPE_CHECKING:
    import numpy as np


class RawVector(NamedTuple):
    """One vector as it travels from a worker: name, whether complex, and its float64 numbers as bytes."""

    name: str
    is_complex: bool
    data: bytes


class Vectors(Mapping[str, "np.ndarray"]):
    """Vectors of one analysis, by lower-case name; read-only arrays, complex for ac.

    Node voltages in V go by the node's name ("g", "x1.gk"), branch currents in A by "l1#branch", the
    scale by "frequency" (Hz), "time" (s), "v-sweep", "i-sweep" or "res-sweep". `scale` is the scale's name
    (empty for an operating point). `title` is the deck's, `kind` the analysis ("op", "ac", ...),
    `messages` the warnings ngspice gave, `engine_seconds` the time within ngspice. `op` is the operating
    point that belongs to an ac run if the deck carries `.options keepopinfo`, else None. `rung` tells how
    its operating points were found.
    """

    def __init__(
        self,
        raw: list[RawVector],
        *,
        title: str,
        kind: str,
        scale: str = "",
        messages: tuple[str, ...] = (),
        engine_seconds: float = 0.0,
        op: "Vectors | None" = None,
        rung: Rung = Rung.NEWTON,
    ) -> None:
        import numpy as np  # noqa: PLC0415 - keeps `import receiver_sim.engine` quick

        self._arrays: dict[str, np.ndarray] = {
            vector.name: np.frombuffer(vector.data, dtype=np.complex128 if vector.is_complex else np.float64)
            for vector in raw
        }
        if scale == "frequency" and "frequency" in self._arrays:
            self._arrays["frequency"] = self._arrays["frequency"].real
        self.title = title
        self.kind = kind
        self.scale = scale
        self.messages = messages
        self.engine_seconds = engine_seconds
        self.op = op
        self.rung = rung

    def __getitem__(self, name: str) -> "np.ndarray":
        """Return the vector `name`, in any case; KeyError lists the names there are."""
        try:
            return self._arrays[name.lower()]
        except KeyError:
            raise KeyError(
                f"no vector '{name}' in this {self.kind} run; there are: {', '.join(self)}"
            ) from None

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and name.lower() in self._arrays

    def __iter__(self) -> Iterator[str]:
        return iter(self._arrays)

    def __len__(self) -> int:
        return len(self._arrays)

    def __repr__(self) -> str:
        points = len(next(iter(self._arrays.values()))) if self._arrays else 0
        return f"<{self.kind} of '{self.title}': {len(self)} vectors of {points} points>"

    def __reduce__(self) -> tuple[Any, ...]:
        raw = [
            RawVector(name, array.dtype.kind == "c", array.tobytes()) for name, array in self._arrays.items()
        ]
        rest = (self.title, self.kind, self.scale, self.messages, self.engine_seconds, self.op, self.rung)
        return _rebuild, (raw, *rest)


def _rebuild(
    raw: list[RawVector],
    title: str,
    kind: str,
    scale: str,
    messages: tuple[str, ...],
    engine_seconds: float,
    op: Vectors | None,
    rung: Rung,
) -> Vectors:
    return Vectors(
        raw,
        title=title,
        kind=kind,
        scale=scale,
        messages=messages,
        engine_seconds=engine_seconds,
        op=op,
        rung=rung,
    )
