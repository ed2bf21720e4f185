"""A first build from a few answers: which supply, tubes, phones and bands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from receiver_sim.errors import WrongValue
from receiver_sim.schema import Build, first_build


def new_build(
    *,
    supply: str = "mains",
    detector: str | None = None,
    audio: str | None = None,
    phones: str = "high_impedance",
    bands: Sequence[str] = first_build.USUAL_BANDS,
) -> Build:
    """Return a build that works, from the answers that `new --ask` asks for; the rest is what is usual.

    supply: 'mains', 'bench' or 'battery'; detector, audio: types of tubes, the usual ones if None ('none' for
    no audio stage); phones: 'high_impedance', '600_ohm', '32_ohm' or '8_ohm'; bands: names such as '40 m' or
    '49 m broadcast', or spans such as '7.0-7.2MHz'. Raises BuildFaults for an unknown tube, WrongValue for
    any other answer that does not serve.
    """
    usual = first_build.usual(_one_of("supply", supply, first_build.SUPPLIES))
    first = first_build.checked_tube(detector or usual.detector, socket="detector", supply=supply)
    second = audio or usual.audio
    if second != "none":
        second = first_build.checked_tube(second, socket="audio", supply=supply)
    kind = _one_of("phones", phones, first_build.phones_for(second))
    chosen = first_build.checked_bands(", ".join(bands))
    return first_build.built(first_build.Answers(supply, first, second, kind, chosen))[1]


def _one_of(what: str, answer: str, known: Iterable[str]) -> str:
    if answer not in (names := tuple(known)):
        raise WrongValue(f"{what}: expected one of {', '.join(names)}")
    return answer
