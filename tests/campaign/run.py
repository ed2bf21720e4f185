"""Runs drawn builds through check, onset, detect and listen, and keeps what fails.

    python -m tests.campaign --seed 7 --builds 500 --keep kept

Every build has to be answered with exit code 0 by each verb, with a JSON document free of NaN and of figures
that cannot be, each verb within 60 s. A build that is not stands in the folder --keep as YAML, its reasons in
comments at its head. Builds run in a fresh process, some at a time (--fresh), so that nothing piles up. The
exit code is 0 if none failed, else 1.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from receiver_sim.schema import BuildFaults, load_build
from tests.campaign import draw, judge

LIMIT_S = 60.0
"""Longest time a verb may take."""

REDRAWS = 40
VERBS = ("check", "onset", "detect", "listen")
ROOT = Path(__file__).parents[2]


@dataclass
class Outcome:
    """What became of one build: seconds and reasons for failure by verb, the states of its bands, and how
    often each rung of the ladder served."""

    seed: int
    number: int
    seconds: dict[str, float] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    states: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    rungs: Counter[str] = field(default_factory=Counter)
    refused: int = 0


def drawn(seed: int, number: int, path: Path) -> tuple[dict[str, Any], int]:
    """Write the build of that number to `path`; return it and how many draws `check` would refuse.

    A refused draw (a wire too long for the band, a coil that cannot be wound) is drawn anew.
    """
    for attempt in range(REDRAWS):
        data = draw.build(seed, number + 1_000_000 * attempt)
        path.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), encoding="utf-8")
        try:
            load_build(path)
        except BuildFaults:
            continue
        return data, attempt
    raise RuntimeError(f"{REDRAWS} draws in a row were refused, the last in {path}")


def arguments(verb: str, path: Path, band: str, out: Path, *, aerial: bool) -> list[str]:
    """Return the command line of a verb on a build; without an aerial the set is listened to alone."""
    # a busy machine stretches the clock: the time is judged by the processor's
    common = ["--json", "--time-limit", "600s"]
    if verb == "check":
        return [verb, str(path), "--no-plots", "--out", str(out / "checked"), *common]
    if verb == "onset":
        return [verb, str(path), *common]
    if verb == "detect":
        return [verb, str(path), "--band", band, *common]
    signals = ["--morse", "100uV@800Hz:E", "--am", "1mV@3kHz"] if aerial else ["--no-signal"]
    sound = ["--seconds", "300ms", "-o", str(out / "heard.wav")]
    return [verb, str(path), "--band", band, *signals, *sound, *common]


def run_one(seed: int, number: int, verbs: tuple[str, ...], folder: Path) -> Outcome:
    """Draw a build and run the verbs on it."""
    outcome = Outcome(seed, number)
    path = folder / f"seed{seed}-build{number}.yaml"
    data, outcome.refused = drawn(seed, number, path)
    build = load_build(path)
    # a band with an onset where there is one, else the first
    band = data["bands"][0]["name"]
    for verb in sorted(verbs, key=VERBS.index):
        if verb == "detect" and "aerial" not in data:
            continue  # nothing to be sensitive to
        began = time.perf_counter(), _processor_s()
        code, text, said = _command(arguments(verb, path, band, folder, aerial="aerial" in data))
        # of the two the one that a busy machine stretches less: two workers run side by side
        outcome.seconds[verb] = min(time.perf_counter() - began[0], _processor_s() - began[1])
        reasons, document = _judged(code, text, said)
        if document is not None:
            reasons += judge.absurd(document, build)
            outcome.rungs.update(document["provenance"]["rungs"])
            if verb == "onset":
                states = [b["oscillation"] for b in document["result"]["bands"]]
                outcome.states = [s["status"] for s in states]
                outcome.notes += [w for s in states for w in s["warnings"]]
                band = next((s["band"] for s in states if s["onset"] is not None), band)
        if outcome.seconds[verb] > LIMIT_S:
            reasons.append(f"took {outcome.seconds[verb]:.0f} s")
        outcome.reasons += [f"{verb}: {reason}" for reason in reasons]
    return outcome


def _processor_s() -> float:
    """Return the processor time of this process and of those it has ended, s."""
    spent = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in spent)


def _command(words: list[str]) -> tuple[int, str, str]:
    """Run a command of the program in this process; return exit code, output and error output."""
    from click.testing import CliRunner

    from receiver_sim.cli import main

    result = CliRunner().invoke(main, words)
    said = result.stderr
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        said += f" {result.exception!r}"
    return result.exit_code, result.stdout, said


def _judged(code: int, text: str, said: str) -> tuple[list[str], dict[str, Any] | None]:
    """Return reasons for failure and the document, if there is one."""
    if code != 0:
        return [f"exit code {code}: {' '.join(said.split())}"], None
    try:
        return judge.bad_constants(text), json.loads(text)
    except json.JSONDecodeError as error:
        return [f"no JSON: {error}"], None


def keep(outcome: Outcome, folder: Path, keeping: Path) -> Path:
    """Copy a failed build to the folder of failures, its reasons at its head."""
    keeping.mkdir(parents=True, exist_ok=True)
    name = f"seed{outcome.seed}-build{outcome.number}.yaml"
    head = "".join(f"# {reason}\n" for reason in outcome.reasons)
    target = keeping / name
    target.write_text(head + (folder / name).read_text(encoding="utf-8"), encoding="utf-8")
    return target


def _child(seed: int, numbers: list[int], verbs: tuple[str, ...], keeping: Path) -> None:
    """Run builds in this process, and print one JSON line for each."""
    with tempfile.TemporaryDirectory(prefix="campaign-") as scratch:
        folder = Path(scratch)
        for number in numbers:
            outcome = run_one(seed, number, verbs, folder)
            if outcome.reasons:
                keep(outcome, folder, keeping)
            print(json.dumps(outcome.__dict__), flush=True)


def main(argv: list[str] | None = None) -> int:
    """Run the campaign; see the module."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--builds", type=int, default=20, help="how many")
    parser.add_argument("--from", dest="first", type=int, default=0, help="number of the first")
    parser.add_argument("--keep", type=Path, default=Path("campaign-failed"), help="folder for failed builds")
    parser.add_argument("--verbs", default=",".join(VERBS), help="some of them, parted by commas")
    parser.add_argument("--fresh", type=int, default=10, help="builds to a process")
    parser.add_argument("--one-process", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args(argv)
    verbs = tuple(given.verbs.split(","))
    numbers = list(range(given.first, given.first + given.builds))
    if given.one_process:
        _child(given.seed, numbers, verbs, given.keep)
        return 0
    outcomes: list[dict[str, Any]] = []
    for start in range(0, len(numbers), given.fresh):
        some = numbers[start : start + given.fresh]
        words = [sys.executable, "-m", "tests.campaign", "--one-process", "--seed", str(given.seed)]
        words += ["--from", str(some[0]), "--builds", str(len(some)), "--verbs", given.verbs]
        words += ["--keep", str(given.keep)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=ROOT) as child:
            assert child.stdout is not None
            for line in child.stdout:
                outcomes.append(json.loads(line))
                print(_line(outcomes[-1]), flush=True)
        if child.returncode:
            print(f"the process of builds {some[0]} to {some[-1]} ended with {child.returncode}", flush=True)
            return 1
    return _summary(outcomes)


def _line(outcome: dict[str, Any]) -> str:
    seconds = " ".join(f"{verb} {took:.1f}" for verb, took in outcome["seconds"].items())
    mark = "FAILED" if outcome["reasons"] else "ok"
    beyond = {rung: count for rung, count in outcome["rungs"].items() if rung not in _USUAL}
    seconds += f" s; {beyond}" if beyond else " s"
    told = "".join(f"\n    {reason[:400]}" for reason in outcome["reasons"])
    return f"{outcome['number']:5d} {mark:6s} {'/'.join(outcome['states'])} ({seconds}){told}"


_USUAL = ("Newton's method", "gmin stepping", "source stepping")
"""Rungs that ngspice has of its own."""


def _summary(outcomes: list[dict[str, Any]]) -> int:
    failed = [o for o in outcomes if o["reasons"]]
    states = Counter(state for o in outcomes for state in o["states"])
    longest = max((took, verb, o["number"]) for o in outcomes for verb, took in o["seconds"].items())
    print(f"{len(outcomes)} builds, {len(failed)} failed; bands: {dict(states)}")
    print(f"draws refused and drawn anew: {sum(o['refused'] for o in outcomes)}")
    rungs = sum((Counter(o["rungs"]) for o in outcomes), Counter[str]())
    print(f"analyses by what solved them: {dict(rungs.most_common())}")
    print(f"longest: {longest[1]} of build {longest[2]}, {longest[0]:.1f} s")
    for note, count in Counter(n[:90] for o in outcomes for n in o["notes"]).most_common(12):
        print(f"  {count} x {note}")
    return 1 if failed else 0
