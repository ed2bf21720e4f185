"""Answers of shipped builds are what they were: the group 'bench'. Nothing is said of truth."""

from __future__ import annotations

import pytest

from tests.frozen.holding import hold, of


@pytest.mark.parametrize("case", of("bench"), ids=lambda case: case.name)
def test_nothing_changed_unnoticed(case) -> None:
    hold(case)
