"""One evaluation of a shipped tube model against a plain Koren form of the same type, in ngspice.

Koren (1996, memory-medium): E = V/kp ln(1 + exp(kp (1/mu + Vg/V))), Ip = E^x/kg1 (1 + sgn E) (times
atan(Vp/kvb) for a pentode), Is = (Vg + Vs/mu)^1.5/kg2, grid by a resistor and a diode. It has no smooth
cut-off of the screen, no remote cut-off, no secondary emission and no retarding-field grid current: the least
that a tube model costs.
"""

from __future__ import annotations

from typing import Any

import pytest

from receiver_sim.engine import Bench, Deck, Session
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.schema.card import TubeCard, card_for
from tests.benchmarks.conftest import Tell

PENTODE = """.subckt tube p s g k inj
Egk gk inj g k 1
Be e 0 V=V(s,k)/32*ln(1+exp(32*(1/20+V(gk)/V(s,k))))
Re e 0 1G
Bp p k I=pwr(V(e),1.4)*(1+sgn(V(e)))/1460*atan(V(p,k)/24)
Bs s k I=pwr(max(V(gk)+V(s,k)/20,0),1.5)/4500
Rcp p k 1G
Rgi g gi 2k
Dgi gi k dgrid
.model dgrid D(IS=1n RS=1 CJO=10p TT=1n)
.ends tube"""
TRIODE = """.subckt tube p g k inj
Egk gk inj g k 1
Be e 0 V=V(p,k)/100*ln(1+exp(100*(1/20+V(gk)/sqrt(300+V(p,k)*V(p,k)))))
Re e 0 1G
Bp p k I=pwr(V(e),1.4)*(1+sgn(V(e)))/1460
Rcp p k 1G
Rgi g gi 2k
Dgi gi k dgrid
.model dgrid D(IS=1n RS=1 CJO=10p TT=1n)
.ends tube"""
EVALUATIONS = 40


def _deck(law: str, *, triode: bool) -> Deck:
    screen = "" if triode else "Vs s 0 dc 60\n"
    pins = "p g 0 inj" if triode else "p s g 0 inj"
    return Deck(
        title="one tube",
        text=f"{law}\nVp p 0 dc 150\n{screen}Vg g 0 dc -2 ac 1\nVi inj 0 dc 0\nXt {pins} tube",
    )


def _seconds(session: Session, *, triode: bool) -> float:
    """Return the time within ngspice of one round: a changed supply and three frequencies each, as a sweep
    for onset does.
    """
    before = session.engine_seconds
    for index in range(EVALUATIONS):
        session.alter("vp" if triode else "vs", (100.0 if triode else 20.0) + 2.0 * index, "dc")
        session.ac(1.0e6, 1.1e6, 3, vectors=["frequency", "vp#branch"])
    return session.engine_seconds - before


def _ratio(bench: Bench, card: TubeCard, rounds: int) -> float:
    """Return least time of the shipped model over least time of the plain one, rounds taken in turn."""
    triode = card.kind == "triode"
    shipped = _deck(subcircuit(card, "tube"), triode=triode)
    plain = _deck(TRIODE if triode else PENTODE, triode=triode)
    with bench.session(shipped) as ours, bench.session(plain) as theirs:
        times = [
            (_seconds(ours, triode=triode), _seconds(theirs, triode=triode)) for _ in range(max(rounds, 1))
        ]
    return min(t[0] for t in times) / min(t[1] for t in times)


@pytest.mark.parametrize("name", ["6SJ7", "6SK7", "6AU6", "24A", "6J5"])
def test_a_tube_costs_at_most_half_as_much_again_as_a_plain_form(
    benchmark: Any, timed: bool, tell: Tell, bench: Bench, name: str
) -> None:
    """Issue: not slower than a plain Koren form by more than 1.5 times."""
    ratio = benchmark.pedantic(_ratio, args=(bench, card_for(name), 12 if timed else 1), rounds=1)
    assert ratio > 0
    if timed:
        tell(f"one evaluation of the {name} against a plain Koren form", f"{ratio:.2f}", "below 1.5")
        assert ratio < 1.5
