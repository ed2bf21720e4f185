"""Where a tap is put, on loop gains in closed form, and what a coil is warned of: nothing is run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.design import tap_finder, winding
from receiver_sim.errors import NoAnswer
from receiver_sim.results.base import Status
from receiver_sim.results.coils import TapFind, TapPlace
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_changes import Change

DIAL = 3.65e6


def _find(
    monkeypatch: pytest.MonkeyPatch,
    build: Build,
    law: Callable[[float, str], float],
    *,
    band: int = 1,
    changes: dict[str, bool] | None = None,
) -> tuple[TapFind, list[bool]]:
    """Find the tap; law: loop gain at a tap (turns, or share of the turns) after a change, '' for none.

    changes: what may be tried, by name, each of a kind of its own; what is found at a place is an onset at
    its hundredth of the knob.
    """
    wanted: list[bool] = []

    def at(tuned: Any, *, rotation: float) -> float:
        assert rotation == 0.6
        return law(tuned.place, tuned.change)

    def tapped(self: Any, place: float) -> Any:
        found = SimpleNamespace(status=Status.OSCILLATES, onset=ControlSetting(place / 100.0, 20.0))
        return SimpleNamespace(
            place=place, change=self.tuned.change, onset=found, receiver=self.tuned.receiver,
            dial_hz=self.tuned.dial_hz,
        )  # fmt: skip

    def offered(_: Build, __: Band, *, more: bool) -> list[Change]:
        wanted.append(more)
        return [
            Change(name, f"do {name}", lambda build, band, name=name: ({**build, name: True}, band))  # type: ignore[misc,dict-item]
            for name in changes or {}
        ]

    def made(receiver: Any, one: Band, dial_hz: float) -> Any:
        return SimpleNamespace(
            receiver=receiver, band=one, dial_hz=dial_hz, build=receiver.build, change=receiver.change
        )

    class Receiver:
        def __init__(self, done: dict[str, bool]) -> None:
            self.build, self.change = done, "+".join(done)

        def changed(self, done: dict[str, bool]) -> Any:
            return Receiver(done)

    monkeypatch.setattr(tap_finder, "gain_at", at)
    monkeypatch.setattr(tap_finder, "changes", offered)
    monkeypatch.setattr(tap_finder, "Tuned", made)
    monkeypatch.setattr(tap_finder.Seeker, "tapped", tapped)
    return tap_finder.run(made(Receiver({}), build.bands[band], DIAL), target=0.6), wanted


def _turns(build: Build, band: int = 1) -> float:
    coil = build.bands[band].coil.winding
    assert coil is not None and coil.kind == "solenoid"
    return float(coil.turns)


def test_a_tap_in_turns_is_found_stepped_and_bracketed(monkeypatch: pytest.MonkeyPatch, wound: Build) -> None:
    """Loop gain in proportion to the turns, one at 1.337: the nearest quarter is 1.25; half a turn beside."""
    found, _ = _find(monkeypatch, wound, lambda turns, _: turns / 1.337)
    assert (found.band, found.dial_hz, found.target) == (wound.bands[1].name, DIAL, 0.6)
    assert found.status is Status.OSCILLATES
    taps = (found.exact, found.step, found.less, found.more)
    assert all(one is not None for one in taps)
    # a thousandth of a turn
    assert [one.turns for one in taps if one] == pytest.approx([1.337, 1.25, 0.75, 1.75], abs=5.1e-4)
    assert [one.share for one in taps if one] == pytest.approx(
        [turns / _turns(wound) for turns in (1.337, 1.25, 0.75, 1.75)], rel=1e-3
    )
    assert found.present.turns == pytest.approx(wound.bands[1].coil.winding.tap)  # type: ignore[union-attr]
    assert found.present.onset is not None and found.step is not None
    assert found.step.onset == ControlSetting(0.0125, 20.0)


def test_a_tap_as_a_share_is_stepped_by_quarters_of_a_per_cent(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """Loop gain one at 3.38 %: the nearest quarter is 3.5; half a per cent beside it are 3 and 4."""
    found, _ = _find(monkeypatch, demo, lambda share, _: share / 0.0338)
    taps = (found.exact, found.step, found.less, found.more)
    assert [one.share for one in taps if one] == pytest.approx([0.0338, 0.035, 0.03, 0.04], abs=1e-5)
    assert all(one is not None and one.turns is None for one in (*taps, found.present))
    assert found.present.share == pytest.approx(0.0241)


def test_half_a_turn_below_the_first_quarter_there_is_no_tap(
    monkeypatch: pytest.MonkeyPatch, wound: Build
) -> None:
    """At 0.3 of a turn the nearest quarter is the first; less than that would leave the coil. At the middle
    of the coil nothing is above it.
    """
    low, _ = _find(monkeypatch, wound, lambda turns, _: turns / 0.3)
    assert low.step is not None and low.step.turns == 0.25 and low.less is None and low.more is not None
    least, _ = _find(monkeypatch, wound, lambda turns, _: turns / 0.06)
    assert least.step is not None and least.step.turns == 0.25  # not at no turn at all
    half = _turns(wound) / 2.0
    high, _ = _find(monkeypatch, wound, lambda turns, _: turns / (half - 0.1))
    assert high.more is None and high.less is not None


def test_a_gain_that_falls_beyond_its_maximum_is_met_on_the_way_up(
    monkeypatch: pytest.MonkeyPatch, wound: Build
) -> None:
    """A parabola that is one at 0.8 turns and at 5.2, and below one at half the turns: the lower counts."""
    found, _ = _find(monkeypatch, wound, lambda turns, _: 1.0 + 0.1 * (turns - 0.8) * (5.2 - turns))
    assert found.exact is not None and found.exact.turns == pytest.approx(0.8, abs=1e-3)


def test_where_no_tap_oscillates_the_change_that_gains_most_is_named_first(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """The gain is in proportion to what is done; one change alone is enough."""
    size = {"": 0.5, "a": 0.7, "b": 1.3, "c": 0.9}
    found, wanted = _find(
        monkeypatch,
        demo,
        lambda share, change: 2.0 * share * size[change],
        changes=dict.fromkeys("abc", True),
    )
    assert found.status is Status.DOES_NOT and set(wanted) == {True}
    assert (found.exact, found.step, found.less, found.more) == (None, None, None, None)
    assert found.best is not None and found.best.share == pytest.approx(0.5)
    assert found.best_gain == pytest.approx(0.5)
    assert [(one.change, one.gain) for one in found.advice] == [
        ("do b", pytest.approx(1.3)),
        ("do c", pytest.approx(0.9)),
        ("do a", pytest.approx(0.7)),
    ]
    places = [one.place for one in found.advice]
    assert places[1:] == [None, None]
    assert isinstance(places[0], TapPlace) and places[0].share == pytest.approx(0.5 / 1.3, abs=1e-5)


def test_two_changes_are_tried_together_where_none_is_enough_alone(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """Gains multiply: 0.5 by 1.3, 1.6 and 1.8; the two best make 1.44."""
    by = {"a": 1.3, "b": 1.8, "c": 1.6}

    def law(share: float, change: str) -> float:
        gain = share
        for one in change:
            gain *= by.get(one, 1.0)
        return gain

    found, _ = _find(monkeypatch, demo, law, changes=dict.fromkeys("abc", True))
    assert [one.change for one in found.advice[:3]] == [
        "do b, and do c", "do b, and do a", "do c, and do a",
    ]  # fmt: skip
    assert found.advice[0].gain == pytest.approx(0.5 * 1.8 * 1.6)
    assert [one.place is not None for one in found.advice] == [True, True, True, False, False, False]
    gains = [one.gain for one in found.advice]
    assert gains == sorted(gains, reverse=True)


def test_where_the_lowest_tap_oscillates_the_change_that_takes_most_is_named_first(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """The lowest tap looked at is a thousandth of the turns; less gain is what is sought."""
    size = {"": 3.0, "a": 2.0, "b": 0.4, "c": 1.4}
    found, wanted = _find(
        monkeypatch,
        demo,
        lambda share, change: size[change] * (share / 0.001) ** 0.5,
        changes=dict.fromkeys("abc", True),
    )
    assert found.status is Status.NOT_IN_RANGE and set(wanted) == {False}
    assert found.best is not None and found.best.share == pytest.approx(0.001)
    assert found.best_gain == pytest.approx(3.0)
    assert [one.change for one in found.advice] == ["do b", "do c", "do a"]
    assert [one.gain for one in found.advice] == pytest.approx([0.4, 1.4, 2.0])
    first = found.advice[0].place
    # (1/0.4)^2 thousandths
    assert first is not None and first.share == pytest.approx(0.00625, abs=1e-5)
    assert [one.place for one in found.advice[1:]] == [None, None]


def test_where_no_phase_is_zero_there_is_no_gain(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    def law(_: float, __: str) -> float:
        raise NoAnswer("no frequency of zero phase")

    found, _ = _find(monkeypatch, demo, law)
    assert (found.status, found.best_gain, found.advice) == (Status.DOES_NOT, 0.0, ())


def test_a_failed_search_says_where_the_tap_is_and_why(wound: Build, demo: Build) -> None:
    one = tap_finder.failed(wound.bands[1], DIAL, 0.6, "the reason")
    assert (one.status, one.warnings, one.band) == (Status.FAILED, ("the reason",), wound.bands[1].name)
    assert (one.dial_hz, one.target, one.exact, one.step) == (DIAL, 0.6, None, None)
    assert one.present.turns == pytest.approx(wound.bands[1].coil.winding.tap)  # type: ignore[union-attr]
    plain = tap_finder.failed(demo.bands[1], DIAL, 0.6, "the reason")
    assert (plain.present.turns, plain.present.share) == (None, pytest.approx(0.0241))


# ---------------------------------------------------------------------------- a coil to be wound


WISH = winding.Wish(
    from_hz=3.5e6, to_hz=3.9e6, former=32e-3, wire=0.5e-3, covering=0.05e-3, pitch=None, minimum=11e-12,
    maximum=160e-12, law="capacitance", stray=12e-12, tap=0.06, spread=False, reactance=250.0,
)  # fmt: skip


def _warned(
    *,
    length: float = 32e-3,
    low: float = 3.4e6,
    high: float = 7e6,
    turns: float = 30.0,
    tap: float = 1.8,
    measured: float = 1.0,
) -> list[str]:
    """Warnings of a coil; measured: length of its winding over its diameter."""
    figures: Any = SimpleNamespace(
        length=length,
        self_capacitance=2.2e-12,
        windings=[SimpleNamespace(length=measured * 33e-3, radius=16.5e-3)],
    )
    return winding._warnings(WISH, figures, low=low, high=high, turns=turns, tap=tap)


def test_a_coil_with_nothing_amiss_is_not_warned_of() -> None:
    assert _warned() == []


@pytest.mark.parametrize(
    ("low", "high", "warned"),
    [(3.499e6, 3.901e6, False), (3.501e6, 7e6, True), (3.4e6, 3.899e6, True)],
)
def test_a_capacitor_that_does_not_reach_both_ends_of_the_band_is_named(
    low: float, high: float, warned: bool
) -> None:
    found = _warned(low=low, high=high)
    assert len(found) == warned
    if warned:
        assert found[0].endswith(": not the whole band; take a larger capacitor or less stray capacitance")
        assert found[0].startswith(f"the capacitor gives {low / 1e6:.4g} MHz to {high / 1e6:.4g} MHz")


@pytest.mark.parametrize(("share", "warned"), [(1.98, False), (2.02, True)])
def test_a_coil_twice_as_long_as_its_former_is_wide_loses_q(share: float, warned: bool) -> None:
    """Common practice, no source."""
    found = _warned(length=share * 32e-3)
    assert found == (
        ["the coil is 2.0 times as long as its former is wide: a larger former has more Q"] if warned else []
    )


@pytest.mark.parametrize(("turns", "warned"), [(2.75, True), (3.0, False)])
def test_leads_count_from_less_than_three_turns(turns: float, warned: bool) -> None:
    found = _warned(turns=turns, tap=0.06 * turns)
    assert found == (
        ["less than three turns: leads and socket count for as much; measure the inductance"]
        if warned
        else []
    )


@pytest.mark.parametrize(
    ("share", "warned"), [(0.0303, False), (0.0297, True), (0.0897, False), (0.0903, True)]
)
def test_a_tap_that_a_quarter_turn_puts_half_as_far_off_again_is_named(share: float, warned: bool) -> None:
    """6 % of the turns are wanted: from 3 to 9 % is near enough."""
    found = _warned(tap=share * 30.0)
    said = f"a quarter turn is coarse here: the tap is at {share:.1%} of the turns"
    assert found == ([said] if warned else [])


def test_a_shape_that_nobody_measured_has_a_rough_capacitance() -> None:
    """Medhurst measured coils from a tenth of their diameter to fifty times it (1947, from memory)."""
    assert _warned(measured=0.11) == _warned(measured=49.0) == []
    assert len(_warned(measured=51.0)) == 1
    (said,) = _warned(measured=0.09)
    assert "0.09 diameters long" in said and "2.2 pF are extrapolated, good to a factor of two" in said


def _refused(**changes: Any) -> str:
    with pytest.raises(NoAnswer) as told:
        winding.design(replace(WISH, **changes))
    return str(told.value)


def test_what_can_not_be_wound_says_what_to_take_instead() -> None:
    assert _refused(pitch=0.54e-3) == (
        "turns overlap: a pitch of 0.54 mm is less than wire and covering, 0.55 mm"
    )
    assert winding.design(replace(WISH, pitch=0.56e-3)).part.pitch_m == pytest.approx(0.56e-3)
    long = _refused(from_hz=100e3, to_hz=110e3, former=4e-3, minimum=5e-12, maximum=30e-12, stray=1e-12)
    assert long == "more than 400 turns are needed: take a larger former or thinner wire"
    wide = _refused(from_hz=28e6, to_hz=29e6, former=300e-3)
    assert wide.startswith("one turn has more than the ") and wide.endswith(
        " uH wanted: take a smaller former or less capacitance"
    )
    low = _refused(spread=True, reactance=5e3)
    assert low.startswith("a coil of 5000 ohm leaves no room for strays and tube, ")
    assert low.endswith(": take a lower reactance")


def test_lines_for_the_build_say_what_was_designed() -> None:
    """Pitch and padders where there are some, in the place where a build has them."""
    lines = winding._lines(replace(WISH, pitch=0.8e-3), turns=21.25, tap=1.25, series=33e-12, parallel=47e-12)
    assert lines == (
        "- name: new band",
        "  from: 3.5 MHz",
        "  to: 3.9 MHz",
        "  coil:",
        "    winding:",
        "      kind: solenoid",
        "      former: 32 mm",
        "      turns: 21.25",
        "      wire: 0.5 mm",
        "      covering: 0.05 mm",
        "      material: bakelite",
        "      pitch: 0.8 mm",
        "      tap: 1.25",
        "  padding: {series: 33 pF, parallel: 47 pF}",
    )
    plain = winding._lines(WISH, turns=21.25, tap=1.25, series=None, parallel=0.0)
    assert not any("pitch" in line or "padding" in line for line in plain)
    trimmed = winding._lines(WISH, turns=21.25, tap=1.25, series=None, parallel=47e-12)
    assert trimmed[-1] == "  padding: {parallel: 47 pF}"


def test_a_spread_band_lies_from_a_tenth_to_nine_tenths_of_the_dial() -> None:
    found = winding.design(replace(WISH, spread=True))
    # turns are rounded to a quarter and the padders are not: the ends are met
    assert (found.band_low, found.band_high) == (pytest.approx(0.9, abs=1e-6), pytest.approx(0.1, abs=1e-6))
    assert found.series_farad is not None and found.parallel_farad > 0.0
    assert found.low_hz < 3.5e6 and found.high_hz > 3.9e6
    plain = winding.design(WISH)
    assert (plain.series_farad, plain.parallel_farad) == (None, 0.0)


def test_a_band_that_the_dial_does_not_reach_has_no_place_on_it() -> None:
    found = winding.design(replace(WISH, to_hz=12e6))
    assert found.band_high is None and found.band_low == pytest.approx(0.9, abs=0.02)
    assert any("not the whole band" in one for one in found.warnings)
