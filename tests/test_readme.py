"""What README shows of the program is what the program prints, and the commands it gives exist."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from receiver_sim.cli import main
from tests.conftest import BUILDS
from tests.test_cli import call

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_excerpt_is_the_page_of_the_demo() -> None:
    """Headings, rows and legend word for word; figures within 5 %, as they move when a card is refitted."""
    excerpt = re.search(r"```text\n(Onset of oscillation\n.*?)\n```", README, re.DOTALL)
    assert excerpt is not None
    answer = call("loop", BUILDS / "demo.yaml", "--band", "160 m", "--band", "20 m")
    printed = answer.out[answer.out.index("Onset of oscillation") : answer.out.index("\n\nSelectivity")]
    shown = excerpt[1].splitlines()
    assert len(shown) == len(printed.splitlines())
    for ours, theirs in zip(shown, printed.splitlines(), strict=True):
        here, there = ours.split(), theirs.split()
        assert len(here) == len(there), theirs
        for one, other in zip(here, there, strict=True):
            if re.fullmatch(r"-?[0-9.]+", other):
                assert float(one) == pytest.approx(float(other), rel=0.05), theirs
            elif not set(other) <= {"-"}:
                assert one == other


def test_every_verb_and_option_that_readme_names_exists() -> None:
    verbs = set(re.findall(r"receiver-sim ([a-z]+) ", README))
    assert {"check", "new", "loop"} <= verbs <= set(main.commands) | {"tubes"}
    options = {opt for command in main.commands.values() for p in command.params for opt in p.opts}
    section = README.split("## Single verbs")[1].split("\n## ")[0]
    named = set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", section)) - {"-b"}  # -b is ngspice's
    assert named and named <= options | {"--help", "-h"}


def test_the_table_of_verbs_is_complete() -> None:
    section = README.split("## Single verbs")[1].split("\n## ")[0]
    listed = set(re.findall(r"^\| `([a-z]+)", section, re.MULTILINE))
    assert listed == set(main.commands)


def test_the_python_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert call("new", "my-set.yaml").code == 0
    (example,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(example, "README.md", "exec"), names)
    assert (tmp_path / "loop-gain.png").read_bytes().startswith(b"\x89PNG")
    assert names["stiffer"].regeneration.bottom == 4700.0  # type: ignore[attr-defined]


def test_the_json_example_runs(tmp_path: Path) -> None:
    """The script that README pipes a document into, on a document of the demo."""
    (script,) = re.findall(r"python3 -c '\n(.*?)'\n```", README, re.DOTALL)
    document = call("loop", BUILDS / "demo.yaml", "--band", "40 m", "--json").out
    done = subprocess.run(
        [sys.executable, "-c", script], input=document, capture_output=True, text=True, check=True
    )
    rows = done.stdout.splitlines()
    assert len(rows) == 3 and all("oscillates" in row and row.startswith("40 m ") for row in rows)
