"""The block that a fit writes into a tube card."""

from __future__ import annotations

from receiver_sim.results.tubes import FitResult
from receiver_sim.schema.card import FIT_MARK


def fit_block(result: FitResult) -> str:
    """Return the text of the card's fit block, mark included."""
    lines = [
        FIT_MARK,
        "# errors are model/print - 1; parameters in A, V and pure numbers, see physics/tube_law.py",
    ]
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
