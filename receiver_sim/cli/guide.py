"""`guide`: the reference pages at the terminal."""

from __future__ import annotations

import click

from receiver_sim.cli.common import JSON, emit_json
from receiver_sim.cli.ends import WIDTH, say
from receiver_sim.errors import UserError


@click.command(short_help="Show a reference page: build file, verbs, coils, glossary and others.")
@click.argument("topic", required=False, shell_complete=lambda *_given: _topics())
@JSON
def guide(topic: str | None, as_json: bool) -> None:
    """Show the reference page on TOPIC; without one, list the topics."""
    from receiver_sim.guide import TOPICS, page
    from receiver_sim.results.file_answers import GuidePage

    if topic is not None and topic not in TOPICS:
        raise UserError(f"there is no page on '{topic}'; there are: {', '.join(TOPICS)}")
    if as_json:
        text = None if topic is None else page(topic)
        emit_json("guide", GuidePage(topic=topic, text=text, topics=tuple(TOPICS)))
    elif topic is None:
        for name, about in TOPICS.items():
            say(f"{name:<12} {about}")
        say("\nreceiver-sim guide TOPIC shows a page")
    else:
        say(_readable(page(topic)))


def _topics() -> list[str]:
    from receiver_sim.guide import TOPICS

    return list(TOPICS)


def _readable(markdown: str) -> str:
    """Return a page as the terminal shows it; as it is written if it goes to a file or a pipe."""
    import sys

    if not sys.stdout.isatty():
        return markdown.rstrip("\n")
    import io
    import os
    import shutil

    from rich.console import Console
    from rich.markdown import Markdown

    width = min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns)
    console = Console(
        file=io.StringIO(), force_terminal=True, width=width, no_color="NO_COLOR" in os.environ or None
    )
    with console.capture() as captured:
        console.print(Markdown(markdown, hyperlinks=False))
    return captured.get().rstrip("\n")
