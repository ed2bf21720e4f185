"""`receiver-sim new`."""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim.cli.common import (
    JSON,
    emit_json,
)
from receiver_sim.cli.ends import folded, say
from receiver_sim.errors import UserError


@click.command(short_help="Write a commented starter build to FILE.")
@click.argument("file", type=click.Path(path_type=Path))
@JSON
def new(file: Path, as_json: bool) -> None:
    """Write a commented starter build to FILE; an existing file is left alone."""
    from receiver_sim.results import cautions  # inside, for start-up's sake
    from receiver_sim.results.file_answers import StarterBuild
    from receiver_sim.schema import write_starter

    if not file.parent.is_dir():
        raise UserError(f"{file}: No such file or directory")
    try:
        write_starter(file)
    except FileExistsError:
        raise UserError(f"{file} exists already and is left as it is; give another name") from None
    if as_json:
        emit_json("new", StarterBuild(str(file)))
        return
    say(f"wrote {file}; edit it, then run: receiver-sim check {file}")
    for line in cautions.PLATE_SUPPLY:
        say(folded(line, mark=" ! "))
