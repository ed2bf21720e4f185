"""What the verbs share: progress, the setting a verb begins from, where a result comes from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import TYPE_CHECKING

from receiver_sim import __version__
from receiver_sim.builds import band_named
from receiver_sim.engine import Bench, Rung
from receiver_sim.receiver import Receiver, cards_for
from receiver_sim.results.base import DeckRun, Provenance
from receiver_sim.schema import Build
from receiver_sim.views.numbers import engineering, percent

if TYPE_CHECKING:
    from receiver_sim.measure.audio_unrest import Unrest
    from receiver_sim.working import Setting

Progress = Callable[[str, int, int], None]
"""Called with what is going on, steps done and steps in all."""


def quiet(_what: str, _done: int, _total: int) -> None:
    return None


def prepare(receiver: Receiver, band: str | None, *, rotation: float | None = None) -> Setting:
    """Find the working setting for a single verb: of the named band, else of the first that oscillates.

    rotation: of the control, 0..1, to hold instead. Raises EngineError, see `working.choose`.
    """
    from receiver_sim.working import choose  # noqa: PLC0415 - `loop` needs none of the studies behind it

    build = receiver.build
    chosen = list(build.bands) if band is None else [band_named(build, band)]
    searched = (receiver.at(one).onset for one in chosen)
    return choose(build, searched, rotation=rotation)


def provenance(
    build: Build,
    bench: Bench,
    *,
    before: Counter[tuple[str, str]] | None = None,
    rungs_before: Counter[Rung] | None = None,
) -> Provenance:
    """Return where results on this build come from: digests of build, cards and decks, versions.

    The decks are those that were run on the bench, since it had `before` (its `loaded` then) if given; its
    rungs likewise.
    """
    cards = cards_for(build)
    ran = bench.loaded - (before or Counter())
    rungs = bench.rungs - (rungs_before or Counter())
    return Provenance(
        build=build.sha256,
        decks=tuple(DeckRun(title, digest) for title, digest in sorted(ran)),
        receiver_sim=__version__,
        ngspice=str(bench.ngspice_version),
        cards={card.type: card.sha256 for card in cards.all()},
        rungs={rung.value: rungs[rung] for rung in Rung if rungs[rung]},
    )


def hazards(given: Build, settled: Build) -> tuple[str, ...]:
    """Return what in this very build must be said ahead of any figure."""
    from receiver_sim.judge import heater_verdicts, verdicts  # noqa: PLC0415 - `loop` judges nothing

    heaters = heater_verdicts.judge_heaters(settled, cards_for(settled))
    found = (*verdicts.judge_safety(settled), *verdicts.judge_filter(given, settled), *heaters)
    return verdicts.dangers(found)


def said(setting: Setting) -> tuple[str, ...]:
    """Return the sentence on a setting that is not the working one, as the first of a verb's notes."""
    return () if setting.note is None else (f"{setting.note[0].upper()}{setting.note[1:]}.",)


def restless(found: Unrest | None, rotation: float, figures: str) -> tuple[str, ...]:
    """Return the sentence on audio stages that do not hold still by themselves; figures: what those told are
    then."""
    if found is None:
        return ()
    what = f"a motion at {engineering(found.hertz, 'Hz', 2)}" if found.hertz else "a motion without pitch"
    return (
        f"The audio stages do not hold still with the control at {percent(rotation)}: {what} grows e-fold in "
        f"{engineering(1.0 / found.rate, 's', 2)}. {figures}: `receiver-sim onset` tries what ends it.",
    )
