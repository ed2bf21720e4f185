"""Public functions about tube cards: check them against print, fit them, predict points from the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from receiver_sim import outputs
from receiver_sim.design import tube_fit
from receiver_sim.design.tube_fit import FitRefused
from receiver_sim.engine import Bench
from receiver_sim.results.tube_curves import TubeCurves
from receiver_sim.results.tubes import FitCheck, FitResult, LeaveOneOut, TubeTable
from receiver_sim.schema.card import TubeCard, card_for, card_types, load_card
from receiver_sim.studies import tube_check, tube_curves
from receiver_sim.studies.tube_curves import DETECTOR_PLATE_V

__all__ = [
    "FitRefused",
    "FittedCard",
    "card_for",
    "card_types",
    "check_fit",
    "check_tubes",
    "curves",
    "fit_tube",
    "fit_tubes",
    "fitted_tubes",
    "leave_one_out",
    "load_card",
    "write_fits",
]


def check_tubes(cards: Sequence[TubeCard], *, bench: Bench | None = None) -> TubeTable:
    """Compare every published figure of the cards with ngspice runs of their models. Raises EngineError."""
    if bench is not None:
        return tube_check.run(cards, bench)
    with Bench() as own:
        return tube_check.run(cards, own)


def fit_tube(path: str | Path) -> FitResult:
    """Fit the card at `path` and write the fit into it, whole or not at all.

    Raises CardFaults, FitRefused, OutputFailed.
    """
    return fit_tubes([path])[0]


def fit_tubes(paths: Sequence[str | Path]) -> tuple[FitResult, ...]:
    """Fit the cards at `paths` and write each its fit; none is written if one of them is refused.

    Raises CardFaults, FitRefused, OutputFailed.
    """
    found = fitted_tubes(paths)
    write_fits(found)
    return tuple(one.result for one in found)


@dataclass(frozen=True)
class FittedCard:
    """A fit that is not yet in its card: the card's file, what was found, the card's text with it."""

    path: Path
    result: FitResult
    text: str


def fitted_tubes(paths: Sequence[str | Path]) -> tuple[FittedCard, ...]:
    """Fit the cards at `paths` and write nothing. Raises CardFaults, FitRefused."""
    return tuple(FittedCard(Path(path), *tube_fit.fitted(path)) for path in paths)


def write_fits(cards: Sequence[FittedCard]) -> None:
    """Write cards with their fits, each whole or not at all. Raises OutputFailed."""
    for card in cards:
        outputs.write(card.path, card.text.encode("utf-8"))


def check_fit(path: str | Path) -> FitCheck:
    """Return whether the card at `path` holds what the fit gives. Raises CardFaults, FitRefused."""
    return tube_fit.check_fit(path)


def leave_one_out(card: TubeCard) -> LeaveOneOut:
    """Predict each point of a card from the others. Raises FitRefused."""
    return tube_fit.leave_one_out(card)


def curves(
    card: TubeCard,
    *,
    as_triode: bool = False,
    detector_plate_v: float = DETECTOR_PLATE_V,
    bench: Bench | None = None,
) -> TubeCurves:
    """Compute the curves of a card by ngspice, with its published points beside them.

    as_triode: the screen of a pentode tied to its plate. detector_plate_v: plate volts of the line of gm
    against screen volts at the floating grid. Raises ValueError for a card without a fit, EngineError.
    """
    connection = "triode" if as_triode else None
    if bench is not None:
        return tube_curves.run(card, bench, connection=connection, detector_plate_v=detector_plate_v)
    with Bench() as own:
        return tube_curves.run(card, own, connection=connection, detector_plate_v=detector_plate_v)
