"""The drawings that are held against their circuits: of all shipped builds and of twenty drawn by chance."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from receiver_sim import api
from receiver_sim.schema import Build, BuildFaults, load_build
from receiver_sim.views.schematic.drawing import Schematic, schematic
from tests.campaign import draw as chance

SEED = 20
DRAWN = (*range(20), 103)
"""The last one has heaters on d.c. with a centre tap, which the drawing once did not know."""


def drawn_build(number: int, folder: Path) -> Build:
    """Return a build drawn by chance, the next one in its place where chance drew nonsense."""
    path = folder / f"{number}.yaml"
    while True:
        path.write_text(yaml.safe_dump(chance.build(SEED, number)), encoding="utf-8")
        try:
            return load_build(path)
        except BuildFaults:
            number += 1_000_000


def with_volts(build: Build) -> Schematic:
    """Return the drawing of a set with volts of three figures, invented, at everything a meter is put on."""
    bare = api.draw(build, band=build.bands[-1].name)
    volts = {("", words): 131.0 for words in bare.circuit.meter.values()}
    volts |= {(name, pin): 131.0 for name, one in bare.circuit.sockets.items() for pin in one.pins}
    return schematic(build, api.cards_for(build), build.bands[-1], volts=volts, rotation=0.5)


@pytest.fixture(scope="module", params=[*api.shipped_builds(), *DRAWN], ids=str)
def picture(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Schematic:
    what = request.param
    build = (
        api.shipped_build(what) if isinstance(what, str) else drawn_build(what, tmp_path_factory.mktemp("b"))
    )
    return with_volts(build)
