"""How often is a fault found? Every single fault of shipped builds, in sets whose parts are drawn.

    python tests/campaign/faults.py                       # four builds, all faults, 20 sound sets each
    python tests/campaign/faults.py --builds demo --seed 7

Each set is one that `receiver-sim spread` would draw (parts, tubes and mains by their classes or by what the
build states) and has one fault. It is read at every pin and test point with a 10 Mohm meter (readings off by
3 %, one standard deviation), its onset is tried on up to three bands, and one word says what is heard.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from receiver_sim.api._fault_table import METER, Looked, looked_up
from receiver_sim.builds import shipped_build
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.factors import drawn
from receiver_sim.circuit.possible_faults import PossibleFault, variant
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.engine import Bench
from receiver_sim.judge import fault_finder
from receiver_sim.judge.fault_onset import SOUND
from receiver_sim.judge.fault_predictions import predict
from receiver_sim.schema import Band

BUILDS = ("cabin", "demo", "tickler", "plugin_coils")
NOISE = 0.03


@dataclass(frozen=True)
class Case(Looked):
    """A build with the predictions of all its faults: they are the same for every set drawn of it.

    seconds: that they took, with the plan of its sets.
    """

    seconds: float = 0.0


def case_of(name: str, bench: Bench, bands: int = 3) -> Case:
    """Return a shipped build with its predictions, onset tried on its first `bands` bands."""
    start = time.perf_counter()
    looked = looked_up(shipped_build(name), bench, tried=lambda all_of_them: all_of_them[:bands])
    return Case(**vars(looked), seconds=time.perf_counter() - start)


def observed(
    case: Case, fault: PossibleFault | None, size: int, bench: Bench, *, seed: int, number: int
) -> fault_finder.Seen | None:
    """Return what is read of a drawn set with a fault (None: a sound one); None if it could not be run."""
    stand, plan = case.stand, case.stand.plan
    row = draws(plan.factors, seed=seed, start=number, stop=number + 1)[0]
    build, cards = drawn(plan.build, plan.cards, plan.factors, moved_by(plan.factors, row))
    named = {band.name: band for band in build.bands}

    def circuit_of(name: str, band: Band, dial_hz: float) -> Circuit:
        where = {"band": named[band.name], "dial_hz": dial_hz, "rotation": stand.rotation}
        return variant(name, build, cards, **where)

    one = [] if fault is None else [replace(fault, sizes=(fault.sizes[size],), plugged=False)]
    ran, _ = predict(stand, one, case.volts, bench, heard=True, circuit_of=circuit_of, sound=fault is None)
    key = SOUND if fault is None else (0, 0)
    if key not in ran:
        return None
    there, rng = ran[key], np.random.default_rng([seed, number])
    if fault is not None and fault.plugged and len(stand.bands) > 1:
        # the coils of the other bands are sound
        sound = predict(
            replace(stand, bands=tuple(b for b in stand.bands if b.name != stand.band.name)),
            [], (), bench, heard=False, circuit_of=circuit_of,
        )[0][SOUND]  # fmt: skip
        there = replace(there, onset={**there.onset, **sound.onset})
    volts = []
    for i, v in enumerate(case.volts):
        true = float(there.volts[i])
        full = next((r for r in METER.ranges if abs(true) < 0.95 * r), METER.ranges[-1])
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
    names: int = 0
    """Faults named on the first lines, of those trials whose fault readings show."""
    hidden: int = 0
    """Trials in which the set is called sound and the fault is on that line: readings don't show it."""
    believed: list[tuple[float, bool]] = field(default_factory=list)
    """Of each trial the probability that the first line was given, and whether the fault was on it."""

    def reliability(self) -> str:
        """Say how often a first line is right, by the probability it was given."""
        said = []
        for low, high in ((0.0, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
            right = [ok for given, ok in self.believed if low <= given < high]
            if right:
                said.append(f"from {low:.0%}: {sum(right)} of {len(right)} right")
        return "first lines by their probability, " + ", ".join(said)

    def __str__(self) -> str:
        """Say it in shares: of all trials, and of those whose fault is not on the line of a sound set."""
        shown = self.trials - self.hidden
        of_all = f"first {self.first / self.trials:.1%}, among three {self.three / self.trials:.1%}"
        of_shown = (
            f"first {(self.first - self.hidden) / shown:.1%}, "
            f"among three {(self.three - self.hidden) / shown:.1%}"
        )
        return (
            f"{of_all} of {self.trials}; excluding {self.hidden} that no reading shows and that are on the "
            f"line of a sound set: {of_shown}; {self.names / shown:.1f} faults on a first line; "
            f"sound {self.sound_right}/{self.sound}; not run {self.lost}"
        )


def placed(ranked: fault_finder.Ranked, name: str | None) -> int | None:
    """Return the place (0 first) of the line that holds a fault (None: the sound set), None if on no line."""
    lines: list[tuple[float, tuple[str, ...]]] = [(s.probability, s.names) for s in ranked.suspects]
    lines.append((ranked.sound, (*ranked.like_sound, "")))
    lines.sort(key=lambda line: -line[0])
    return next((i for i, (_, names) in enumerate(lines) if (name or "") in names), None)


def run(
    name: str, bench: Bench, *, seed: int, sound: int, every: int = 1, bands: int = 3
) -> tuple[Count, list[str], Case]:
    """Return the counts over a build's faults, and what was missed."""
    case = case_of(name, bench, bands)
    count, missed = Count(), []
    for n, (i, j) in enumerate(_all(case, every)):
        fault = case.faults[i]
        seen = observed(case, fault, j, bench, seed=seed, number=n)
        if seen is None:
            count.lost += 1
            continue
        ranked = ranked_of(case, seen)
        place = placed(ranked, fault.name)
        count.trials += 1
        count.first += place == 0
        given = max([ranked.sound, *(one.probability for one in ranked.suspects)])
        count.believed.append((given, place == 0))
        count.three += place is not None and place < 3
        if ranked.healthy:
            count.hidden += place == 0
        else:
            count.names += len(ranked.suspects[0].names)
        if place is None or place > 0:
            first = "sound" if ranked.healthy else ranked.suspects[0].names[0]
            missed.append(f"{fault.name}, {fault.sizes[j].words}: place {place}, first {first}")
    for n in range(sound):
        seen = observed(case, None, 0, bench, seed=seed, number=100_000 + n)
        if seen is None:
            continue
        count.sound += 1
        ranked = ranked_of(case, seen)
        count.sound_right += ranked.healthy
        if not ranked.healthy:
            missed.append(f"sound set: {ranked.sound:.3f}, first {ranked.suspects[0].names[0]}")
    return count, missed, case


def ranked_of(case: Case, seen: fault_finder.Seen) -> fault_finder.Ranked:
    """Return what the search says of readings."""
    return fault_finder.rank(case.faults, case.found, seen, case.points, case.scatter)


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
            for name_of in vars(whole):
                setattr(whole, name_of, getattr(whole, name_of) + getattr(count, name_of))
    print(whole)
    print(whole.reliability())


if __name__ == "__main__":
    main()
