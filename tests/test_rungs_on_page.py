"""How operating points were found stands on the page of a verb and in its document."""

from __future__ import annotations

import json

import pytest

from receiver_sim import shipped
from receiver_sim.api import provenance
from receiver_sim.cli.common import answer
from receiver_sim.engine import Bench, Deck, Rung
from receiver_sim.results.document import document

# An exponential behind a resistor; the options leave Newton's method ten iterations and nothing else of
# ngspice's own, which at 100 V are too few.
STEEP = """.options reltol=1e-6 itl1=10 gminsteps=0 srcsteps=0 itl4=1
V1 a 0 dc 1
R1 a b 1k
B1 b 0 I=1e-9*(exp(min(20*V(b),200))-1)
"""


def climb(bench: Bench, volts: float) -> None:
    with bench.session(Deck("steep", STEEP)) as session:
        session.op()
        session.alter("v1", volts)
        session.op()


def test_a_page_says_which_rung_served(capsys: pytest.CaptureFixture[str]) -> None:
    with Bench(workers=1) as bench:
        climb(bench, 100.0)
        answer("supply", {}, as_json=False, sheet=lambda: (), bench=bench)
    assert capsys.readouterr().out == (
        "\nAnalyses by how their operating points were found: 1 by Newton's method, 1 by small steps from\n"
        "another setting.\n"
    )


def test_a_page_says_nothing_where_the_first_rung_served(capsys: pytest.CaptureFixture[str]) -> None:
    with Bench(workers=1) as bench:
        climb(bench, 1.5)
        answer("supply", {}, as_json=False, sheet=lambda: (), bench=bench)
    assert capsys.readouterr().out == ""


def test_a_document_says_which_rungs_served() -> None:
    build = shipped("demo")
    with Bench(workers=1) as bench:
        climb(bench, 100.0)
        origin = provenance(build, bench)
    told = json.loads(json.dumps(document("supply", {}, provenance=origin)))
    assert told["provenance"]["rungs"] == {Rung.NEWTON.value: 1, Rung.SMALL_STEPS.value: 1}
