"""What the envelope view costs: map of amplitudes, a second of sound. Run with --benchmark-enable for
times."""

from __future__ import annotations

import math
import time

from receiver_sim.netlist.mode import tuned_mode
from receiver_sim.netlist.signals import Signal
from receiver_sim.studies import amplitude, listening, onset, reference_transient


def searched(build, cards, bench, index=0):
    band = build.bands[index]
    return band, onset.run(build, cards, bench, band=band, dial_hz=math.sqrt(band.from_ * band.to))


def test_map_of_amplitudes(benchmark, timed, tell, bench, demo, demo_cards):
    band, search = searched(demo, demo_cards, bench)

    def once():
        return amplitude.run(demo, demo_cards, bench, band=band, onset=search, time_runs=False)

    found = benchmark(once)
    assert found.onset is not None
    if timed:
        took = float(benchmark.stats.stats.min)
        # a hundredth of the ramp tells its pace; its whole length takes a hundred times that
        cycles = reference_transient.CYCLES // 100
        path = reference_transient.plan_path(demo, found, cycles=cycles)
        fast = reference_transient.quick_build(demo)
        run = reference_transient.run_reference(
            fast, demo_cards, bench, band=band, onset=search, path=path, steps=40
        )
        ratio = 100.0 * run.engine_seconds / took
        tell("map of amplitude against control, one band", f"{1e3 * took:.0f} ms", "")
        tell("  reference ramp over it", f"{ratio:.0f}", "300 or more")
        assert ratio > 300.0


def test_a_second_of_sound(benchmark, timed, tell, bench, demo, demo_cards):
    band, search = searched(demo, demo_cards, bench, 2)
    found = amplitude.run(demo, demo_cards, bench, band=band, onset=search, time_runs=False)
    assert found.onset is not None and search.onset is not None and search.tuning_farad is not None
    mode = tuned_mode(
        demo, demo_cards, bench, band=band, dial_hz=search.dial_hz, tuning=search.tuning_farad,
        rotation=search.onset.rotation,
    )  # fmt: skip

    def sound(seconds):
        start = time.perf_counter()
        listening.run(
            demo, demo_cards, bench, mode, band=band, reference_hz=float(found.amplitudes.frequency_hz[0]),
            path=[(0.0, 1.03 * found.onset.rotation)], signals=[Signal(30e-6, 800.0)], seconds=seconds,
        )  # fmt: skip
        return time.perf_counter() - start

    benchmark.pedantic(sound, args=(1.0 if timed else 0.05,), rounds=2 if timed else 1)
    if timed:
        took = float(benchmark.stats.stats.min)
        tell("1 s of sound with the audio stage", f"{took:.1f} s", "4 s at most")
        assert took < 4.0
