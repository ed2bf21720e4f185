"""What fails must fail: nothing left from an earlier circuit, no value made up, the deck kept."""

import math
import os
import re
import signal
import time

import pytest

from receiver_sim import outputs
from receiver_sim.engine import (
    Bench,
    Deck,
    DeckRefused,
    EngineFailed,
    EngineLost,
    EngineMissing,
    EngineTimeout,
    NoSolution,
)
from receiver_sim.errors import OutputFailed

GOOD = Deck("good", "V1 in 0 dc 12\nR1 in out 3.3k\nR2 out 0 1.8k\n")
GOOD_OUT = 12 * 1.8 / 5.1
# Its drive needs some 1e12 time points: far beyond any limit here, whatever the machine.
ENDLESS = Deck("endless", "V1 a 0 sin(0 1 1e9)\nR1 a b 1k\nC1 b 0 1p\n")

FAILING = {
    "unknown subcircuit": ("R1 in 0 1k\nX1 in out nosuch\n", "unknown subckt: x1 in out nosuch"),
    "too few nodes": (
        "R1 in 0 1\nX1 in s\n.subckt s 1 2\nR1 1 2 1\n.ends\n",
        "Too few parameters for subcircuit",
    ),
    "unknown model": ("V1 in 0 1\nD1 in 0 nomod\n", "can't find model 'nomod'"),
    "unknown model parameter": ("V1 in 0 1\nD1 in 0 m\n.model m d(zzz=3)\n", "unrecognized parameter (zzz)"),
    "resistor of a word": ("V1 in 0 1\nR1 in 0 abc\n", "unknown parameter (abc)"),
    "resistor with keyword only": (
        "V1 in 0 1\nR1 in 0 tc=1\n",
        "r1: resistance to",
    ),  # "to low" in 39, "too low" in 44
    "undefined parameter": ("V1 in 0 1\nR1 in 0 {missing}\n", "Undefined parameter [missing]"),
    "element twice": ("V1 in 0 1\nR1 in 0 1k\nR1 in 0 2k\n", "device already exists"),
    "unknown function": ("V1 in 0 1\nR1 in b 1k\nB1 b 0 i=foo(v(b))\n", "no such function 'foo'"),
    "initial condition nowhere": ("V1 in 0 1\nR1 in 0 1k\n.ic v(zz)=1\n", "IC on non-existent node"),
    "coupling of nothing": (
        "V1 in 0 1\nR1 in 0 1k\nK1 l1 l2 0.5\n",
        "k1: coupling to non-exist",
    ),  # spelt so or right
    "sources in parallel": ("V1 in 0 1\nV2 in 0 2\nR1 in 0 1k\n", "singular matrix:  check node v1#branch"),
    "floating node": ("V1 in 0 1\nC1 in b 1u\nC2 b 0 1u\nR1 in 0 1\n", "singular matrix:  check node b"),
    "no operating point": ("V1 in 0 1\nR1 in b 1k\nB1 b 0 i=ln(v(b)-5)\n", "out of range for ln"),
}


@pytest.mark.parametrize(("text", "reason"), FAILING.values(), ids=FAILING.keys())
def test_failed_deck_then_good_deck(bench, text, reason):
    """Guards against ngspice handing back the previous circuit's vectors, or a value under a mere warning."""
    with bench.session(GOOD) as session:
        assert session.op()["out"] == pytest.approx([GOOD_OUT])
    # no tera-ohm that would hold a floating node
    with pytest.raises(EngineFailed) as caught, bench.session(Deck("bad one", text), climb=False) as session:
        session.op()
    assert reason in str(caught.value)
    assert caught.value.deck_path.read_text().startswith("bad one\n")
    with bench.session(GOOD) as session:
        assert session.op()["out"] == pytest.approx([GOOD_OUT])


def test_no_convergence_is_told_in_ngspice_words(bench):
    """At b resistor and source take the same current at any voltage but for 1 A: there is no solution."""
    deck = Deck("no balance", "V1 a 0 dc 1\nR1 a b 1k\nB1 b 0 i = 1 + (1-v(b))*1m\nC1 b 0 1p\n")
    with pytest.raises(EngineFailed) as caught, bench.session(deck) as session:
        session.op()
    assert "singular matrix:  check node b" in str(caught.value)
    assert any("gmin" in line for line in caught.value.messages)


def test_step_that_shrinks_to_nothing(bench):
    """dv/dt = v^2 from v(0) = 1 runs to infinity at t = 1 s: no step is small enough, and ngspice says so."""
    deck = Deck("blow-up", "C1 a 0 1 ic=1\nB1 0 a i=v(a)*v(a)\nR1 a 0 1g\n.options reltol=1e-4\n")
    with (
        pytest.raises(EngineFailed, match=r"[Tt]imestep too small") as caught,
        bench.session(deck) as session,
    ):
        session.tran(1e-3, 2.0, uic=True)
    assert "tran simulation(s) aborted" in " ".join(caught.value.messages)


def test_search_for_an_operating_point_that_succeeds_is_no_failure(bench):
    """ngspice 39 steps gmin here, in vain, and prints dozens of lines on stderr (PySpice would raise)."""
    deck = Deck("steps", "I1 0 a dc 1\nB1 a 0 i=1e-14*(exp(min(v(a)*40,80))-1)\nR1 a 0 1meg\n")
    with bench.session(deck) as session:
        op = session.op()
    assert op.messages == ()
    # Diode law; the resistor's 1e-6 A is nothing to it. ngspice stops at its default reltol of 1e-3.
    assert op["a"] == pytest.approx([25e-3 * math.log(1 + 1 / 1e-14)], rel=1e-3)


def test_absurd_numbers_are_a_failure(bench):
    """ngspice 39 takes this for an operating point: 1 A in, 5.8e76 A out at the same node."""
    deck = Deck("absurd", "I1 0 a dc 1\nB1 a m i=1e-14*(exp(v(a)/25m)-1)\nVm m 0 0\nR1 a 0 1meg\n")
    told = r"'vm#branch' holds numbers that are not finite or beyond 1e\+30"
    with bench.session(deck) as session, pytest.raises(EngineFailed, match=told):
        session.op()


def test_failure_in_the_middle_ends_the_session(bench):
    with bench.session(GOOD) as session:
        session.op()
        session.alter("rnone", 1.0)
        with pytest.raises(
            EngineFailed, match=r"^simulation failed: 'op': Error: no such device or model name rnone"
        ):
            session.op()
        with pytest.raises(
            NoSolution, match=r"^this session is over \(an earlier step failed\); open another$"
        ):
            session.op()


def test_what_may_be_passed_over_as_without_a_solution() -> None:
    """Drawn sets and faults pass over what has none; a lost worker would count as such a set, once."""
    assert issubclass(EngineFailed, NoSolution) and issubclass(EngineTimeout, NoSolution)
    assert not any(issubclass(one, NoSolution) for one in (EngineLost, EngineMissing, DeckRefused))


def test_unknown_sweep_source(bench):
    with (
        bench.session(GOOD) as session,
        pytest.raises(EngineFailed, match=r"named .vq. is not in the circuit"),
    ):
        session.dc("VQ", 0, 1, 0.5)


def test_kept_deck_holds_commands_and_answer(tmp_path):
    folder = tmp_path / "kept"
    with Bench(1, keep_failed=folder) as bench, bench.session(GOOD) as session:
        session.alter("r1", 2.2e3)
        session.op()
        session.alter("rnone", 5.0)
        with pytest.raises(EngineFailed) as caught:
            session.ac(1e3, 2e3, 3)
    assert [path.name for path in folder.iterdir()] == [f"good-{GOOD.sha256[:12]}-1.cir"]
    assert caught.value.deck_path.parent == folder
    text = caught.value.deck_path.read_text()
    assert text.startswith(GOOD.netlist().removesuffix(".end\n"))
    assert text.endswith("\n.end\n")
    commands = re.findall(r"^\*   (.*)$", text, re.MULTILINE)
    assert commands[:4] == ["alter r1 = 2200.0", "op", "alter rnone = 5.0", "ac lin 3 1000.0 2000.0"]
    assert "Error: no such device or model name rnone" in commands
    assert str(caught.value).endswith(f"; the deck is kept in {caught.value.deck_path}")
    Deck("kept", "\n".join(text.splitlines()[1:-1]))  # and is itself a deck that passes the guard


def test_kept_in_a_fresh_folder_by_default():
    with Bench(1) as bench, pytest.raises(EngineFailed) as caught, bench.session(Deck("b", "X1 a 0 none")):
        pass
    path = caught.value.deck_path
    assert path.is_file() and path.parent.name.startswith("receiver_sim-failed-")
    path.unlink()
    path.parent.rmdir()


def test_time_limit_ends_and_replaces_the_worker(tmp_path):
    with Bench(1, time_limit_s=1.0, keep_failed=tmp_path) as bench:
        started = time.monotonic()
        with pytest.raises(EngineTimeout) as caught, bench.session(ENDLESS) as session:
            pid = session.worker.pid
            session.tran(1e-12, 1.0, vectors=["b"])
        # Limit, a tenth of it for the look-out, and a generous share for start-up on a busy machine.
        assert 1.0 <= time.monotonic() - started < 10
        assert str(caught.value) == (
            "'tran 1e-12 1.0 0.0' took longer than the limit of 1 s and was stopped; the deck is kept in "
            f"{caught.value.deck_path}"
        )
        assert not _runs(pid)
        with bench.session(GOOD) as session:
            assert session.worker.pid != pid
            assert session.op()["out"] == pytest.approx([GOOD_OUT])


def test_crash_is_told_apart_from_no_solution_and_the_worker_is_replaced(tmp_path):
    with Bench(1, keep_failed=tmp_path) as bench:
        with bench.session(GOOD) as session:
            session.op()
            pid = session.worker.pid
            os.kill(pid, signal.SIGTERM)
            with pytest.raises(EngineLost, match=r"the ngspice process ended with code -?\d+ during 'op'"):
                session.op()
        assert not _runs(pid)
        with bench.session(GOOD) as session:
            assert session.op()["out"] == pytest.approx([GOOD_OUT])


def test_worker_that_dies_between_sessions_is_not_noticed(bench):
    with bench.session(GOOD) as session:
        session.op()
        pid = session.worker.pid
    os.kill(pid, signal.SIGTERM)
    time.sleep(0.2)
    with bench.session(GOOD) as session:
        assert session.op()["out"] == pytest.approx([GOOD_OUT])


def test_memory_of_a_worker_does_not_grow_with_evaluations():
    """Plots are destroyed after reading: 400 runs of 20 000 values each would otherwise hold some 100 MB."""
    if not os.path.isdir("/proc"):
        pytest.skip("resident memory is read from /proc")
    deck = Deck("big", "V1 a 0 dc 1 ac 1\nR1 a b 1k\nC1 b 0 1n\n")
    with Bench(1) as bench, bench.session(deck) as session:
        for _ in range(50):
            session.ac(1, 1e6, 5000)
        before = _resident_kb(session.worker.pid)
        for _ in range(400):
            session.ac(1, 1e6, 5000)
        assert _resident_kb(session.worker.pid) - before < 10_000


def _resident_kb(pid):
    with open(f"/proc/{pid}/status") as status:
        return int(re.search(r"VmRSS:\s+(\d+) kB", status.read())[1])


def _runs(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


BAD = Deck("bad one", "X1 a 0 nosuch")


def _fail(bench):
    with pytest.raises(EngineFailed) as caught, bench.session(BAD):
        pass
    return caught.value


def test_kept_decks_that_nothing_names_go(tmp_path):
    """A search that failed and was made good in another way left its deck, which no message named."""
    with Bench(1, keep_failed=tmp_path / "failed") as bench:
        told, passed_over = str(_fail(bench)), _fail(bench)
        assert len(bench.kept) == 2
        bench.forget_unnamed(f"audio: {told}")
        assert not passed_over.deck_path.exists()
        (left,) = bench.kept
        assert str(left) in told and os.listdir(left.parent) == [left.name]
        bench.forget_unnamed("")
    assert bench.kept == () and os.listdir(tmp_path) == []


def test_a_deck_is_kept_elsewhere_where_its_folder_cannot_be_written_to(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    (tmp_path / "file").write_text("in the way")
    with Bench(1, keep_failed=tmp_path / "file" / "failed") as bench:
        error = _fail(bench)
    assert error.deck_path.parent.name.startswith("receiver_sim-failed-")
    assert error.deck_path.read_text().startswith("bad one\n")
    assert str(error).endswith(f"; the deck is kept in {error.deck_path}")


def test_a_deck_that_cannot_be_kept_at_all_hides_no_failure(tmp_path, monkeypatch):
    """An OSError took the place of what had failed."""

    def full(path, content):
        raise OutputFailed(path, OSError(28, "No space left on device"))

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(outputs, "write", full)
    with Bench(1, keep_failed=tmp_path / "failed") as bench:
        error = _fail(bench)
    assert error.deck_path is None and bench.kept == ()
    assert re.search(
        r"nosuch; its deck could not be kept: \S+ could not be written: No space left on device$", str(error)
    )
    assert os.listdir(tmp_path) == []
