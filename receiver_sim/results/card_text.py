"""The block that a fit writes into a tube card, and its place there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import yaml

from receiver_sim.results.tubes import FitResult
from receiver_sim.schema.card import FIT_MARK, CardFaults
from receiver_sim.schema.located_yaml import locate

_LEGEND = "# errors are model/print - 1; parameters in A, V and pure numbers, see physics/tube_law.py"


def fit_block(result: FitResult) -> str:
    """Return the text of the card's fit block, mark included."""
    lines = [FIT_MARK, _LEGEND]
    lines += ["fit:", f"  points: {result.points}", "  parameters:"]
    for p in result.parameters:
        value, deviation = _yaml(f"{p.value:.6g}"), _yaml(f"{p.deviation:.4g}")
        lines.append(f"    {p.name}: {{value: {value}, deviation: {deviation}, held_by: {p.held_by}}}")
    lines.append("  correlation:")
    lines += [f"    - [{', '.join(f'{c:.5f}' for c in row)}]" for row in result.correlation]
    lines.append("  residuals:")
    for r in result.residuals:
        lines.append(f"    - {{point: {r.index}, quantity: {r.quantity}, error: {r.error:.4f}}}")
    lines.append("  range:")
    spans = (("plate", result.plate_range), ("screen", result.screen_range), ("grid", result.grid_range))
    for name, span in spans:
        if span is not None:
            lines.append(f"    {name}: [{span[0]:g}, {span[1]:g}]")
    return "\n".join(lines) + "\n"


def _yaml(number: str) -> str:
    """Return a number as the card's narrow YAML reads it: a float needs its point."""
    mantissa, _, exponent = number.partition("e")
    return number if not exponent or "." in mantissa else f"{mantissa}.0e{exponent}"


def with_fit(text: str, result: FitResult) -> str:
    """Return the text of a card with `result` as its only fit; every other line of it stays as it is.

    The fit is found by its key, whatever comments other tools have dropped or moved. Raises ValueError if the
    card's YAML has a form that does not let it be replaced.
    """
    block = fit_block(result)
    fit = _data(block)["fit"]
    before = _data(text)
    try:
        layout = _layout(text)
        placed = _in_flow(text, layout, fit) if layout.flow else _in_block(text, layout, block)
        after = _data(placed)
    except (ValueError, yaml.YAMLError, CardFaults):
        after = None
    if after != {**before, "fit": fit}:
        raise ValueError(
            "its YAML has a form in which the fit can't be put; write the card with a key a line"
        )
    return placed


def _data(text: str) -> dict[str, Any]:
    located = locate(text.encode("utf-8"), "card", faults=CardFaults, what="a tube card")
    if located.faults:
        raise CardFaults(located.faults)
    return dict(located.data)


@dataclass(frozen=True)
class _Layout:
    """Where a text holds its fit: offsets of characters.

    flow: the card is written in braces; column: of its keys; old: from the key 'fit' to the end of its value,
    None if there is none; value: where that value begins; last: end of the card's last value; end: of the
    document.
    """

    flow: bool
    column: int
    old: tuple[int, int] | None
    value: int
    last: int
    end: int


def _layout(text: str) -> _Layout:
    """Read off the places from the events of the YAML parser. Raises ValueError if there is no mapping."""
    depth = key_turn = value = last = 0
    root: Any = None
    start: int | None = None
    old: tuple[int, int] | None = None
    key, column, end = "", None, len(text)
    for event in yaml.parse(text, Loader=yaml.SafeLoader):
        assert event.start_mark is not None and event.end_mark is not None  # text has places
        leaf = isinstance(event, yaml.ScalarEvent | yaml.AliasEvent)
        opens = isinstance(event, yaml.MappingStartEvent | yaml.SequenceStartEvent)
        closes = isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent)
        if isinstance(event, yaml.DocumentEndEvent) and event.explicit:
            end = event.start_mark.index
        if closes:
            depth -= 1
        if depth == 1 and (leaf or opens):
            if key_turn == 0:
                key, start = getattr(event, "value", ""), event.start_mark.index
                column = event.start_mark.column if column is None else column
            else:
                value = event.start_mark.index if key == "fit" else value
        if depth >= 1 and (leaf or (closes and event.end_mark.index > event.start_mark.index)):
            last = event.end_mark.index
        if depth == 1 and (leaf or closes):
            if key_turn == 1 and key == "fit" and start is not None:
                old = (start, last)
            key_turn = 1 - key_turn
        if opens:
            root = event if depth == 0 and root is None else root
            depth += 1
    if not isinstance(root, yaml.MappingStartEvent):
        raise ValueError("no mapping")
    return _Layout(bool(root.flow_style), column or 0, old, value, last, end)


def _in_block(text: str, layout: _Layout, block: str) -> str:
    """Return a card of one key a line with the block at its end and without what was its fit."""
    newline = "\r\n" if "\r\n" in text else "\n"
    head, tail = text[: layout.end], text[layout.end :]
    if layout.old is not None:
        first = text.rfind("\n", 0, layout.old[0]) + 1
        if text[first : layout.old[0]].strip(" \t\ufeff") not in ("", "?"):
            raise ValueError("the key does not begin its line")
        past = layout.old[1]
        if not text[:past].endswith("\n"):  # a block scalar ends at the beginning of the next line already
            past = text.find("\n", past) + 1 or layout.end
        head = text[:first] + text[min(past, layout.end) : layout.end]
    kept = [line for line in head.splitlines(keepends=True) if line.strip() not in (FIT_MARK, _LEGEND)]
    head = "".join(kept).rstrip()
    indented = "".join(" " * layout.column + line + newline for line in block.splitlines())
    return head + newline + newline + indented + tail


def _in_flow(text: str, layout: _Layout, fit: Any) -> str:
    """Return a card in braces with the fit in place of the old one or after its last value."""
    if layout.old is not None:
        return text[: layout.value] + _flow(fit) + text[layout.old[1] :]
    return f"{text[: layout.last]}, fit: {_flow(fit)}{text[layout.last :]}"


def _flow(value: Any) -> str:
    """Return plain data as YAML on one line, which is JSON but for the point of a float."""
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{key}": {_flow(inside)}' for key, inside in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(inside) for inside in value) + "]"
    return f'"{value}"' if isinstance(value, str) else _yaml(repr(value))
