"""What all tests share: one pool of ngspice workers, the two shipped builds and their cards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.schema import Build, load_build

BUILDS = Path(api.__file__).parent.parent / "schema" / "builds"


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
