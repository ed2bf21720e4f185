"""How sure `check` is: a hundred sets against single studies, and what it says of ranges."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from receiver_sim import api
from receiver_sim.api import _sure
from receiver_sim.api._sure import SEED, drawing_of, how_sure
from receiver_sim.circuit.factors import drawn, factors_of
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.receiver import Receiver
from receiver_sim.results.sure import FigureRange, HowSure
from receiver_sim.schema import Build
from receiver_sim.studies import amplitude, audio_response, hum, operating_point
from receiver_sim.working import Setting, choose

SETS, STRENGTHS = _sure.SETS, _sure.STRENGTHS
"""Sets that `check` draws, and of which it looks at strength; other tests make do with fewer."""


@pytest.fixture(scope="module", autouse=True)
def all_sets() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_sure, "SETS", SETS)
        patch.setattr(_sure, "STRENGTHS", STRENGTHS)
        patch.setattr(_sure, "factors_of", factors_of)
        yield


@pytest.fixture(scope="module")
def one_band(demo: Build) -> Build:
    return demo.model_copy(update={"bands": (demo.bands[2],)})


@pytest.fixture(scope="module")
def setting(one_band: Build, bench: api.Bench) -> Setting:
    return choose(one_band, [r.middle for r in api.loop(one_band, bench=bench)])


@pytest.fixture(scope="module")
def found(one_band: Build, bench: api.Bench, setting: Setting) -> HowSure:
    reports = api.loop(one_band, bench=bench)
    drawing = drawing_of(Receiver(one_band, bench), reports=reports, setting=setting)
    return how_sure(drawing, bench, strengths=(), progress=lambda *_: None)


def named(found: HowSure, words: str) -> FigureRange:
    (one,) = [f for f in found.figures if f.name == words]
    return one


def test_figures_as_stated_are_those_of_the_studies(
    one_band: Build, bench: api.Bench, setting: Setting, found: HowSure
) -> None:
    tuned = setting.on(Receiver(one_band, bench))
    point = operating_point.run(tuned, settings=[("working", setting.rotation)])[0]
    for words, volts in point.volts.items():
        assert named(found, words).stated == pytest.approx(volts, rel=1e-4, abs=1e-5)
    assert named(found, "plate current of the audio tube").stated == pytest.approx(
        point.tubes[1].plate_a, rel=1e-4
    )
    heard = audio_response.run(tuned, rotation=setting.rotation).outputs[0]
    assert named(found, f"gain to {heard.output}").stated == pytest.approx(heard.gain_1khz, rel=1e-3)
    hums = hum.run(tuned, rotation=setting.rotation).outputs[0]
    assert named(found, f"hum pot at that null, {hums.output}").stated == pytest.approx(
        hums.best_position, abs=2e-3
    )


def test_the_range_holds_what_the_studies_find_in_a_set(
    one_band: Build, demo_cards: Cards, bench: api.Bench, setting: Setting, found: HowSure
) -> None:
    """The twelfth set, assembled anew: its plate volts by the study are the ones that the sampler read."""
    factors = factors_of(one_band, one_band, demo_cards)
    seen = []
    for row in draws(factors, seed=SEED, start=0, stop=12):
        build, cards = drawn(one_band, demo_cards, factors, moved_by(factors, row))
        point = operating_point.run(
            Receiver(build, bench, cards=cards).at(build.bands[0], setting.onset.dial_hz),
            settings=[("working", setting.rotation)],
        )[0]
        seen.append(point.volts["audio plate"])
    one = named(found, "audio plate")
    inside = sum(one.low <= volts <= one.high for volts in seen)
    # eight of ten: 6 to 12 of 12 in 98 of a hundred draws (binomial tables)
    assert inside >= 6
    assert one.low < one.stated < one.high


def test_counts_and_what_decides(found: HowSure) -> None:
    assert found.sets == SETS == 100
    assert [one.rule for one in found.held][:4] == ["onset", "onset_rotation", "onset_screen", "approach_min"]
    whole = found.held[-1]
    assert whole.rule == "all" and whole.held <= min(one.held for one in found.held[:4])
    assert len(found.deciding) == 3 and found.deciding[0].share >= found.deciding[1].share
    band = found.bands[0]
    assert band.knob_low is not None and band.knob_high is not None and band.knob_low < band.knob_high


def test_without_a_setting_there_are_no_readings(one_band: Build, bench: api.Bench) -> None:
    reports = api.loop(one_band, bench=bench)
    drawing = drawing_of(Receiver(one_band, bench), reports=reports, setting=None)
    bare = how_sure(drawing, bench, strengths=(), progress=lambda *_: None)
    assert bare.figures == () and bare.held[-1].of == 100


def test_strengths_are_those_of_the_sets(
    one_band: Build, demo_cards: Cards, bench: api.Bench, found: HowSure
) -> None:
    """Against the whole map of each of the ten sets, built one by one. The map ends with the last amplitude
    that the control holds, up to a step of 6 % below the top.
    """
    factors = factors_of(one_band, one_band, demo_cards)
    tops, soft = [], 0
    for row in draws(factors, seed=SEED, start=0, stop=STRENGTHS):
        build, cards = drawn(one_band, demo_cards, factors, moved_by(factors, row))
        band = build.bands[0]
        whole = amplitude.run(Receiver(build, bench, cards=cards).at(band), time_runs=False)
        if whole.onset is not None and whole.amplitudes is not None:
            tops.append(float(whole.amplitudes.amplitude_v[-1]))
            soft += whole.jump is None
    (one,) = found.strengths
    assert (one.band, one.sets, one.found, one.soft) == ("40 m", len(tops), len(tops), soft)
    assert found.looked == 10
    assert one.top_low_v is not None and one.top_high_v is not None
    assert min(tops) <= one.top_low_v <= 1.07 * min(tops)
    assert max(tops) <= one.top_high_v <= 1.07 * max(tops)
