"""Loop gain by other ways than the program's own: two injections at the grid lead, stock ngspice in batch."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.engine.session import Session
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.physics.return_ratio import return_ratio, zero_phase
from receiver_sim.receiver import Receiver
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build
from receiver_sim.studies import loop_gain
from tests.helpers.textbook import double_injection


def _two_injections(session: Session, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Return frequency and minus Middlebrook's loop gain at the grid lead (so that regeneration counts
    positive).
    """
    vectors = ["frequency", "gx", "grid", "vprobe#branch"]
    session.alter("vinj", 0.0, "acmag")
    session.alter("vprobe", 1.0, "acmag")
    volts = session.ac(low, high, 3, vectors=vectors)
    session.alter("vprobe", 0.0, "acmag")
    session.alter("iprobe", 1.0, "acmag")
    # the circuit delivers the current of vprobe (gx to grid), the tube takes that plus the injected ampere
    back = session.ac(low, high, 3, vectors=vectors)["vprobe#branch"]
    session.alter("iprobe", 0.0, "acmag")
    session.alter("vinj", 1.0, "acmag")
    ratio = double_injection(-volts["gx"] / volts["grid"], ti=-back / (back + 1.0))
    return volts["frequency"].real, -ratio


def onset_by_two_injections(
    bench: Bench,
    build: Build,
    cards: Cards,
    *,
    band: Band,
    dial_hz: float,
    tuning: float,
    rotations: Iterable[float],
) -> tuple[float, np.ndarray, np.ndarray]:
    """Return what the control sets where two injections find a gain of one, and the gains at the three
    `rotations`: by two injections, and by the program's probe.

    Middlebrook 1975 (from memory, high). Between the rotations a parabola leads.
    """
    rows = []
    with loaded(bench, onset.plan(build, cards, band=band, dial_hz=dial_hz)) as on:
        probe = Probe(on, band=band, dial_hz=dial_hz)
        probe.tune(tuning)
        half = dial_hz / (4 * band.coil.q)
        for rotation in rotations:
            sample = probe.measure(on.circuit.control.share(float(rotation)))
            f, ratio = _two_injections(on.session, sample.frequency - half, sample.frequency + half)
            rows.append((sample.figure, zero_phase(f, ratio=ratio)[1], sample.gain))
    figures, double, single = (np.array(column) for column in zip(*rows, strict=True))
    fitted = np.polynomial.polynomial.polyfit(double, figures, 2)
    return float(np.polynomial.polynomial.polyval(1.0, fitted)), double, single


def onset_both_ways(
    bench: Bench, build: Build, cards: Cards, *, band: Band, beside: Sequence[float]
) -> tuple[Onset, float]:
    """Return the onset at the middle of a band, and what the control sets there by two injections.

    beside: the three rotations that these are made at, in parts of that of the onset.
    """
    dial = api.dial_frequencies(band)[1]
    found = onset.run(Receiver(build, bench, cards=cards).at(band, dial))
    assert found.onset is not None and found.tuning_farad is not None
    at_one, _, _ = onset_by_two_injections(
        bench, build, cards, band=band, dial_hz=dial, tuning=found.tuning_farad,
        rotations=found.onset.rotation * np.array(beside),
    )  # fmt: skip
    return found, at_one


def return_ratios(
    bench: Bench, build: Build, cards: Cards, folder: Path, *, band: Band, rotation: float
) -> tuple[np.ndarray, np.ndarray, str]:
    """Return the return ratio at three frequencies from the loaded circuit and from the exported deck in
    stock ngspice, and the deck's text.
    """
    program = shutil.which("ngspice")
    assert program, "install the Debian package ngspice for this test"
    file = folder / "loop.cir"
    text = api.deck_text(build, study="loop", band=band.name, rotation=rotation)
    file.write_text(text, encoding="ascii")
    done = subprocess.run(
        [program, "-b", str(file)], capture_output=True, text=True, timeout=60, check=True, cwd=folder
    )
    number = r"([-+]?\d\.\d+e[-+]\d+)"
    rows = re.findall(rf"^\d+\s+{number}\s+{number}\s+{number}\s*$", done.stdout, re.MULTILINE)
    assert len(rows) == 3, done.stdout
    batch = np.array([float(re_) + 1j * float(im) for _, re_, im in rows])
    dial, half = band.middle_hz, band.middle_hz / (4 * band.coil.q)
    with loaded(bench, loop_gain.plan(build, cards, band=band, dial_hz=dial)) as on:
        Probe(on, band=band, dial_hz=dial).measure(on.circuit.control.share(rotation))
        run = on.session.ac(dial - half, dial + half, 3, vectors=["frequency", "xdet.gk"])
    return return_ratio(run["xdet.gk"]), return_ratio(batch), text
