"""A slice of the campaign in tests/mutated.py, whose head says how to run all of it."""

from __future__ import annotations

import random

import pytest

from tests import mutated


@pytest.mark.parametrize("kind", ["build", "card"])
def test_mutated_files_get_an_answer_or_a_sentence(kind: str) -> None:
    outcomes = list(mutated.campaign(kind, {"build": 150, "card": 25}[kind], seed=20))
    assert [f"{one.number}: {one.wrong}" for one in outcomes if one.wrong is not None] == []
    # both ends are met, or the mutations are no test
    assert {0, 2} <= {one.code for one in outcomes}


def test_the_mutations_change_something_and_can_be_repeated() -> None:
    text = mutated.BUILDS[0].read_text(encoding="utf-8")
    raw = text.encode()
    some = [mutated.mutated(text, random.Random(n)) for n in range(200)]
    assert some == [mutated.mutated(text, random.Random(n)) for n in range(200)]
    # a line may be swapped with its like
    assert sum(one != raw for one in some) > 190 and len(set(some)) > 190


def test_a_fault_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The campaign's own check can fail: on a traceback, on a slow file, on a card cut short."""
    assert mutated._wrong(0, (0, 2), "Traceback (most recent call last)", 0.1) == "a traceback"
    assert mutated._wrong(0, (0, 2), "", 2.5) == "2.50 s"
    assert mutated._wrong(70, (0, 2), "receiver-sim: a fault", 0.1) == "exit code 70: receiver-sim: a fault"
    assert mutated._wrong(2, (0, 2), " ", 0.1) == "exit code 2 without a word"

    def call(*args: object) -> tuple[int, str, str, float]:
        path = args[-1]
        path.write_bytes(path.read_bytes()[:100])  # type: ignore[attr-defined]
        return 2, "", "refused", 0.1

    monkeypatch.setattr(mutated, "call", call)
    (one,) = mutated.campaign("card", 1, seed=20)
    assert one.wrong == "a refused card that was changed"
