"""The program: the group of all verbs, each from its own file.

Only click is imported at the top, here and in the verbs' files: everything else waits inside the commands for
start-up's sake.
"""

from __future__ import annotations

import click

from receiver_sim import __version__
from receiver_sim.cli.calibrate import calibrate
from receiver_sim.cli.check import check
from receiver_sim.cli.coils import coils
from receiver_sim.cli.deck import deck
from receiver_sim.cli.detect import detect
from receiver_sim.cli.draw import draw
from receiver_sim.cli.ends import Program
from receiver_sim.cli.faults import faults
from receiver_sim.cli.guide import guide
from receiver_sim.cli.in_depth import audio, hum, supply
from receiver_sim.cli.listen import listen
from receiver_sim.cli.live import live
from receiver_sim.cli.loop import loop
from receiver_sim.cli.new import new
from receiver_sim.cli.onset import onset
from receiver_sim.cli.page import page
from receiver_sim.cli.sheet import sheet
from receiver_sim.cli.spread import spread
from receiver_sim.cli.swap import swap
from receiver_sim.cli.tap import tap
from receiver_sim.cli.tubes import tubes
from receiver_sim.cli.wind import wind


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="receiver-sim")
def main() -> None:
    """Check a two-valve regenerative receiver before it is built.

    A BUILD file describes the set; ngspice computes it. Begin with `receiver-sim new my-set.yaml`, then run
    `receiver-sim check my-set.yaml`.

    Plate supplies kill: isolate, discharge and measure first, and follow the electrical code where you live.
    """


for _verb in (
    new, check, loop, onset, detect, listen, audio, hum, supply, coils, tap, wind, spread, swap, tubes,
    draw, page, live, sheet, faults, calibrate, deck, guide,
):  # fmt: skip
    main.add_command(_verb)
