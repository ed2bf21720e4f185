"""Which exit code each way of ending has, and what is said with it, on a program of one verb that fails."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from receiver_sim.cli import common
from receiver_sim.cli.ends import Faults, Program, StageFault, tell_lost
from receiver_sim.engine import EngineError, EngineFailed, Rung
from receiver_sim.engine.errors import DeckRefused, EngineLost, EngineMissing, EngineTimeout
from receiver_sim.errors import NoAnswer, NoOnset, OutputFailed, UnknownName, UserError, WrongValue
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.base import FailedStage
from receiver_sim.results.tubes import FitCheck, PointError, TubeTable
from receiver_sim.schema import BuildFaults, Fault
from tests.helpers.filling import filled
from tests.test_cli import COMMAND, DEMO, Answer, call


def ended(work: Callable[[], object], *words: str) -> Answer:
    """Run a program whose one verb does some work; return what it printed and its exit code."""

    @click.group(cls=Program)
    def program() -> None:
        pass

    @program.command("verb")
    @click.argument("rest", nargs=-1)
    def verb(rest: tuple[str, ...]) -> None:
        work()

    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as end
    ):  # fmt: skip
        program.main(["verb", *words], prog_name="receiver-sim")
    assert isinstance(end.value.code, int)
    return Answer(end.value.code, out.getvalue(), err.getvalue())


def raising(error: BaseException) -> Callable[[], None]:
    def work() -> None:
        raise error

    return work


FAULTS = BuildFaults([Fault("a.yaml", 3, "bands", "a list"), Fault("a.yaml", 4, "mains", "a frequency")])

ENDS = {
    "done": (None, 0),
    "a value out of range": (WrongValue("year must be 1929 or later"), 2),
    "an unknown name": (UnknownName("no band '41 m'"), 2),
    "what can't be done as asked": (UserError("leave --out out"), 2),
    "faults of a build": (FAULTS, 2),
    "a question without an answer": (NoAnswer("no resonance within the dial"), 3),
    "no onset": (NoOnset("no band has an onset"), 3),
    "no solution": (EngineFailed("no convergence"), 3),
    "past the time limit": (EngineTimeout(1.5, "op"), 3),
    "a lost worker": (EngineLost("it is gone"), 3),
    "no ngspice": (EngineMissing("it was not found"), 3),
    "a refused deck": (DeckRefused("no"), 3),
    "another failure of the engine": (EngineError("this bench is closed"), 3),
    "an output that fails": (OutputFailed("plots", "it is full"), 4),
    "broken off": (KeyboardInterrupt(), 130),
    "broken off at a question": (click.Abort(), 130),
}
"""What is raised, and the code as the guide's table has it: 2 bad input, 3 a simulation failed, 4 an output
could not be written, 130 Ctrl-C."""


@pytest.mark.parametrize("what", ENDS)
def test_each_reason_has_the_code_of_the_table_and_is_said_on_standard_error(what: str) -> None:
    error, code = ENDS[what]
    answer = ended(raising(error) if error is not None else lambda: None)
    assert (answer.code, answer.out) == (code, "")
    said = " ".join(answer.err.split())
    if error is None:
        assert said == ""
    elif error is FAULTS:
        # a line each, without the program's name, so that editors find the place
        assert answer.err.splitlines() == [str(fault) for fault in FAULTS.faults] and len(FAULTS.faults) == 2
    elif code == 130:
        assert said == "receiver-sim: broken off"
    else:
        assert said == f"receiver-sim: {error}"


def test_a_call_that_click_refuses_is_bad_input() -> None:
    answer = ended(raising(click.UsageError("no such option: --nothing")))
    assert answer.code == 2 and "no such option: --nothing" in answer.err


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF])
def test_a_stream_that_fails_without_a_name_is_a_lost_output(number: int) -> None:
    """As click's own, which names no file: a full or closed standard output."""
    answer = ended(raising(OSError(number, "it failed")))
    assert answer.code == 4
    assert answer.err == "receiver-sim: standard output could not be written: it failed\n"


@pytest.mark.parametrize(
    ("where", "number", "told"),
    [
        ("standard output", errno.EPIPE, ""),
        ("standard output", errno.ENOSPC, "receiver-sim: standard output could not be written: it failed\n"),
        ("plots/pipe", errno.EPIPE, "receiver-sim: plots/pipe could not be written: it failed\n"),
    ],
)
def test_a_reader_of_standard_output_that_has_seen_enough_is_told_nothing(
    capsys: pytest.CaptureFixture[str], where: str, number: int, told: str
) -> None:
    tell_lost(OutputFailed(where, OSError(number, "it failed")))
    assert capsys.readouterr() == ("", told)


def test_a_reader_that_stops_early_is_told_nothing_but_the_code() -> None:
    """Regression: click itself ended with 1 then, the code of a verdict that is BAD."""
    cut = OSError(errno.EPIPE, "Broken pipe")
    own, other = (ended(raising(OutputFailed(where, cut))) for where in ("standard output", "plots/pipe"))
    assert (own.code, own.err) == (4, "")
    assert (other.code, other.err) == (4, "receiver-sim: plots/pipe could not be written: Broken pipe\n")
    bare = ended(raising(cut))  # as click raises it while it prints help
    assert (bare.code, bare.err) == (4, "")


def test_a_caller_of_its_own_is_given_the_error_of_the_pipe() -> None:
    @click.command(cls=Program, invoke_without_command=True)
    def program() -> None:
        raise cut

    cut = OSError(errno.EPIPE, "Broken pipe")
    with pytest.raises(BrokenPipeError) as raised:
        program.main([], prog_name="receiver-sim", standalone_mode=False)
    assert raised.value is cut


@pytest.mark.skipif(os.name != "posix", reason="as on POSIX systems")
@pytest.mark.parametrize("words", [("--help",), ("check", "--help"), ("tubes", "list", "--json")])
def test_the_program_itself_ends_so_where_nobody_reads(words: tuple[str, ...]) -> None:
    """The first is printed while click reads the call, the others while a verb works."""
    read, write = os.pipe()
    os.close(read)
    try:
        done = subprocess.run(
            [*COMMAND, *words], stdout=write, stderr=subprocess.PIPE, text=True, check=False, timeout=300
        )
    finally:
        os.close(write)
    assert (done.returncode, done.stderr) == (4, "")


def test_a_file_that_was_named_and_can_not_be_read_is_bad_input_another_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    named = ended(raising(PermissionError(errno.EACCES, "Permission denied", "mine.yaml")), "mine.yaml")
    assert (named.code, named.err) == (2, "receiver-sim: mine.yaml: Permission denied\n")
    assert list(tmp_path.iterdir()) == []
    other = ended(raising(PermissionError(errno.EACCES, "Permission denied", "theirs.yaml")), "mine.yaml")
    assert other.code == 70 and "a fault of the program" in other.err
    (report,) = tmp_path.rglob("report.txt")
    assert "receiver-sim verb mine.yaml" in report.read_text(encoding="utf-8")


def test_every_fault_of_a_verb_is_told_with_its_stages(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    one = StageFault(["hum"], "ValueError: shapes", "  in hum\n")
    two = StageFault(["audio", "noise", "coils"], "KeyError: 'x'", "  in audio\n")
    answer = ended(raising(Faults([one, two])))
    said = " ".join(answer.err.split())
    assert answer.code == 70 and said.count("please pass on the report in") == 2
    assert "ValueError: shapes (in hum);" in said and "KeyError: 'x' (in audio and 2 more stages);" in said


# ---------------------------------------------------------------------------- of several reasons one code


FAILED = (FailedStage("hum", "no solution", None),)
FAULTY = (FailedStage("hum", "a fault of the program", None, fault="Traceback of hum"),)
BAD, DOUBTFUL = (
    Verdict("40 m", "onset", grade, None, None, "", "why") for grade in (Grade.BAD, Grade.DOUBTFUL)
)


@pytest.mark.parametrize(
    ("failed", "lost", "strict", "code"),
    [
        ((), False, (), 0), ((), False, (DOUBTFUL,), 0), ((), False, (DOUBTFUL, BAD), 1),
        ((), True, (BAD,), 4), (FAILED, True, (BAD,), 3), (FAILED, False, (), 3), ((), True, (), 4),
        ((*FAILED, *FAULTY), True, (BAD,), 70),
    ],
)  # fmt: skip
def test_of_several_reasons_the_first_counts_and_all_are_printed(
    failed: tuple[FailedStage, ...], lost: bool, strict: tuple[Verdict, ...], code: int, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """70, 3, 4, 1, as the guide says."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    def then() -> None:
        if lost:
            raise OutputFailed("card.yaml", "it is full")

    answer = ended(
        lambda: common.answer("verb", None, as_json=False, sheet=lambda: "a page", then=then, failed=failed,
                              strict=strict)
    )  # fmt: skip
    assert answer.code == code and answer.out.strip() == "a page"
    said = " ".join(answer.err.split())
    assert ("card.yaml could not be written: it is full" in said) is lost
    assert ("receiver-sim: hum: no solution" in said) is (FAILED[0] in failed)
    assert ("a fault of the program (in hum)" in said) is (FAULTY[0] in failed)


# ---------------------------------------------------------------------------- how points were found


class Served:
    """A bench that has made some analyses."""

    def __init__(self, **rungs: int) -> None:
        self.rungs = {rung: rungs.get(rung.name, 0) for rung in Rung}


def test_a_page_says_which_analyses_needed_more_than_newtons_method() -> None:
    """Wider tolerances alone may change a figure."""
    plain = common._solutions(Served(NEWTON=7))  # type: ignore[arg-type]
    stepped = common._solutions(Served(NEWTON=7, SMALL_STEPS=2, GMIN=3))  # type: ignore[arg-type]
    wider = common._solutions(Served(NEWTON=7, WIDER=1))  # type: ignore[arg-type]
    assert plain == ""
    assert " ".join(stepped.split()) == (
        "Analyses by how their operating points were found: 7 by Newton's method, 3 by gmin stepping, 2 by "
        "small steps from another setting."
    )
    assert " ".join(wider.split()).endswith(
        "1 by tolerances ten times as wide. Figures that rest on wider tolerances may be off in their last "
        "digits."
    )


# ---------------------------------------------------------------------------- cards against print


@pytest.mark.parametrize(
    ("differences", "code"),
    [(((), ()), 0), ((("mu_plate",), ()), 1), (((), ("knee",)), 1), ((("a",), ("b",)), 1)],
)
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_one_card_that_differs_from_its_fit_fails_the_check(
    monkeypatch: pytest.MonkeyPatch,
    differences: tuple[tuple[str, ...], ...],
    code: int,
    form: tuple[str, ...],
) -> None:
    from receiver_sim import api

    checks = {kind: FitCheck(kind, off) for kind, off in zip(("6J5", "6C5"), differences, strict=True)}
    monkeypatch.setattr(api, "check_fit", lambda path: checks[Path(path).stem])
    answer = call("tubes", "fit", "--check", *form, "6J5", "6C5")
    assert (answer.code, answer.err) == (code, "")
    assert "6J5" in answer.out and "6C5" in answer.out


@pytest.mark.parametrize(("error", "strict", "code"), [(0.049, True, 0), (0.051, True, 1), (0.051, False, 0)])
def test_a_published_figure_that_is_missed_fails_a_strict_check(
    monkeypatch: pytest.MonkeyPatch, error: float, strict: bool, code: int
) -> None:
    from receiver_sim import api

    row = filled(PointError, type="6J5", quantity="gm", limit=0.05, gated=True, error=error)
    monkeypatch.setattr(api, "check_tubes", lambda *_, **__: TubeTable((row,), 1.0, 4))
    answer = call("tubes", "check", "6J5", *(("--strict",) if strict else ()))
    assert (answer.code, answer.err) == (code, "")


@pytest.mark.parametrize("verb", ["loop", "coils"])
def test_a_question_without_an_answer_is_no_bad_input(monkeypatch: pytest.MonkeyPatch, verb: str) -> None:
    from receiver_sim import api

    monkeypatch.setattr(api, verb, lambda *_, **__: raising(NoAnswer("no resonance within the dial"))())
    answer = call(verb, DEMO)
    assert (answer.code, answer.err) == (3, "receiver-sim: no resonance within the dial\n")
