"""How often is a fault found? Every single fault of shipped builds, in sets whose parts are drawn.

    python tests/campaign/faults.py                       # four builds, all faults, 20 sound sets each
    python tests/campaign/faults.py --builds demo --seed 7

Each set has one fault. It is read at every pin and test point with a 10 Mohm meter (readings off by 3 %,
one standard deviation), its onset is tried on every band, and one word says what is heard. Draws: resistors
10 %, potentiometers 20 %, capacitors 20 %, mains 4 %, evenly; emission 10 %, contact potential 0.06 V,
regulator 2 %, Q of the coil 8 %, one standard deviation (common practice, no source). Tubes are drawn through
their laws, not by the shift of the grid that the search itself assumes.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from receiver_sim import api
from receiver_sim.builds import settle, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, Nature
from receiver_sim.circuit.possible_faults import PossibleFault, possible_faults, variants, weakened
from receiver_sim.engine import Bench
from receiver_sim.judge import fault_finder
from receiver_sim.judge.fault_predictions import SOUND, Key, Prediction, Stand, Volt, predict
from receiver_sim.physics.meters import METERS
from receiver_sim.schema import Band
from receiver_sim.studies.pin_chart import points_of

BUILDS = ("cabin", "demo", "tickler", "plugin_coils")
NOISE = 0.03
_METER = METERS[2]

_EVENLY = {"resistor": 0.1, "pot": 0.2, "capacitor": 0.2, "small capacitor": 0.1, "electrolytic": 0.3,
           "supply": 0.04, "iron-cored choke": 0.2, "choke": 0.1}  # fmt: skip
_NORMAL = {"coil Q": 0.08}


@dataclass(frozen=True)
class Case:
    """A build with the predictions of all its faults: they are the same for every set drawn of it."""

    stand: Stand
    faults: tuple[PossibleFault, ...]
    volts: tuple[Volt, ...]
    points: dict[str, str]
    found: dict[Key, Prediction]
    seconds: float
    missing: list[str]


def case_of(name: str, bench: Bench) -> Case:
    """Return a shipped build with its predictions; seconds: that they took."""
    build = settle(shipped_build(name), bench)
    cards, setting = api.prepare(build, None, bench)
    bands = build.bands[:3]
    stand = Stand(build, cards, setting.band, setting.onset.dial_hz, setting.rotation, tuple(bands))
    circuit = receiver_circuit(build, cards, band=stand.band, dial_hz=stand.dial_hz, rotation=stand.rotation)
    nodes = {
        p.node: f"{p.socket} {p.words}".strip()
        for p in points_of(circuit, build, cards)
        if p.node not in (None, GROUND) and p.words != "heater"
    }
    volts = tuple(Volt(words, node, _METER.name, 1e7, 200.0, 0.0) for node, words in nodes.items() if node)
    faults = possible_faults(circuit)
    start = time.perf_counter()
    found, missing = predict(stand, faults, volts, bench, heard=True)
    return Case(
        stand,
        faults,
        volts,
        {n: w for n, w in nodes.items() if n},
        found,
        time.perf_counter() - start,
        missing,
    )


def drawn(case: Case, rng: np.random.Generator):
    """Return what gives the circuits of one set whose parts are drawn, by band and dial."""
    cards = case.stand.cards
    emission = {name: 1.0 + 0.1 * rng.standard_normal() for name in ("detector", "audio", "first")}
    contact = {name: 0.06 * rng.standard_normal() for name in ("detector", "audio", "first")}
    changed = {}
    for name in ("detector", "audio", "first"):
        card = getattr(cards, name)
        if card is None:
            continue
        card = weakened(card, max(emission[name], 0.6))
        old = card.fit.parameters["contact"]
        shifted = old.model_copy(update={"value": old.value + contact[name]})
        parameters = {**card.fit.parameters, "contact": shifted}
        changed[name] = card.model_copy(
            update={"fit": card.fit.model_copy(update={"parameters": parameters})}
        )
    new_cards = replace(cards, **changed)
    factors: dict[str, float] = {}
    regulator = 1.0 + 0.02 * rng.standard_normal()
    seed = int(rng.integers(1 << 31))

    def circuits(band: Band, dial_hz: float) -> dict[str, Circuit]:
        stand = case.stand
        made = variants(stand.build, new_cards, band=band, dial_hz=dial_hz, rotation=stand.rotation)
        return {
            name: _shifted(c, factors, np.random.default_rng(seed), regulator) for name, c in made.items()
        }

    return circuits


def _shifted(
    circuit: Circuit, factors: dict[str, float], rng: np.random.Generator, regulator: float
) -> Circuit:
    """Return the circuit with its parts drawn; a part is the same in every variant and on every band."""
    values = {}
    for element in circuit.elements:
        about = element.about
        if element.value is None or about.nature is Nature.BENCH or about.tolerance is None:
            continue
        # both sides of a track are one part
        name = about.key if about.tolerance == "pot" and about.key else element.name
        if name not in factors:
            if about.tolerance in _EVENLY:
                factors[name] = 1.0 + _EVENLY[about.tolerance] * rng.uniform(-1.0, 1.0)
            elif about.tolerance in _NORMAL:
                factors[name] = 1.0 + _NORMAL[about.tolerance] * rng.standard_normal()
            else:
                factors[name] = 1.0
        if factors[name] != 1.0 and element.kind in "rclv":
            values[element.name] = element.value * factors[name]
    out = circuit.replace(values)
    models = tuple(
        replace(m, parameters={**m.parameters, "BV": m.parameters["BV"] * regulator})
        if "BV" in m.parameters
        else m
        for m in out.models
    )
    return replace(out, models=models)


def observed(
    case: Case, fault: PossibleFault | None, size: int, bench: Bench, rng: np.random.Generator
) -> fault_finder.Seen | None:
    """Return what is read of a drawn set with a fault (None: a sound one); None if it could not be run."""
    circuits = drawn(case, rng)
    one = [] if fault is None else [replace(fault, sizes=(fault.sizes[size],))]
    ran, _ = predict(case.stand, one, case.volts, bench, heard=True, circuits_at=circuits)
    key = SOUND if fault is None else (0, 0)
    if key not in ran:
        return None
    there = ran[key]
    volts = []
    for i, v in enumerate(case.volts):
        true = float(there.volts[i])
        full = next((r for r in _METER.ranges if abs(true) < 0.95 * r), _METER.ranges[-1])
        seen = true * (1.0 + NOISE * rng.standard_normal()) + 0.002 * full * rng.standard_normal()
        volts.append(replace(v, seen=seen, full_scale=full))
    word = fault_finder.heard_as(there, case.found[SOUND])
    return fault_finder.Seen(tuple(volts), NOISE, dict(there.onset), word)


@dataclass
class Count:
    """Trials, and in how many the true fault's line stood first, or among the first three."""

    trials: int = 0
    first: int = 0
    three: int = 0
    sound: int = 0
    sound_right: int = 0
    lost: int = 0


def placed(ranked: fault_finder.Ranked, name: str | None) -> int | None:
    """Return the place (0 first) of the line that holds a fault (None: the sound set), None if on no line."""
    lines: list[tuple[float, tuple[str, ...]]] = [(s.probability, s.names) for s in ranked.suspects]
    lines.append((ranked.sound, (*ranked.like_sound, "")))
    lines.sort(key=lambda line: -line[0])
    return next((i for i, (_, names) in enumerate(lines) if (name or "") in names), None)


def run(name: str, bench: Bench, *, seed: int, sound: int, every: int = 1) -> tuple[Count, list[str], Case]:
    """Return the counts over a build's faults, and what was missed."""
    case = case_of(name, bench)
    count, missed = Count(), []
    for n, (i, j) in enumerate(_all(case, every)):
        rng = np.random.default_rng([seed, n])
        fault = case.faults[i]
        seen = observed(case, fault, j, bench, rng)
        if seen is None:
            count.lost += 1
            continue
        place = placed(fault_finder.rank(case.faults, case.found, seen, case.points), fault.name)
        count.trials += 1
        count.first += place == 0
        count.three += place is not None and place < 3
        if place is None or place > 0:
            missed.append(f"{fault.name}, {fault.sizes[j].words}: place {place}")
    for n in range(sound):
        seen = observed(case, None, 0, bench, np.random.default_rng([seed, 100_000 + n]))
        if seen is None:
            continue
        count.sound += 1
        count.sound_right += fault_finder.rank(case.faults, case.found, seen, case.points).healthy
    return count, missed, case


def _all(case: Case, every: int) -> Iterator[tuple[int, int]]:
    sizes = [(i, j) for i, fault in enumerate(case.faults) for j in range(len(fault.sizes))]
    return iter(sizes[::every])


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--builds", nargs="+", default=list(BUILDS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sound", type=int, default=20)
    parser.add_argument("--every", type=int, default=1, help="only each n-th fault")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    whole = Count()
    with Bench(workers=given.workers) as bench:
        for name in given.builds:
            count, missed, case = run(name, bench, seed=given.seed, sound=given.sound, every=given.every)
            print(
                f"{name}: {count}; dictionary of {len(case.faults)} faults in {case.seconds:.1f} s",
                flush=True,
            )
            for line in missed:
                print(f"   {line}")
            for field in vars(whole):
                setattr(whole, field, getattr(whole, field) + getattr(count, field))
    print(
        f"first {whole.first / whole.trials:.1%}, among three {whole.three / whole.trials:.1%} "
        f"of {whole.trials}; "
        f"sound {whole.sound_right}/{whole.sound}; not run {whole.lost}"
    )


if __name__ == "__main__":
    main()
