"""`receiver-sim tubes`: the cards, their published points against ngspice, and fits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from receiver_sim.cli_common import EXIT_VERDICT, JSON, UserError, emit_json, guarded, show

if TYPE_CHECKING:
    from receiver_sim.schema.card import TubeCard

_TYPES = click.argument("types", nargs=-1, metavar="[TYPE]...")


@click.group()
def tubes() -> None:
    """Tube cards: list, show, check against published points, fit."""


def _cards(types: tuple[str, ...]) -> list[TubeCard]:
    """Return the cards of the named types, all of them if none is named."""
    from receiver_sim.schema.card import card_for, card_types  # inside, for start-up's sake

    try:
        return [card_for(name) for name in (types or card_types())]
    except KeyError as error:
        raise UserError(str(error.args[0])) from None


@tubes.command("list")
@JSON
@guarded
def list_(as_json: bool) -> None:
    """List the tube types there are cards of."""
    cards = _cards(())
    if as_json:
        emit_json("tubes list", tuple(card.type for card in cards))
        return
    from receiver_sim.views import tube_tables  # inside, for start-up's sake

    show(tube_tables.list_table(cards))


@tubes.command("show")
@click.argument("type_", metavar="TYPE")
@JSON
@guarded
def show_(type_: str, as_json: bool) -> None:
    """Print one card: pins, ratings, published points with their sources, the fitted law."""
    card = _cards((type_,))[0]
    if as_json:
        emit_json("tubes show", card.model_dump(mode="json", exclude={"path"}))
        return
    from receiver_sim.views import tube_tables  # inside, for start-up's sake

    show(tube_tables.card_sheet(card))


@tubes.command("check")
@_TYPES
@JSON
@click.option("--strict", is_flag=True, help="Exit with 1 when a published figure is missed.")
@guarded
def check(types: tuple[str, ...], as_json: bool, strict: bool) -> None:
    """Compare every published figure of the cards with ngspice runs of the shipped models."""
    from receiver_sim import api_tubes  # inside, for start-up's sake

    table = api_tubes.check_tubes(_cards(types))
    if as_json:
        emit_json("tubes check", table)
    else:
        from receiver_sim.views import tube_tables

        show(tube_tables.check_table(table))
    if strict and table.failures():
        raise SystemExit(EXIT_VERDICT)


@tubes.command("fit")
@click.argument("names", nargs=-1, metavar="[TYPE|FILE]...")
@JSON
@click.option(
    "--check", "only_check", is_flag=True, help="Write nothing; exit with 1 if a card differs from its fit."
)
@guarded
def fit(names: tuple[str, ...], as_json: bool, only_check: bool) -> None:
    """Fit the law to the points of a card and write it into the card; all shipped cards if none is named.

    A FILE is a card of your own: the same form as a shipped one (see `tubes show`), with the points measured
    or read.
    """
    from receiver_sim import api_tubes  # inside, for start-up's sake
    from receiver_sim.results.tubes import summary
    from receiver_sim.views import tube_tables

    paths = [_path(name) for name in names] or [_path(card.type) for card in _cards(())]
    try:
        if only_check:
            checks = tuple(api_tubes.check_fit(path) for path in paths)
            if as_json:
                emit_json("tubes fit --check", checks)
            else:
                show(tube_tables.fit_check_table(checks))
            if not all(c.agrees for c in checks):
                raise SystemExit(EXIT_VERDICT)
            return
        results = tuple(api_tubes.fit_tube(path) for path in paths)
    except api_tubes.FitRefused as refused:
        raise UserError(str(refused)) from None
    if as_json:
        emit_json("tubes fit", tuple(summary(result) for result in results))
        return
    for result, path in zip(results, paths, strict=True):
        show(tube_tables.fit_sheet(result, str(path)))


def _path(name: str) -> Path:
    """Return the file of a shipped type or of a user's own card."""
    if Path(name).suffix in (".yaml", ".yml") or "/" in name:
        return Path(name)
    card = _cards((name,))[0]
    if card.path is None:
        raise UserError(f"the card of {name} is not a file")
    return Path(card.path)


@tubes.command("predict")
@_TYPES
@JSON
@guarded
def predict(types: tuple[str, ...], as_json: bool) -> None:
    """Leave out each published point in turn and predict it from the rest of its card."""
    from receiver_sim import api_tubes  # inside, for start-up's sake

    tables = tuple(api_tubes.leave_one_out(card) for card in _cards(types))
    if as_json:
        emit_json("tubes predict", tables)
        return
    from receiver_sim.views import tube_tables

    show(tube_tables.leave_one_out_table(tables))
