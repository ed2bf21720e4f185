"""`spread` from the build to the figures: known answers, the same for any executor, stopped and resumed."""

from __future__ import annotations

import dataclasses
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import binomtest

from receiver_sim import Receiver, api
from receiver_sim.api import _sets
from receiver_sim.api._sets import Kept, close_own, run_sets
from receiver_sim.api._spread import effects, plan_for
from receiver_sim.circuit.factors import factors_of
from receiver_sim.circuit.sets import SetPlan, draws
from receiver_sim.errors import UnknownName, UserError
from receiver_sim.results.base import Status
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Build, changed_build, load_build_text
from receiver_sim.studies import spread
from tests.conftest import BUILDS

N = 44
"""Two whole blocks and a part of one."""


@pytest.fixture(scope="module")
def one_band() -> Build:
    """The demo with its 40 m coil alone: one onset a set."""
    return read_one_band()


def read_one_band() -> Build:
    text = (BUILDS / "demo.yaml").read_text(encoding="utf-8")
    head, bands = text.split("bands:\n")
    forty = bands[bands.index("  - name: 40 m") : bands.index("  - name: 30 m")]
    return load_build_text(f"{head}bands:\n{forty}")


@pytest.fixture(scope="module")
def plan(one_band: Build, bench: api.Bench) -> SetPlan:
    return plan_for(one_band, bench, seed=5)


@pytest.fixture(scope="module")
def rows(plan: SetPlan) -> Iterator[list[tuple[SetOnset, ...]]]:
    yield run_sets(plan, count=N, workers=1, kept=Kept(None))
    close_own()


def test_two_workers_give_the_same_bits(plan: SetPlan, rows: list[tuple[SetOnset, ...]]) -> None:
    assert run_sets(plan, count=N, workers=2, kept=Kept(None)) == rows


def test_processes_are_held_from_run_to_run(plan: SetPlan, rows: list[tuple[SetOnset, ...]]) -> None:
    """The second run finds those of the first, and none is left."""
    from joblib.externals.loky import reusable_executor

    with _sets.processes_held():
        first = run_sets(plan, count=2 * _sets.BLOCK, workers=2, kept=Kept(None))
        running = set(reusable_executor._executor._processes)
        assert running and first == rows[: 2 * _sets.BLOCK]
        assert run_sets(plan, count=2 * _sets.BLOCK, workers=2, kept=Kept(None)) == first
        assert set(reusable_executor._executor._processes) == running
    left = reusable_executor._executor
    assert left is None or not left._processes


def test_a_cluster_of_two_processes_gives_the_same_bits(
    plan: SetPlan, rows: list[tuple[SetOnset, ...]]
) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address
        found = run_sets(plan, count=N, workers=1, kept=Kept(None), cluster=address)
    assert found == rows


def test_a_cluster_that_is_not_there(plan: SetPlan, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(_sets, "REACH_S", 0.5)
    with pytest.raises(UserError, match=r"^--cluster tcp://127\.0\.0\.1:1: no scheduler answers there"):
        run_sets(plan, count=1, workers=1, kept=Kept(None), cluster="tcp://127.0.0.1:1")


def test_what_is_kept_is_taken_over(plan: SetPlan, rows: list[tuple[SetOnset, ...]], tmp_path: Path) -> None:
    """A third is there; the rest is run, and no set twice."""
    kept = Kept(tmp_path / "so-far.json")
    kept.add(plan.key, dict(enumerate(rows[: N // 3])), now=True)
    told: list[int] = []
    again = run_sets(
        plan,
        count=N,
        workers=1,
        kept=Kept(tmp_path / "so-far.json"),
        progress=lambda _what, done, _total: told.append(done),
    )
    close_own()
    assert told[0] == N // 3 and again == rows
    other = dataclasses.replace(plan, seed=6)
    assert Kept(tmp_path / "so-far.json").rows(other.key) == {}
    (tmp_path / "so-far.json").write_text("{", encoding="utf-8")
    assert Kept(tmp_path / "so-far.json").rows(plan.key) == {}


SCRIPT = """
import sys, time
from pathlib import Path
from receiver_sim.api import _sets
from receiver_sim.api._spread import plan_for
from receiver_sim.engine import Bench
from tests.test_spread import only, read_one_band

_sets.EVERY_S = 0.0
slowly = float(sys.argv[2])
with Bench(workers=1) as bench:
    plan = only(plan_for(read_one_band(), bench, seed=9), "detector.tube#emission", "mains")
rows = _sets.run_sets(
    plan, count=100, workers=1, kept=_sets.Kept(Path(sys.argv[1])), progress=lambda *_: time.sleep(slowly)
)
print(rows)
"""
"""A run of a hundred sets in a process of its own; it can be made slow enough to be killed in time."""


def run_of(folder: Path, *, slowly: float) -> list[str]:
    return [sys.executable, "-c", SCRIPT, str(folder / "so-far.json"), str(slowly)]


def test_killed_at_a_third_and_resumed(bench: api.Bench, tmp_path: Path) -> None:
    """The whole process is killed, as by a power cut; the same run then goes on and ends alike."""
    (tmp_path / "broken").mkdir()
    there: dict[str, Any] = {
        "cwd": Path(__file__).parents[1],
        "env": {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    }
    plan = only(plan_for(read_one_band(), bench, seed=9), "detector.tube#emission", "mains")
    whole = run_sets(plan, count=100, workers=1, kept=Kept(None))
    close_own()
    broken = subprocess.Popen(
        run_of(tmp_path / "broken", slowly=1.0),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        **there,
    )
    kept = tmp_path / "broken" / "so-far.json"
    while broken.poll() is None and done_in(kept) < 40:
        time.sleep(0.02)
    assert broken.poll() is None, broken.communicate()
    os.killpg(broken.pid, signal.SIGKILL)
    broken.communicate()
    assert 40 <= done_in(kept) < 100
    again = subprocess.run(
        run_of(tmp_path / "broken", slowly=0.0), capture_output=True, text=True, check=True, **there
    )
    assert again.stdout.strip() == repr(whole) and again.stdout.count("SetOnset") == 100


def done_in(kept: Path) -> int:
    try:
        runs = json.loads(kept.read_text(encoding="utf-8"))["runs"]
    except (OSError, ValueError):
        return 0
    return max((len(rows) for rows in runs.values()), default=0)


# ---------------------------------------------------------------------------- known answers


def test_yield_with_a_known_answer(one_band: Build, bench: api.Bench) -> None:
    """All parts exact but one: onset is monotonic in it, so the share of sets below a limit is known.

    Of the resistor above the control, even within 30 %, those sets have their onset above the limit whose
    resistor lies above the one with which the onset stands at the limit: a quarter of them, by the choice of
    the limit.
    """
    build = changed_build(one_band, {"regeneration.top": "27 kohm +-30 %"})
    plan = plan_for(build, bench, seed=2)
    plan = only(plan, "regeneration.top")
    limit = api.loop(changed_build(one_band, {"regeneration.top": 27e3 * 1.15}), bench=bench)[0].middle.onset
    assert limit is not None
    found = run_sets(plan, count=200, workers=1, kept=Kept(None))
    close_own()
    below = sum(row[0].rotation is not None and row[0].rotation < limit.rotation for row in found)
    held = spread.held("40 m", "below", below, len(found))
    assert held.share_low <= 0.75 <= held.share_high
    # and set by set: the drawn resistor says on which side the onset lies
    top = draws(plan.factors, seed=2, start=0, stop=200)[:, 0]
    for u, row in zip(top, found, strict=True):
        if abs(u - 0.75) > 0.005:
            assert (row[0].rotation < limit.rotation) == (u < 0.75)


def only(plan: SetPlan, *names: str) -> SetPlan:
    return dataclasses.replace(plan, factors=tuple(f for f in plan.factors if f.name in names))


def test_interval_of_wilson() -> None:
    """Against scipy's own, at the ends as well."""
    for count in (0, 1, 37, 50):
        interval = binomtest(count, 50).proportion_ci(0.95, method="wilson")
        found = spread.held("a", "b", count, 50)
        assert found.share == count / 50
        assert (found.share_low, found.share_high) == pytest.approx((interval.low, interval.high), abs=1e-12)


def test_shares_of_variance_against_one_part_at_a_time(one_band: Build, bench: api.Bench) -> None:
    """Near-linear: a few parts of 3 %. The squares of the moves of single parts are the shares then.

    The random balance design errs by some (2 M/n)^(1/2) of a share's root: 0.06 with 10 harmonics of 400
    sets is beyond three deviations (Tissot and Prieur 2012).
    """
    parts = {
        "regeneration.top": "27 kohm 3 %",
        "regeneration.pot": "47 kohm 3 %",
        "bands[0].coil.q": "150 3 %",
        "bands[0].coil.tap": "3.84 % 3 %",
        "detector.grid_leak": "2.7 Mohm 3 %",
    }
    build = changed_build(one_band, parts)
    plan = only(plan_for(build, bench, seed=4), *parts)
    moves = [row[0] for row in effects(bench, plan)]
    squares = np.array([m * m for m in moves if m is not None])
    rows = run_sets(plan, count=400, workers=1, kept=Kept(None))
    close_own()
    column = [row[0] for row in rows]
    drawn = draws(plan.factors, seed=4, start=0, stop=400)
    found = {s.key: s.share for s in spread.variance_shares("40 m", plan.factors, drawn, column, moves)}
    for factor, square in zip(plan.factors, squares, strict=True):
        assert found.get(factor.key, 0.0) == pytest.approx(square / squares.sum(), abs=0.06)
    # variance itself: the sum of the squares
    scatter = np.var([one.rotation for one in column])
    assert scatter == pytest.approx(squares.sum(), rel=0.2)


def test_measured_values_narrow_the_onset(one_band: Build) -> None:
    with Receiver(one_band, workers=1) as receiver:
        found = receiver.spread(40, measured=["detector.tube", "bands[0].coil.coupling"])
    before, after = found.before.bands[0], found.after.bands[0]  # type: ignore[union-attr]
    assert found.after is not None and found.after.measured == ("detector.tube", "bands[0].coil.coupling")
    assert np.std(after.rotation) < 0.9 * np.std(before.rotation)
    assert before.sets == before.oscillating + before.silent + before.always + before.failed == 40
    assert before.knob_low is not None and before.knob_middle is not None
    # percentiles by counting
    assert np.mean(before.rotation < before.knob_low) == pytest.approx(0.1, abs=0.02)
    assert np.mean(before.rotation < before.knob_middle) == pytest.approx(0.5, abs=0.02)
    assert found.before.whole.rule == "all" and found.before.whole.of == 40


def test_what_the_build_says_is_measured_counts_in_the_second_column_alone(one_band: Build) -> None:
    build = changed_build(one_band, {"detector.grid_leak": "2.7 Mohm measured"})
    with Receiver(build, workers=1) as receiver:
        found = receiver.spread(20)
    assert found.before.measured == () and found.after is not None
    assert found.after.measured == ("detector.grid_leak",)
    assert found.gain is None


def test_an_unknown_part(one_band: Build, bench: api.Bench) -> None:
    with pytest.raises(UnknownName, match=r"^'detector.valve' is no part whose spread counts; there are "):
        plan_for(one_band, bench, measured=["detector.valve"])


def test_states_are_counted_apart() -> None:
    onsets = [
        SetOnset(Status.OSCILLATES, 0.4, 20.0, 3.0, 15.0, 7e6),
        SetOnset(Status.DOES_NOT),
        SetOnset(Status.NOT_IN_RANGE),
        SetOnset(Status.NOT_IN_RANGE),
        SetOnset(Status.FAILED),
    ]
    found = spread.band_spread("40 m", onsets)
    assert (found.sets, found.oscillating, found.silent, found.always, found.failed) == (5, 1, 1, 2, 1)
    assert found.knob_middle == pytest.approx(0.4) and found.approach_middle_deg == pytest.approx(15.0)


def test_factors_of_all_shipped_builds(bench: api.Bench) -> None:
    for name in api.shipped_builds():
        given = api.shipped_build(name)
        least = 60 if given.audio is not None else 45  # an audio stage has some fifteen parts
        assert len(factors_of(given, api.settle(given, bench), api.cards_for(given))) > least


def test_any_verdict_can_be_asked(one_band: Build, bench: api.Bench) -> None:
    """Of four sets: what the studies say of each as a build of its own."""
    with Receiver(one_band, workers=1) as receiver:
        found = receiver.spread(4, asked=["rating", "coil_q_min", "dial_spread_max"], measured=["mains"])
    asked = {(one.subject, one.rule): one for one in found.before.held}
    assert ("40 m", "dial_spread_max") in asked and any(rule == "coil_q" for _, rule in asked)
    tubes = {subject for subject, rule in asked if rule == "rating"}
    assert {"detector 6SJ7", "audio 6C5"} <= tubes
    assert all(one.of == 4 for one in asked.values())
    assert found.before.whole.held <= min(one.held for one in found.before.held)
    with pytest.raises(
        UnknownName, match=r"^'loud' is no verdict that can be asked of sets; there are onset, "
    ):
        api.spread_of_sets(one_band, sets=1, asked=["loud"], bench=bench)


def test_the_verdicts_that_can_be_asked_are_those_of_the_guide() -> None:
    """All that the guide's page lists, but for those that no part can move."""
    from receiver_sim.api import _asked
    from receiver_sim.guide import page

    rows = [
        line.split("|")[1].strip(" `") for line in page("verdicts").splitlines() if line.startswith("| `")
    ]
    left = {"discharge", "filament_tap", "filament_bias", "filament_hum"}
    assert set(rows) - left <= set(_asked.KNOWN)
