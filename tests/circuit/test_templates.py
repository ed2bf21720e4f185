"""Templates are strict, and nothing but numbers and node names gets into a deck."""

from pathlib import Path

import pytest

from receiver_sim.circuit.templates import TemplateFault, render


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "one.cir").write_text("Rone {{ node }} 0 {{ value }}\n", encoding="utf-8")
    return tmp_path


def test_values_are_written_with_twelve_digits(folder: Path) -> None:
    assert render(folder, "one.cir", {"node": "a1", "value": 1 / 3}) == "Rone a1 0 0.333333333333"


def test_a_missing_parameter_fails(folder: Path) -> None:
    with pytest.raises(TemplateFault, match=r"missing parameters \['value'\], unused parameters \[\]"):
        render(folder, "one.cir", {"node": "a1"})


def test_an_unused_parameter_fails(folder: Path) -> None:
    with pytest.raises(TemplateFault, match=r"unused parameters \['other'\]"):
        render(folder, "one.cir", {"node": "a1", "value": 1.0, "other": 2.0})


@pytest.mark.parametrize(
    "bad",
    [
        "1k",
        "a b",
        "a\n.control",
        ".include",
        "$(date)",
        "`id`",
        "A1",
        "",
        float("nan"),
        float("inf"),
        True,
        None,
    ],
)
def test_anything_else_than_numbers_and_plain_names_is_refused(folder: Path, bad: object) -> None:
    with pytest.raises(TemplateFault):
        render(folder, "one.cir", {"node": bad, "value": 1.0})
