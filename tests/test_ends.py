"""How a call ends: exit codes, standard streams that fail, faults of the program, plots that fail."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import guide, outputs
from receiver_sim.cli import ends as cli_ends
from receiver_sim.cli.ends import EXIT_CODES
from receiver_sim.errors import ReceiverSimError
from receiver_sim.views import envelope_plots
from tests.helpers.lending import lending
from tests.test_cli import COMMAND, DEMO, Answer, call

ROOT = Path(__file__).parents[1]
LOOP = ("loop", DEMO, "--band", "40 m", "--workers", "1")

posix = pytest.mark.skipif(os.name != "posix", reason="as on POSIX systems")


@pytest.fixture(scope="module", autouse=True)
def workers() -> Iterator[None]:
    """All calls of this file in this process hand their idle workers on to the next."""
    with lending():
        yield


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder as the working directory, and one for what is temporary."""
    (tmp_path / "tmp").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "tmp"))
    monkeypatch.setattr("tempfile.tempdir", None)
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "here"


def run(*args: str | Path, **how: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *map(str, args)], text=True, check=False, timeout=300, **how)  # type: ignore[call-overload]


# ---------------------------------------------------------------------------- the table of codes


def test_the_guide_states_the_exit_codes_of_the_program() -> None:
    text = guide.page("files")
    rows = re.findall(r"^\| (\d+) \| (.+) \|$", text.split("Exit codes, for scripts")[1], flags=re.MULTILINE)
    assert {int(code): meaning for code, meaning in rows} == EXIT_CODES
    assert sorted(EXIT_CODES) == [0, 1, 2, 3, 4, 70, 130]
    assert {v for k, v in vars(cli_ends).items() if k.startswith("EXIT_") and isinstance(v, int)} == set(
        EXIT_CODES
    ) - {0}


def test_no_exit_code_but_those_of_the_table() -> None:
    """A number beside `sys.exit`, `SystemExit` or `_exit` in the command line's modules."""
    found = [
        f"{path.name}: {line.strip()}"
        for path in (ROOT / "receiver_sim" / "cli").glob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        if re.search(r"(SystemExit|exit)\(\d", line)
    ]
    assert found == []


def test_every_error_raised_on_purpose_has_one_base() -> None:
    from receiver_sim.design.tube_fit import FitRefused
    from receiver_sim.engine import EngineError
    from receiver_sim.errors import NoAnswer, OutputFailed, UserError
    from receiver_sim.schema import BuildFaults
    from receiver_sim.schema.card import CardFaults

    ours = (EngineError, NoAnswer, OutputFailed, UserError, BuildFaults, CardFaults, FitRefused)
    assert all(issubclass(kind, ReceiverSimError) for kind in ours)


# ---------------------------------------------------------------------------- standard streams


@posix
def test_closed_standard_output_is_told(here: Path) -> None:
    """It gave an AttributeError; and a file opened later would have got its number and the page."""
    done = run(*LOOP, "--out", "plots", stderr=subprocess.PIPE, preexec_fn=lambda: os.close(1))
    assert done.stderr == "receiver-sim: standard output could not be written: it is closed\n"
    assert done.returncode == 4
    assert json.loads((here / "plots" / "loop.json").read_bytes())["verb"] == "loop"


@posix
@pytest.mark.parametrize("args", [(*LOOP, "--json"), ("deck", DEMO), ("tubes", "list"), ("--help",)])
def test_full_standard_output_is_told(here: Path, args: tuple[str, ...]) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    with Path("/dev/full").open("w") as full:
        done = run(*args, stdout=full, stderr=subprocess.PIPE)
    words = "receiver-sim: standard output could not be written: No space left on device\n"
    assert (done.returncode, done.stderr) == (4, words)


@posix
def test_a_reader_that_stops_early_is_no_news_and_the_files_are_written(here: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    done = run(*LOOP, "--out", "plots", stdout=write, stderr=subprocess.PIPE)
    os.close(write)
    assert (done.returncode, done.stderr) == (4, "")
    assert (here / "plots" / "loop.json").exists()


@posix
def test_closed_or_full_standard_error_changes_no_code(here: Path) -> None:
    (here / "faulty.yaml").write_text("bands: 3\n")
    assert run("check", "faulty.yaml", preexec_fn=lambda: os.close(2)).returncode == 2
    assert run("chekc", preexec_fn=lambda: os.close(2)).returncode == 2
    with Path("/dev/full").open("w") as full:
        assert run("check", "faulty.yaml", stderr=full).returncode == 2
        done = run("deck", DEMO, "-o", "a.cir", stdout=subprocess.PIPE, stderr=full)
    assert done.returncode == 0 and (here / "a.cir").exists()


def test_breaking_off_has_its_code(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from receiver_sim import api

    def broken(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(api, "loop", broken)
    answer = call(*LOOP)
    assert (answer.code, answer.out, answer.err.strip()) == (130, "", "receiver-sim: broken off")


@posix
def test_a_folder_at_hand_that_is_gone(here: Path) -> None:
    """It ended in a FileNotFoundError for a relative name; a whole one can be written to all the same."""
    gone = here / "gone"
    for out, code in (("plots", 4), (str(here / "plots"), 0)):
        gone.mkdir()
        done = run(*LOOP, "--out", out, cwd=gone, preexec_fn=gone.rmdir, capture_output=True)
        assert done.returncode == code and "Selectivity" in done.stdout, done.stderr
    assert (here / "plots" / "loop.json").exists()


# ---------------------------------------------------------------------------- faults of the program


def faulty(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    """Let something deep within the search for an onset go wrong as no one foresaw."""
    from receiver_sim.measure import onset

    def wrong(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(onset, "search", wrong)


def words(answer: Answer) -> str:
    return " ".join(answer.err.split())


@pytest.mark.parametrize("verb", ["loop", "check", "coils", "onset", "supply", "detect"])
@pytest.mark.parametrize(
    "error",
    [np.linalg.LinAlgError("Singular matrix"), ValueError("operands could not be broadcast together")],
)
def test_a_fault_of_the_program_is_told_as_one(
    here: Path, monkeypatch: pytest.MonkeyPatch, verb: str, error: Exception
) -> None:
    """A singular matrix was printed as bad input, a shape error as 'FAILED onset'."""
    faulty(monkeypatch, error)
    answer = call(verb, DEMO)
    assert answer.code == 70
    told = re.search(
        rf"receiver-sim: a fault of the program, not of your build: {type(error).__name__}: {error}"
        r"( \(in onset on .* and \d+ more stages\))?; please pass on the report in (\S+) together "
        r"with the build",
        words(answer),
    )
    assert told is not None, answer.err
    # however many searches it ended, one report
    assert words(answer).count("please pass on") == 1
    assert bool(told[1]) == (verb in ("loop", "check"))
    report = Path(told[2]).read_text(encoding="utf-8")
    assert (
        f"receiver-sim {shlex.join([verb, DEMO])}\n" in report
        and "Traceback" in report
        and "onset.py" in report
    )


def test_a_fault_without_room_for_a_report(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    faulty(monkeypatch, np.linalg.LinAlgError("Singular matrix"))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outputs, "write", full)
    answer = call(*LOOP)
    assert answer.code == 70
    assert words(answer).endswith(
        "LinAlgError: Singular matrix (in onset on 40 m at 7 MHz and 2 more stages); no report could be "
        "kept, so set RECEIVER_SIM_TRACEBACK=1, run it again and pass on what is printed"
    )


def test_the_traceback_for_whoever_wants_it(here: Path) -> None:
    code = (
        "from receiver_sim.measure import onset\n"
        "def search(*_, **__): raise RuntimeError('unforeseen')\n"
        "onset.search = search\n"
        "from receiver_sim.cli import main\n"
        f"main({list(LOOP)!r})\n"
    )
    env = {**os.environ, "RECEIVER_SIM_TRACEBACK": "1"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=False)
    assert done.returncode == 70
    assert "Traceback" in done.stderr and "RuntimeError: unforeseen" in done.stderr


# ---------------------------------------------------------------------------- plots


def test_a_plot_that_fails_loses_neither_page_nor_the_other_files(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from receiver_sim.views import plots

    def wrong(*_: object, **__: object) -> None:
        raise RuntimeError("no such font")

    monkeypatch.setattr(plots, "plot_control", wrong)
    answer = call(*LOOP, "--out", "plots")
    assert answer.code == 70
    assert "Selectivity" in answer.out and "written to plots: loop.json" in answer.out
    assert "RuntimeError: no such font" in words(answer)
    written = {path.name for path in (here / "plots").iterdir()}
    assert {"loop.json", "loop-gain.png", "selectivity.svg"} <= written and "control.png" not in written


@posix
def test_a_matplotlibrc_is_not_obeyed(here: Path) -> None:
    """With text.usetex the plot step ran a program, ended in a traceback and lost the page."""
    settings = (
        "text.usetex: True\nfigure.facecolor: red\nlines.linewidth: 30\nfont.size: 40\nsavefig.dpi: 3\n"
    )
    spoilt, broken = here / "spoilt", here / "broken"
    for place in (spoilt, broken):
        place.mkdir()
    (spoilt / "matplotlibrc").write_text(settings)
    (broken / "matplotlibrc").write_bytes(b"\xff\xfe\x00")
    tools = here / "tools"
    tools.mkdir()
    for name in ("latex", "dvipng", "kpsewhich"):
        (tools / name).write_text(f"#!/bin/sh\ntouch {here}/ran\nexit 1\n")
        (tools / name).chmod(0o755)
    env = {**os.environ, "PATH": f"{tools}{os.pathsep}{os.environ['PATH']}"}
    named = {**env, "MATPLOTLIBRC": str(spoilt / "matplotlibrc")}
    for place, more in ((spoilt, env), (broken, env), (here, named)):
        done = run(*LOOP, "--out", "plots", cwd=place, env=more, capture_output=True)
        assert (done.returncode, done.stderr) == (0, ""), place
    assert not (here / "ran").exists()
    pictures = {
        place: {path.name: path.read_bytes() for path in (place / "plots").glob("*.???")}
        for place in (spoilt, broken, here)
    }
    # a file that can't be read sets nothing, so like it are pictures without any settings
    assert len(pictures[broken]) == 10
    assert pictures[spoilt] == pictures[broken] == pictures[here]


def test_bands_of_like_names_keep_their_plots(here: Path) -> None:
    """'40 m' and '40-m' overwrote each other's plots in `onset --out`."""
    from dataclasses import replace

    from receiver_sim import api
    from receiver_sim.schema import load_build

    build = load_build(DEMO)
    found = api.onset(build, bands=["40 m"], modes=False)
    (one,) = found.bands
    two = replace(one, oscillation=replace(one.oscillation, band="40-m"))
    paths = envelope_plots.write_onset(replace(found, bands=(one, two)), here)
    assert sorted(path.name for path in paths if path.suffix == ".png") == [
        "amplitude-40-m-2.png",
        "amplitude-40-m.png",
    ]


# ---------------------------------------------------------------------------- kept decks


def failing_on_the_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let `loop` try a deck that fails before it finds what it is asked for."""
    from receiver_sim import api
    from receiver_sim.engine import Bench, Deck, EngineFailed

    real = api.loop

    def loop(*args: object, bench: Bench, **more: object) -> object:
        with pytest.raises(EngineFailed), bench.session(Deck("tried first", "X1 a 0 nosuch")):
            pass
        assert len(bench.kept) == 1
        return real(*args, bench=bench, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(api, "loop", loop)


def test_a_deck_that_no_message_names_is_not_kept(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Decks lay in 'failed' after an exit code of 0."""
    failing_on_the_way(monkeypatch)
    for more in ((), ("--json",), ("--out", "plots")):
        assert call(*LOOP, *more).code == 0
    assert list(here.parent.rglob("*.cir")) == []
    assert list((here.parent / "tmp").iterdir()) == []


def test_a_verb_that_fails_keeps_the_deck_it_names_only(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from receiver_sim import api

    failing_on_the_way(monkeypatch)
    tried = api.loop

    def loop(*args: object, **more: object) -> object:
        tried(*args, **more)  # type: ignore[arg-type]
        with more["bench"].session(api.Deck("the culprit", "X1 a 0 nosuch")):  # type: ignore[attr-defined]
            raise AssertionError

    monkeypatch.setattr(api, "loop", loop)
    answer = call(*LOOP)
    assert answer.code == 3
    (kept,) = here.parent.rglob("*.cir")
    assert kept.name.startswith("the-culprit-") and str(kept) in words(answer)


def test_the_end_of_a_call_is_not_spent_on_looking_for_dead_objects() -> None:
    """Guards against 0.2 s of the processor at the end of every call, within Python's own clearing up."""
    script = (
        "import atexit, gc\n"
        "atexit.register(lambda: print(gc.get_freeze_count()))\n"  # the first registered is the last to run
        "from receiver_sim.cli import main\n"
        "main(['--version'])\n"
    )
    said = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    assert int(said.stdout.split()[-1]) > 10_000
