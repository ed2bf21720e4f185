"""All cases of a file work on the same workers; starting new ones for each takes a third of the time."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.helpers.lending import lending


@pytest.fixture(scope="package", autouse=True)
def lent() -> Iterator[None]:
    with lending():
        yield
