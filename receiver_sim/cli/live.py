"""`live`: a page served on this machine, to change values. Only click is imported at the top."""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim.cli.common import BUILD, JSON, Pool, bench_for, emit_json, prepared, simulating
from receiver_sim.cli.ends import folded, say


@click.command(short_help="Serve a page on this machine on which the set's values are changed.")
@BUILD
@click.option(
    "--port",
    metavar="N",
    type=click.IntRange(0, 65535),
    default=0,
    help="Port to serve at; default: a free one.",
)
@click.option("--open", "opens", is_flag=True, help="Open the page in the browser of this system.")
@JSON
@simulating
def live(build: Path, port: int, opens: bool, as_json: bool, pool: Pool) -> None:
    """Serve a page of BUILD to this machine alone, until Ctrl-C: change any value and see what follows.

    Nothing is written unless you save a changed build on the page; it goes beside BUILD.
    """
    from receiver_sim.engine import Bench  # inside, for start-up's sake
    from receiver_sim.live.serving import serve
    from receiver_sim.results import cautions
    from receiver_sim.results.live import LiveAddress

    prepared(build, told=True)

    def ready(address: str) -> None:
        if as_json:
            emit_json("live", LiveAddress(address, str(build), str(build.parent)))
        else:
            say(f"open {address}")
            say("It is served to this machine alone; Ctrl-C ends it.")
            for line in cautions.ALL:
                say(folded(line, mark=" ! "))
        if opens:
            click.launch(address)

    with bench_for(pool) as deep, Bench(workers=pool.workers, time_limit_s=pool.time_limit_s) as quick:
        quick.warm()
        serve(build, quick=quick, deep=deep, port=port, ready=ready)
