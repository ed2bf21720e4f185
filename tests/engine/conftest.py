"""Benches shared by the engine's tests."""

import pytest

from receiver_sim.engine import Bench


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with Bench(workers=1, time_limit_s=30, keep_failed=tmp_path_factory.mktemp("failed")) as shared:
        yield shared
