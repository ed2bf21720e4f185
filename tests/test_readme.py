"""What README and the guide show of the program is what the program prints; what they name exists."""

import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from receiver_sim import guide
from receiver_sim.cli import main
from tests.conftest import BUILDS
from tests.test_cli import call

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_excerpt_is_the_page_of_the_demo() -> None:
    """Headings, rows and legend word for word; figures within 5 %, as they move when a card is refitted."""
    excerpts = re.findall(
        r"```text\n(Onset of oscillation\n.*?)\n```", README + guide.page("check"), re.DOTALL
    )
    assert len(excerpts) == 2 and excerpts[0] == excerpts[1]
    answer = call("loop", BUILDS / "demo.yaml", "--band", "160 m", "--band", "20 m")
    printed = answer.out[answer.out.index("Onset of oscillation") : answer.out.index("\n\nSelectivity")]
    shown = excerpts[0].splitlines()
    assert len(shown) == len(printed.splitlines())
    for ours, theirs in zip(shown, printed.splitlines(), strict=True):
        here, there = ours.split(), theirs.split()
        assert len(here) == len(there), theirs
        for one, other in zip(here, there, strict=True):
            if re.fullmatch(r"-?[0-9.]+", other):
                assert float(one) == pytest.approx(float(other), rel=0.05), theirs
            elif not set(other) <= {"-"}:
                assert one == other


def test_the_build_shown_is_the_one_that_new_writes(tmp_path: Path) -> None:
    call("new", tmp_path / "first.yaml")
    (shown,) = re.findall(r"```yaml\n(.*?)```", README, re.DOTALL)
    written = (tmp_path / "first.yaml").read_text(encoding="utf-8")
    assert written.endswith("\n" + shown)
    assert all(line.startswith("#") for line in written.removesuffix(shown).splitlines())
    assert shown.count("\n") <= 40


def test_every_verb_and_option_that_readme_names_exists() -> None:
    text = README + "".join(map(guide.page, guide.TOPICS))
    verbs = set(re.findall(r"receiver-sim ([a-z]+)\b", text))
    assert {"check", "new", "loop"} <= verbs <= set(main.commands)
    options = {opt for command in _commands(main).values() for p in command.params for opt in p.opts}
    named = set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", guide.page("verbs"))) - {"-b"}  # -b is ngspice's
    assert named and named <= options | {"--help", "-h"}


Declared = dict[str, set[tuple[str, str]]]
"""Verb -> its options with what each takes, such as ('--band', 'NAME')."""


def _commands(group: click.Group, before: str = "") -> dict[str, click.Command]:
    found: dict[str, click.Command] = {}
    for name, command in group.commands.items():
        inner = _commands(command, f"{name} ") if isinstance(command, click.Group) else {name: command}
        found |= {f"{before}{key}": value for key, value in inner.items()}
    return found


def _taken(option: click.Option) -> str:
    """Return what an option takes, as a page writes it."""
    if option.is_flag:
        return ""
    if isinstance(option.type, click.Choice):
        return "NAME"
    return option.metavar or ("INTEGER" if isinstance(option.type, click.types.IntParamType) else "")


def _declared() -> Declared:
    out: Declared = {}
    for verb, command in _commands(main).items():
        options = [p for p in command.params if isinstance(p, click.Option)]
        out[verb] = {(name, _taken(option)) for option in options for name in option.opts}
    return out


def _printed() -> Declared:
    section = guide.page("verbs").split("| option | verbs | meaning |")[1].split("\n\n")[0]
    out: Declared = {verb: set() for verb in _commands(main)}
    for row in section.strip().splitlines()[1:]:
        names, verbs, _ = (cell.strip() for cell in row.strip("|").split("|"))
        listed = list(out) if verbs == "all" else re.findall(r"`([^`]+)`", verbs)
        for option in re.findall(r"`([^`]+)`", names):
            name, _, takes = option.partition(" ")
            for verb in listed:
                assert (name, takes) not in out[verb], f"{option} of {verb} stands there twice"
                out[verb].add((name, takes))
    return out


def test_the_table_of_options_is_that_of_the_program() -> None:
    """Every option of every verb with what it takes, and no other."""
    assert _printed() == _declared()


def test_an_option_takes_the_same_on_every_verb() -> None:
    """One meaning for each option: guards against --at in per cent of two different things."""
    kinds: dict[str, set[str]] = {}
    for options in _declared().values():
        for name, takes in options:
            kinds.setdefault(name, set()).add(takes)
    # a band is known by its name in a build, and `wind` has none
    assert kinds.pop("--band") == {"NAME", "SPAN"}
    assert {name: takes for name, takes in kinds.items() if len(takes) > 1} == {}


def test_every_verb_that_simulates_can_be_given_workers_and_time() -> None:
    """All but those that run no ngspice: `new`, `guide`, `wind`, cards listed, shown, fitted, predicted."""
    for verb, command in _commands(main).items():
        names = {name for p in command.params for name in p.opts}
        idle = verb in {"new", "guide", "wind", "tubes list", "tubes show", "tubes fit", "tubes predict"}
        assert ({"--workers", "--time-limit"} <= names) != idle, verb


def test_the_table_of_verbs_is_complete() -> None:
    for section in (guide.page("verbs"), README.split("## The verbs")[1].split("\n`receiver-sim VERB")[0]):
        assert set(re.findall(r"^\| `([a-z]+)", section, re.MULTILINE)) == set(main.commands)


def test_readme_is_short_and_lists_every_page_of_the_guide() -> None:
    assert len(README.encode()) <= 12_000
    listed = dict(
        re.findall(r"^\| `([a-z]+)` \| (.+) \|$", README.split("| page | about |")[1], re.MULTILINE)
    )
    assert listed == guide.TOPICS
    folder = Path(guide.__file__).parent
    assert {path.stem for path in folder.glob("*.md")} == set(guide.TOPICS)


@pytest.mark.parametrize("topic", guide.TOPICS)
def test_a_page_is_shown_as_written_where_no_terminal_reads_it(topic: str) -> None:
    answer = call("guide", topic)
    assert answer.code == 0 and answer.out == guide.page(topic)
    assert answer.out.startswith("# ")


def test_an_unknown_page_is_refused_with_those_there_are() -> None:
    answer = call("guide", "coil")
    assert answer.code == 2 and "there is no page on 'coil'" in answer.err and "coils" in answer.err


def test_the_terms_of_the_glossary_stand_in_order() -> None:
    terms = re.findall(r"^- \*\*([^*]+)\*\*", guide.page("glossary"), re.MULTILINE)
    assert len(terms) > 30 and terms == sorted(terms, key=str.casefold)


def test_the_python_examples_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert call("new", "my-set.yaml").code == 0
    plot = tmp_path / "loop-gain.png"
    names: dict[str, object] = {}
    assert README.count("```python") == 1
    for example in re.findall(r"```python\n(.*?)```", README + guide.page("python"), re.DOTALL):
        names = {}
        exec(compile(example, "README.md", "exec"), names)
        assert plot.read_bytes().startswith(b"\x89PNG")
        plot.unlink()
    assert names["stiffer"].regeneration.bottom == 4700.0  # type: ignore[attr-defined]


def test_the_json_example_runs(tmp_path: Path) -> None:
    """The script that the guide pipes a document into, on a document of the demo."""
    (script,) = re.findall(r"python3 -c '\n(.*?)'\n```", guide.page("files"), re.DOTALL)
    document = call("loop", BUILDS / "demo.yaml", "--band", "40 m", "--json").out
    done = subprocess.run(
        [sys.executable, "-c", script], input=document, capture_output=True, text=True, check=True
    )
    rows = done.stdout.splitlines()
    assert len(rows) == 3 and all("oscillates" in row and row.startswith("40 m ") for row in rows)
