"""How soon the live page answers a changed value on five bands, beside what ngspice alone takes for it."""

from __future__ import annotations

import time
from pathlib import Path

from receiver_sim.engine import Bench
from receiver_sim.live.work import Work
from tests.benchmarks.conftest import Tell
from tests.conftest import BUILDS


def test_a_changed_value_on_five_bands(timed: bool, tell: Tell) -> None:
    """Onset and curves of five bands, and the drawing beside them: 0.3 s on a machine of its own.

    In one run: wall at most 1.6 times the seconds within ngspice, summed over both workers (onset and 22
    settings a band). Two workers share five bands 3 to 2, so ngspice alone takes 0.6 of them; text, checks,
    decks and the answer take as long again as ngspice where the machine is idle. Before the settings were
    asked for in one exchange it was 3 to 4.
    """
    path = Path(str(BUILDS / "demo.yaml"))
    with Bench(workers=2) as quick:
        work = Work(path, quick=quick, deep=quick)

        def answer(ohms: int) -> tuple[float, float]:
            before, start = quick.engine_seconds, time.perf_counter()
            found = work.answer(work.text, (("regeneration", "top"), f"{ohms} ohm"))
            wall = time.perf_counter() - start
            assert len(found["bands"]) == 5 and all(one["onset"] for one in found["bands"])
            return wall, quick.engine_seconds - before

        answer(26_000)
        if not timed:
            return
        runs = sorted(answer(27_000 + 100 * i) for i in range(15))
        wall, engine = runs[len(runs) // 2]
        drawn = []
        work.drawing(work.text, None)
        for _ in range(5):
            start = time.perf_counter()
            work.drawing(work.text, None)
            drawn.append(time.perf_counter() - start)
    tell("a changed value, five bands, onset and curves", f"{wall:.3f} s", "aim: 0.3 s")
    tell("  wall over engine seconds", f"{wall / engine:.2f}", "at most 1.6")
    tell("  drawing, asked for beside it", f"{sorted(drawn)[2]:.3f} s", "aim: 0.3 s")
    assert wall <= 1.6 * engine
