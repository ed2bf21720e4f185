"""Changes of coil, aerial and control that bring a set nearer to oscillation or away from it, to be tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from receiver_sim.schema.build import Band, Build
from receiver_sim.schema.coil import Toroid
from receiver_sim.schema.coil_figures import coil_q, filled_in, former_by_name
from receiver_sim.schema.formers import formers
from receiver_sim.schema.quantity import CAPACITANCE, RESISTANCE, Dimension, format_quantity

Changed = Callable[[Build, Band], tuple[Build, Band]]

BETTER_Q = 1.5
"""What thicker wire, a wider pitch and a better former may gain together (common practice, no source)."""

GOOD_FORMER = "ceramic"


@dataclass(frozen=True)
class Change:
    """A change of the set: its kind (no two of one kind go together), words, and the change itself."""

    kind: str
    text: str
    apply: Changed

    def with_(self, other: Change) -> Change:
        """Return both changes as one."""

        def both(build: Build, band: Band) -> tuple[Build, Band]:
            return other.apply(*self.apply(build, band))

        return Change(f"{self.kind} and {other.kind}", f"{self.text}, and {other.text}", both)


def changes(build: Build, band: Band, *, more: bool) -> Iterator[Change]:
    """Give every change that applies to the set and brings it nearer to oscillation (`more`) or away."""
    yield from _aerial(build, band, more=more)
    if more:
        yield from _coil(band)
    yield from _control(build, more=more)


def pairs(ranked: Sequence[Change]) -> Iterator[Change]:
    """Give the best change of each kind together with that of each other kind; `ranked`: the best first."""
    best: dict[str, Change] = {}
    for change in ranked:
        best.setdefault(change.kind, change)
    kinds = list(best.values())
    for number, one in enumerate(kinds):
        for other in kinds[number + 1 :]:
            yield one.with_(other)


def _instead(what: str, now: float, was: float, dimension: Dimension) -> str:
    return f"{what} {format_quantity(now, dimension, 3)} instead of {format_quantity(was, dimension, 3)}"


def _aerial(build: Build, band: Band, *, more: bool) -> Iterator[Change]:
    aerial = build.aerial
    if aerial is None or build.rf_stage is not None:
        return
    for factor in (0.5, 0.25, 0.1) if more else (2.0, 4.0):
        if aerial.coupling is not None:
            now = aerial.coupling * factor
            text = _instead("aerial coupling", now, aerial.coupling, CAPACITANCE)
            yield Change("aerial", text, partial(_coupled, coupling=now))
        elif band.coil.link is not None and band.coil.link.turns * factor >= 1.0:
            turns = band.coil.link.turns * factor
            text = f"aerial link {turns:g} turns instead of {band.coil.link.turns:g}"
            yield Change("aerial", text, partial(_linked, turns=turns))


def _coupled(build: Build, band: Band, *, coupling: float) -> tuple[Build, Band]:
    assert build.aerial is not None
    return build.model_copy(update={"aerial": build.aerial.model_copy(update={"coupling": coupling})}), band


def _linked(build: Build, band: Band, *, turns: float) -> tuple[Build, Band]:
    assert band.coil.link is not None
    return build, _recoiled(band, link=band.coil.link.model_copy(update={"turns": turns}))


def _recoiled(band: Band, **update: object) -> Band:
    """Return the band with keys of its coil changed, its figures worked out again."""
    return band.model_copy(update={"coil": filled_in(band.coil.model_copy(update=update), band.middle_hz)})


def _coil(band: Band) -> Iterator[Change]:
    coil, middle = band.coil, band.middle_hz
    winding, former, q = coil.winding, former_by_name(coil), coil_q(coil, middle)
    if winding is not None and not isinstance(winding, Toroid) and former is not None:
        if formers()[winding.material].loss_tangent <= formers()[GOOD_FORMER].loss_tangent:
            return
        better = winding.model_copy(update={"material": GOOD_FORMER})
        other = coil_q(coil.model_copy(update={"winding": better}), middle)
        good = formers()[GOOD_FORMER].name
        text = f"a former of {good} instead of {former} (Q {other:.0f} instead of {q:.0f})"

        def moved(build: Build, one: Band) -> tuple[Build, Band]:
            assert one.coil.winding is not None
            material = {"material": GOOD_FORMER}
            return build, _recoiled(one, winding=one.coil.winding.model_copy(update=material))

        yield Change("coil", text, moved)
    elif winding is None:

        def improved(build: Build, one: Band) -> tuple[Build, Band]:
            return build, one.model_copy(
                update={"coil": one.coil.model_copy(update={"q": BETTER_Q * one.coil.q})}
            )

        yield Change("coil", f"a coil of Q {BETTER_Q * q:.3g} instead of {q:.3g}", improved)


def _control(build: Build, *, more: bool) -> Iterator[Change]:
    control = build.regeneration
    if more:
        values = [control.top / 2.0, 0.0] if control.top > 0.0 else []
    else:
        values = [control.top + control.pot, control.top + 3.0 * control.pot] if control.pot else []
    for now in values:
        text = _instead("resistor above the control", now, control.top, RESISTANCE)

        yield Change("control", text, partial(_fed, top=now))


def _fed(build: Build, band: Band, *, top: float) -> tuple[Build, Band]:
    regeneration = build.regeneration.model_copy(update={"top": top})
    return build.model_copy(update={"regeneration": regeneration}), band
