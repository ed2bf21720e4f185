"""`receiver-sim new`."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from receiver_sim.cli.common import (
    JSON,
    emit_json,
)
from receiver_sim.cli.ends import folded, say
from receiver_sim.errors import UserError

if TYPE_CHECKING:
    from receiver_sim.schema.first_build import Answers


@click.command(short_help="Write a first build to FILE, short or with every key.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--all", "every", is_flag=True, help="Name every key there is, with its meaning and default.")
@click.option("--ask", is_flag=True, help="Ask for supply, tubes, phones and bands at the terminal first.")
@JSON
def new(file: Path, every: bool, ask: bool, as_json: bool) -> None:
    """Write a first build to FILE: a set that works, in some forty lines; an existing file is kept."""
    from receiver_sim import outputs  # inside, for start-up's sake
    from receiver_sim.results import cautions
    from receiver_sim.results.file_answers import StarterBuild
    from receiver_sim.schema import first_build, write_starter

    if every and ask:
        raise UserError("--all and --ask do not go together: every key, or a build by answers")
    if ask and as_json:
        raise UserError("--ask and --json do not go together: questions are for a reader")
    if not file.parent.is_dir():
        raise UserError(f"{file}: No such file or directory")
    taken = UserError(f"{file} exists already and is left as it is; give another name")
    if file.exists() or file.is_symlink():  # before any question
        raise taken
    try:
        if every:
            write_starter(file)
        else:
            answers = _asked() if ask else first_build.usual()
            text, _ = first_build.built(answers)
            outputs.create(file, text.encode("utf-8"))
    except FileExistsError:
        raise taken from None
    if as_json:
        emit_json("new", StarterBuild(str(file)))
        return
    say(f"wrote {file}; edit it, then run: receiver-sim check {file}")
    for line in cautions.PLATE_SUPPLY:
        say(folded(line, mark=" ! "))


def _asked() -> Answers:
    """Ask for each answer, what is usual proposed. Raises UserError where nobody can answer."""
    from receiver_sim.schema import first_build as first  # inside, for start-up's sake

    if not (_terminal(sys.stdin) and _terminal(sys.stdout)):
        raise UserError("--ask needs a terminal to ask at; without it, 'new' writes the usual set")
    say("Press Enter for what stands in brackets.")
    supply = _choice("Which supply?", first.SUPPLIES, "mains")
    usual = first.usual(supply)
    detector = _question(
        "Which tube as detector?", first.DETECTORS[supply], usual.detector,
        lambda text: first.checked_tube(text, socket="detector", supply=supply),
    )  # fmt: skip
    audio = _question(
        "Which tube in the audio stage?", first.AUDIO[supply], usual.audio,
        lambda text: (
            "none" if text.strip().casefold() == "none"
            else first.checked_tube(text, socket="audio", supply=supply)
        ),
    )  # fmt: skip
    kinds = {kind: first.PHONES[kind] for kind in first.phones_for(audio)}
    phones = _choice("Which phones?", kinds, usual.phones)
    bands = _question(
        "Which bands, with commas between?", (*first.named_bands(), "or a span such as 7.0-7.2MHz"),
        ", ".join(usual.bands), lambda text: ", ".join(first.checked_bands(text)),
    )  # fmt: skip
    return first.Answers(supply, detector, audio, phones, first.checked_bands(bands))


def _terminal(stream: object) -> bool:
    return stream is not None and bool(getattr(stream, "isatty", lambda: False)())


def _choice(question: str, choices: dict[str, str], usual: str) -> str:
    """Ask for one of the choices, each with what it means."""
    say(f"\n{question}")
    for name, meaning in choices.items():
        say(f"  {name:15} {meaning}")
    return str(click.prompt(" ", default=usual, type=click.Choice(list(choices)), show_choices=False))


def _question(question: str, known: Sequence[str], usual: str, checked: Callable[[str], str]) -> str:
    """Ask until an answer passes its check, whose words are shown."""
    from receiver_sim.errors import ReceiverSimError  # inside, for start-up's sake
    from receiver_sim.schema import BuildFaults

    def read(text: str) -> str:
        try:
            return checked(text)
        except BuildFaults as error:
            fault = error.faults[0]
            raise click.UsageError(
                "; ".join(filter(None, (f"'{text}': expected {fault.expected}", fault.cure)))
            ) from None
        except ReceiverSimError as error:
            raise click.UsageError(str(error)) from None

    say(f"\n{question}")
    say(folded(", ".join(known), mark="  "))
    return str(click.prompt(" ", default=usual, value_proc=read))
