"""Gathers the figures of the benchmarks and prints them as one table at the end of a run that timed them."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

Tell = Callable[[str, str, str], None]
_ROWS = pytest.StashKey[list[tuple[str, str, str]]]()


@pytest.fixture(autouse=True)
def _alone(bench: object) -> Iterator[None]:
    """Start the shared pool of workers before anything is timed."""
    yield


@pytest.fixture
def timed(request: pytest.FixtureRequest) -> bool:
    """Whether this run measures times; in the normal test run each benchmark runs once, untimed."""
    return not request.config.getoption("benchmark_disable") or bool(
        request.config.getoption("benchmark_enable")
    )


@pytest.fixture
def tell(request: pytest.FixtureRequest) -> Tell:
    """Take a row of the table: what, figure, limit ('' for none)."""
    rows = request.config.stash.setdefault(_ROWS, [])
    return lambda what, figure, limit: rows.append((what, figure, limit))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    rows = config.stash.get(_ROWS, [])
    if rows:
        terminalreporter.section("ratios (of one run, on one machine)")
        widths = [max(len(row[i]) for row in rows) for i in range(2)]
        for what, figure, limit in rows:
            terminalreporter.write_line(f"{what:<{widths[0]}}  {figure:>{widths[1]}}  {limit}".rstrip())
