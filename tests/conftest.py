"""What all tests share: one pool of ngspice workers, the two shipped builds and their cards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.schema import Build, load_build
from tests.helpers import fewer


def _approx(expected: Any, rel: float | None = None, abs: float | None = None, nan_ok: bool = False) -> Any:
    """pytest.approx without its habit of accepting anything within 1e-12 of what is due.

    In SI units that habit lets a picofarad pass for any other, and any current below a picoampere. What may
    be off by an amount of its own says so by `abs`.
    """
    if abs is None:
        rel, abs = 1e-6 if rel is None else rel, 0.0
    return _PYTESTS_APPROX(expected, rel=rel, abs=abs, nan_ok=nan_ok)


_PYTESTS_APPROX = pytest.approx
pytest.approx = _approx  # type: ignore[assignment]

BUILDS = Path(api.__file__).parent.parent / "schema" / "builds"

LONGEST_FIRST = (
    "test_cli.py",
    "test_failing_stages.py",
    "frozen/test_frozen_demo.py",
    "frozen/test_frozen_runs.py",
    "test_notebooks.py",
    "test_broken_workers.py",
    "studies/test_stability.py",
    "studies/test_listening.py",
    "test_failing_writes.py",
    "test_ends.py",
    "frozen/test_frozen_check.py",
    "frozen/test_frozen_bench.py",
    "frozen/test_frozen_others.py",
    "frozen/test_frozen_mains.py",
    "frozen/test_frozen_coils.py",
    "studies/test_tube_fit.py",
    "test_cli_coils.py",
    "test_cli_envelope.py",
    "studies/test_detection.py",
    "studies/test_bursts.py",
    "studies/test_throttle.py",
    "views/test_audio_views.py",
    "circuit/test_tube.py",
    "studies/test_reference_transient.py",
    "studies/test_triode.py",
    "live/test_live_in_browser.py",
    "live/test_live_server.py",
    "views/page/test_bench_in_browser.py",
    "studies/test_rf_stage.py",
    "studies/test_tickler.py",
    "test_fault_finder.py",
    "campaign/test_campaign.py",
    "test_spread.py",
    "studies/test_verdicts.py",
    "studies/test_rectifier.py",
    "faults/test_faults.py",
    "studies/test_swap.py",
    "circuit/test_bounded_sources.py",
    "test_page.py",
    "measure/test_hard_builds.py",
    "schema/test_build.py",
    "views/test_plots.py",
    "views/test_drawing_process.py",
    "studies/test_one_tube.py",
    "test_cli_tubes.py",
    "test_working.py",
    "test_loudness.py",
)
"""Files that take long, longest first: one that begins last leaves the other cores idle at the end."""


def pytest_configure(config: pytest.Config) -> None:
    """Let xdist keep the order of the files: of itself it begins with those of the most tests."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the tests of long files first, each file's in their own order."""
    here = Path(__file__).parent
    places = {here / name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))


@pytest.fixture(scope="session", autouse=True)
def few_sets() -> Iterator[None]:
    """Let `check` draw four sets instead of a hundred, of every eighth part: drawn in full they are half of a
    check, and few tests look at them.
    """
    with fewer.few_sets():
        yield


@pytest.fixture(scope="session", autouse=True)
def few_runs() -> Iterator[None]:
    """Let `audio` and `detect` make fewer runs over time. What looks at the curves asks for the points it
    needs.
    """
    with fewer.few_runs():
        yield


@pytest.fixture(scope="session")
def bench() -> Iterator[Bench]:
    with Bench(workers=2, time_limit_s=120.0) as open_bench:
        yield open_bench


@pytest.fixture(scope="session")
def demo() -> Build:
    return load_build(BUILDS / "demo.yaml")


@pytest.fixture(scope="session")
def cabin() -> Build:
    return load_build(BUILDS / "cabin.yaml")


@pytest.fixture(scope="session")
def wound() -> Build:
    """The build whose coils are told by their windings, with links and a wire aerial."""
    return load_build(BUILDS / "plugin_coils.yaml")


@pytest.fixture(scope="session")
def demo_cards(demo: Build) -> Cards:
    return api.cards_for(demo)


@pytest.fixture(scope="session")
def cabin_cards(cabin: Build) -> Cards:
    return api.cards_for(cabin)
