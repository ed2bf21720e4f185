"""`receiver-sim tubes`: the cards, their published points against ngspice, and fits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from receiver_sim.cli.common import (
    JSON,
    OUT,
    STRICT,
    Pool,
    answer,
    bench_for,
    emit_json,
    show,
    simulating,
    writable_folder,
)
from receiver_sim.cli.ends import EXIT_VERDICT
from receiver_sim.errors import NoAnswer, UserError

if TYPE_CHECKING:
    from receiver_sim.schema.card import TubeCard

_TYPES = click.argument("types", nargs=-1, metavar="[TYPE|FILE]...")


@click.group()
def tubes() -> None:
    """Tube cards: list, show, curves, check against print, fit."""


def _cards(types: tuple[str, ...]) -> list[TubeCard]:
    """Return the cards of the named types or files, all shipped ones if none is named."""
    from receiver_sim.schema.card import card_for, card_types, load_card  # inside, for start-up's sake

    return [load_card(name) if _is_file(name) else card_for(name) for name in (types or card_types())]


@tubes.command("list")
@JSON
def list_(as_json: bool) -> None:
    """List the tube types there are cards of."""
    cards = _cards(())
    if as_json:
        emit_json("tubes list", tuple(card.type for card in cards))
        return
    from receiver_sim.views import tube_tables  # inside, for start-up's sake

    show(tube_tables.list_table(cards))


@tubes.command("show")
@click.argument("type_", metavar="TYPE|FILE")
@JSON
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
@STRICT
@simulating
def check(types: tuple[str, ...], as_json: bool, strict: bool, pool: Pool) -> None:
    """Compare every published figure of the cards with ngspice runs of the shipped models."""
    from receiver_sim import api  # inside, for start-up's sake

    cards = _cards(types)
    for card in cards:
        if card.fit is None:
            raise UserError(f"the card of {card.type} holds no fit; run 'receiver-sim tubes fit' on it")
    with bench_for(pool) as bench:
        table = api.check_tubes(cards, bench=bench)
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
@OUT
def fit(names: tuple[str, ...], as_json: bool, only_check: bool, out: Path | None) -> None:
    """Fit the law to the points of a card and write it into the card; all shipped cards if none is named.

    A FILE is a card of your own: the same form as a shipped one (see `tubes show`), with the points measured
    or read. --out draws the error of the fit at every figure.
    """
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.tubes import summary
    from receiver_sim.views import tube_tables

    if out is not None:
        if only_check:
            raise UserError("--out goes with a fit, not with --check")
        writable_folder(out)

    paths = [_path(name) for name in names] or [_path(card.type) for card in _cards(())]
    try:
        if only_check:
            checks = tuple(api.check_fit(path) for path in paths)
            if as_json:
                emit_json("tubes fit --check", checks)
            else:
                show(tube_tables.fit_check_table(checks))
            if not all(c.agrees for c in checks):
                raise SystemExit(EXIT_VERDICT)
            return
        fits = api.fitted_tubes(paths)
    except api.FitRefused as refused:
        raise UserError(str(refused)) from None
    from receiver_sim.views import tube_plots

    results = [one.result for one in fits]
    answer(
        "tubes fit", tuple(summary(result) for result in results), as_json=as_json,
        sheet=lambda: tuple(tube_tables.fit_sheet(one.result, str(one.path)) for one in fits),
        out=out, draw=lambda files, _progress: tube_plots.write_residuals(results, files),
        then=lambda: api.write_fits(fits),
    )  # fmt: skip


def _is_file(name: str) -> bool:
    return Path(name).suffix in (".yaml", ".yml") or "/" in name


def _path(name: str) -> Path:
    """Return the file of a shipped type or of a user's own card."""
    if _is_file(name):
        return Path(name)
    card = _cards((name,))[0]
    if card.path is None:
        raise UserError(f"the card of {name} is not a file")
    return Path(card.path)


@tubes.command("predict")
@_TYPES
@JSON
def predict(types: tuple[str, ...], as_json: bool) -> None:
    """Leave out each published point in turn and predict it from the rest of its card."""
    from receiver_sim import api  # inside, for start-up's sake

    tables = tuple(api.leave_one_out(card) for card in _cards(types))
    if as_json:
        emit_json("tubes predict", tables)
        return
    from receiver_sim.views import tube_tables

    show(tube_tables.leave_one_out_table(tables))


@tubes.command("curves")
@click.argument("type_", metavar="TYPE|FILE")
@OUT
@JSON
@click.option("--triode", is_flag=True, help="Tie the screen of a pentode to its plate.")
@click.option(
    "--plate",
    metavar="VOLTS",
    default="100V",
    show_default=True,
    help="Plate voltage for the curve of gm against screen voltage, grid floating.",
)
@simulating
def curves(type_: str, out: Path | None, as_json: bool, triode: bool, plate: str, pool: Pool) -> None:
    """Compute the curves of a tube with ngspice, its published points drawn on them.

    Plate family, transfer, screen current, and gm against screen voltage with the grid floating at its leak
    as in a detector; what lies outside the published points is marked. --out names the folder for the plots.
    """
    from receiver_sim import api  # inside, for start-up's sake

    volts = _plate_volts(plate)
    card = _cards((type_,))[0]
    if triode and card.kind == "triode":
        raise UserError(f"the {card.type} is a triode as it is; leave --triode out")
    if out is not None:
        writable_folder(out)
    try:
        with bench_for(pool) as bench:
            found = api.curves(card, as_triode=triode, detector_plate_v=volts, bench=bench)
    except NoAnswer as error:
        raise UserError(str(error)) from None
    from receiver_sim.views import tube_plots, tube_tables

    answer(
        "tubes curves", found, as_json=as_json, sheet=lambda: tube_tables.curves_sheet(found), out=out,
        draw=lambda files, _progress: tube_plots.write_curves(found, files),
    )  # fmt: skip


def _plate_volts(text: str) -> float:
    """Read plate volts such as '100V'."""
    from receiver_sim.schema.quantity import VOLTAGE, Quantity  # inside, for start-up's sake

    try:
        return Quantity(VOLTAGE, "1 V", "1 kV", example="100 V").read(text)
    except ValueError as error:
        raise UserError(
            f"--plate {text!r}: expected plate volts from 1V to 1kV, such as 100V; {error}"
        ) from None
