"""Gathers the figures of the benchmarks and prints them as one table at the end of a run that timed them."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from receiver_sim.api import _sure

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


FULL = {name: getattr(_sure, name) for name in ("SETS", "STRENGTHS", "factors_of")}


@pytest.fixture
def all_sets(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let `check` draw all its sets of all parts, as from the shell; the other tests make do with fewer."""
    for name, value in FULL.items():
        monkeypatch.setattr(_sure, name, value)
