"""Where the phase of the loop gain has no zero near the dial."""

from __future__ import annotations

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.schema import Build, changed_build


def test_a_zero_that_three_points_put_below_zero_hertz_is_none(bench: Bench) -> None:
    """Guards against the next look being taken there: a triode on a tap with next to no gain had a zero of
    the straight line through three phases at -2.2 MHz, and the sweep about it is refused.
    """
    shipped = api.shipped_build("tickler")
    build: Build = changed_build(shipped, {"bands[2].coil.tickler.plate_end": "near"})
    band, cards = build.bands[2], api.cards_for(build)
    with loaded(bench, onset.plan(build, cards, band=band, dial_hz=band.middle_hz)) as on:
        probe = Probe(on, band=band, dial_hz=band.middle_hz)
        probe.trim()
        run = on.session.op()
        frequency, gain, _ = probe._wide((-2.2e6, -0.01, run))
        assert 0.5 * band.middle_hz < frequency < 2.0 * band.middle_hz
        assert gain <= 0.0
        assert probe.measure(0.3).frequency > 0.0
        # one beside the dial stands
        beside = (1.02 * band.middle_hz, -0.2, run)
        assert probe._wide(beside) == beside
