"""A fault of the program while a coil is worked out is told as such, not as one of the build."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim.physics.checks import OutsideFormula
from receiver_sim.schema import BuildFaults, load_build, loading

STARTER = Path(loading.__file__).with_name("builds") / "demo.yaml"


@pytest.mark.parametrize("error", [ValueError, ArithmeticError])
def test_a_fault_within_the_formulas_is_none_of_the_build(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    """Guards against `except ValueError`, which made 'change the geometry' of any slip in the program."""

    def wrong(*_: object) -> None:
        raise error("operands could not be broadcast together")

    monkeypatch.setattr(loading, "filled_in", wrong)
    with pytest.raises(error, match="broadcast") as caught:
        load_build(STARTER)
    assert not isinstance(caught.value, BuildFaults)


def test_a_geometry_outside_a_formula_is_one_of_the_build(monkeypatch: pytest.MonkeyPatch) -> None:
    def outside(*_: object) -> None:
        raise OutsideFormula("length/diameter must be from 0.01 to 100, got 300")

    monkeypatch.setattr(loading, "filled_in", outside)
    with pytest.raises(BuildFaults, match="change the geometry or give measured figures"):
        load_build(STARTER)
