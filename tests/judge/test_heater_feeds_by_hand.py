"""Heaters by hand: halves in series, droppers, chokes that take the volts, filaments by their socket.

Volts and currents of tubes are those of their sheets, on the cards: 6SJ7 and 6C5 6.3 V, 0.3 A; 56 2.5 V, 1 A;
12AU7 6.3 V, 0.3 A with its halves in parallel, 12.6 V, 0.15 A in series; 1T4 1.4 V, 50 mA. What helps is
common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.registry import Cards
from receiver_sim.judge.heater_verdicts import judge_heaters
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.card import TubeCard, card_for


def judged(build: Build, cards: Cards | None = None) -> list[Verdict]:
    return judge_heaters(build, cards or cards_for(build))


def filament(card: TubeCard) -> TubeCard:
    """The card with its filament as the cathode."""
    return card.model_copy(update={"heater": card.heater.model_copy(update={"direct": True})})


@pytest.mark.parametrize(
    ("line", "rule", "limit"),
    [(9.0, "heater_over_max", 6.93), (9.9, "heater_under_max", 11.34), (13.8, "heater_volts", 12.6),
     (13.9, "heater_over_max", 13.86), (25.2, "heater_over_max", 13.86)],
)  # fmt: skip
def test_two_halves_are_meant_in_the_way_that_is_nearer(
    demo: Build, line: float, rule: str, limit: float
) -> None:
    """6.3 V and 12.6 V lie alike at 9.45 V. A tenth more or less: 6.93 V, 11.34 V, 13.86 V."""
    found = judged(changed_build(demo, {"audio.tube": "12AU7", "heater.volts": f"{line} V"}))[1]
    assert (found.rule, found.value, found.limit) == (rule, line, pytest.approx(limit))


@pytest.mark.parametrize("kind", ["1T4", "6SJ7", "56", "12SJ7", "01A"])
@pytest.mark.parametrize("share", [0.9, 1.1])
def test_a_tenth_of_any_heater_is_allowed_as_it_is_typed(demo: Build, kind: str, share: float) -> None:
    """To four digits, as a constructor writes it: 1.26 V, 5.67 V, 2.25 V, 11.34 V, 4.5 V and so on."""
    card = card_for(kind)
    build = changed_build(demo, {"heater.volts": f"{share * card.heater.volts:.4g} V"})
    found = [v for v in judged(build, Cards(card, card)) if v.rule.startswith("heater_")]
    assert {v.grade for v in found} == {Grade.GOOD}


def test_a_dropper_for_halves_in_series_carries_half_the_current(demo: Build) -> None:
    """On a line of 25.2 V beside tubes of 6.3 V: (25.2 - 12.6) V at 0.15 A are 84 ohm and 1.89 W, rounded to
    two digits; the 6SJ7 beside it drops 18.9 V at 0.3 A: 63 ohm, 5.67 W.
    """
    found = judged(changed_build(demo, {"audio.tube": "12AU7", "heater.volts": "25.2 V"}))
    assert [v.text.partition("give it ")[2] for v in found] == [
        "a winding of 6.3 V, or drop it through 63 ohm, 5.7 W of heat (key 'heater_feed')",
        "a winding of 12.6 V, or drop it through 84 ohm, 1.9 W of heat (key 'heater_feed')",
    ]
    assert all("want different volts (6SJ7 6.3 V, 12AU7 12.6 V)" in v.text for v in found)


def test_nothing_is_dropped_for_a_heater_that_lacks_volts(demo: Build) -> None:
    """6.3 V can't be had from 2.5 V by a resistor."""
    low, good = judged(changed_build(demo, {"audio.tube": "56", "heater.volts": "2.5 V"}))
    assert (low.rule, good.grade) == ("heater_under_max", Grade.GOOD)
    assert low.text.endswith(
        "the tubes on this line want different volts (6SJ7 6.3 V, 56 2.5 V): give it a winding of 6.3 V "
        "(key 'heater_feed')"
    )


@pytest.mark.parametrize("source", ["line", "winding", "cell"])
def test_a_feed_of_its_own_is_what_is_to_change_and_not_the_line(demo: Build, source: str) -> None:
    """A dropper that gives 5 V of 6.3 V; and the line of the others is none of that tube's concern."""
    build = changed_build(demo, {"audio.tube": "56", "audio.heater_feed": {"source": source, "volts": "5 V"}})
    other, wrong = judged(build)
    assert (other.grade, wrong.value) == (Grade.GOOD, 5.0)
    assert wrong.text.endswith("burns out; its own feed has to give 2.5 V")
    # the 56, fed by itself, does not keep the line from being turned down for the 6SJ7
    high = judged(changed_build(build, {"heater.volts": "7.5 V"}))[0]
    assert high.text.endswith("burns out; run the heater line at 6.3 V")


def test_a_source_of_its_own_without_volts_has_those_of_the_line_and_does_not_hang_on_it(demo: Build) -> None:
    build = changed_build(demo, {"heater.volts": "7.5 V", "audio.heater_feed": {"source": "winding"}})
    assert [v.text.partition("burns out; ")[2] for v in judged(build)] == [
        "run the heater line at 6.3 V", "its own feed has to give 6.3 V",
    ]  # fmt: skip


BATTERY: dict[str, Any] = {"detector.tube": "1T4", "heater.volts": "1.4 V", "heater.supply": "dc"}


@pytest.mark.parametrize("volts", [None, "1.4 V"])
def test_chokes_that_take_the_volts_are_what_is_to_change(demo: Build, volts: str | None) -> None:
    """1T4, 50 mA through two chokes of 2 ohm: 0.2 V of the 1.4 V. A tenth, 0.14 V, is left for 1.4 ohm in
    each lead. The fault this guards: the advice was to run the line at the 1.4 V that it has.
    """
    feed: dict[str, Any] = {"chokes": 1e-3, "choke_resistance": 2.0}
    if volts is not None:
        feed["volts"] = volts
    found = judged(changed_build(demo, {**BATTERY, "detector.heater_feed": feed}))[0]
    assert (found.rule, found.value) == ("heater_under_max", pytest.approx(1.2))
    assert found.text == (
        "1.2 V on a heater rated 1.4 V: the cathode stays too cool to emit what its card says; the chokes in "
        "its leads take 200 mV: 1.4 ohm in each is the most"
    )


def test_halves_in_series_draw_half_the_current_through_their_chokes(demo: Build) -> None:
    """3S4, 2.8 V and 50 mA with its halves in series: 4 ohm a choke leave 2.4 V; 0.28 V may go, 2.8 ohm."""
    card, fed = card_for("3S4"), {"chokes": 1e-3, "choke_resistance": 4.0, "volts": 2.8, "source": "cell"}
    build = changed_build(demo, {"audio.tube": "3S4", "audio.heater_feed": fed})
    (found,) = [v for v in judged(build, Cards(card_for("6SJ7"), card)) if v.rule == "heater_under_max"]
    assert (found.value, found.limit) == pytest.approx((2.4, 2.52))
    assert found.text.endswith("the chokes in its leads take 400 mV: 2.8 ohm in each is the most")


def test_a_line_too_low_is_said_where_chokes_alone_are_not_to_blame(demo: Build) -> None:
    feed = {"chokes": 1e-3, "choke_resistance": 0.5}
    found = judged(changed_build(demo, {**BATTERY, "heater.volts": "1.2 V", "detector.heater_feed": feed}))[0]
    assert found.value == pytest.approx(1.15) and "the cathode stays too cool" in found.text
    assert "chokes" not in found.text


# ---------------------------------------------------------------------------- filaments as cathodes


def test_a_filament_off_the_tap_needs_no_chokes() -> None:
    """With a tickler the cathode is at ground for r.f.; on a tap it carries the carrier."""
    for name, on_a_tap in (("tickler", False), ("demo", True)):
        build = changed_build(shipped_build(name), {"heater.supply": "dc"})
        cards = cards_for(build)
        found = judged(build, replace(cards, detector=filament(cards.detector)))
        assert any(v.rule == "filament_tap" for v in found) is on_a_tap, name


@pytest.mark.parametrize("source", ["winding", "cell"])
def test_a_source_of_its_own_follows_the_tap(demo: Build, source: str) -> None:
    build = changed_build(demo, {**BATTERY, "detector.heater_feed": {"source": source}})
    (found,) = [v for v in judged(build) if v.rule == "filament_tap"]
    assert (found.grade, found.value, found.limit) == (Grade.GOOD, None, None)
    assert found.text == (
        f"a {source} of its own lets the filament follow the tap: keep its leads short and its capacitance "
        "to ground small"
    )


@pytest.mark.parametrize(("share", "grade"), [(0.995, Grade.DOUBTFUL), (1.005, Grade.GOOD)])
def test_chokes_of_two_hundred_times_the_tapped_inductance(demo: Build, share: float, grade: Grade) -> None:
    """In parallel they are a hundred times what the tap shows: of an ideal tap the square of its share of
    the turns, of the whole coil.
    """
    coil = {"inductance": 8e-6, "q": 150, "tap": 0.1, "coupling": 1.0}
    band = {"name": "40 m", "from": 7.0e6, "to": 7.2e6, "coil": coil}
    build = changed_build(demo, {**BATTERY, "bands": [band]})
    needed = 2.0 * 100.0 * 0.1**2 * 8e-6
    choked = changed_build(build, {"detector.heater_feed": {"chokes": share * needed}})
    (found,) = [v for v in judged(choked) if v.rule == "filament_tap"]
    assert (found.grade, found.unit) == (grade, "H")
    assert (found.value, found.limit) == (pytest.approx(share * needed), pytest.approx(needed))
    said = "barely load the tap" if grade is Grade.GOOD else "shunt the tap: 16 uH or more each"
    assert found.text == f"the chokes in the filament's leads {said}"


HUM = "a.c. in a filament hums more than a heater does, which the hum figures do not have in them: "
TAP_HUM = (
    "a.c. in the filament of a detector hums at any setting of the hum pot, and the hum figures do not have "
    "that part in them: heat it by d.c."
)


@pytest.mark.parametrize(
    ("wiring", "grade", "cure"),
    [
        ("hum_pot", Grade.DOUBTFUL, "heat it by d.c."),
        ("one_side", Grade.BAD, "ground a hum pot or a centre tap, not one side, or heat it by d.c."),
    ],
)
def test_alternating_current_in_filaments(demo: Build, wiring: str, grade: Grade, cure: str) -> None:
    """The detector amplifies what follows; on one side of the line all of the a.c. stands at the cathode."""
    build = changed_build(demo, {"heater.wiring": wiring})
    cards = cards_for(build)
    assert cards.audio is not None
    both = replace(cards, detector=filament(cards.detector), audio=filament(cards.audio))
    found = {v.subject: v for v in judged(build, both) if v.rule == "filament_hum"}
    assert (found["detector 6SJ7"].grade, found["detector 6SJ7"].text) == (Grade.BAD, TAP_HUM)
    assert (found["audio 6C5"].grade, found["audio 6C5"].text) == (grade, HUM + cure)
    # a winding brings a.c. even where the line is d.c.; a cell never
    direct = changed_build(build, {"heater.supply": "dc", "audio.heater_feed": {"source": "winding"}})
    assert {v.subject for v in judged(direct, both) if v.rule == "filament_hum"} == {"audio 6C5"}


def test_the_resistor_of_its_own_stage_cannot_bias_a_filament(demo: Build) -> None:
    """The first stage has a cathode resistor and the second a grid leak, or the other way round."""
    by_leak = {"bias": "grid_leak", "cathode_resistor": None, "cathode_bypass": None, "grid_leak": 4.7e6,
               "grid_capacitor": 1e-8}  # fmt: skip
    first = {"tube": "6C5", "cathode_resistor": 2700.0, "plate_resistor": 1e5, "coupling": 1e-8}
    two = changed_build(demo, {"audio.first": first, "audio.grid_resistor": 470e3, "heater.supply": "dc"})
    cards = cards_for(two)
    assert cards.audio is not None and cards.first is not None
    hot = replace(cards, audio=filament(cards.audio), first=filament(cards.first))

    def biased(build: Build) -> list[str]:
        return [v.subject for v in judged(build, hot) if v.rule == "filament_bias"]

    assert biased(two) == ["first audio 6C5", "audio 6C5"]
    leaking = {f"audio.{key}": value for key, value in by_leak.items()}
    assert biased(changed_build(two, leaking)) == ["first audio 6C5"]
    leaking = {f"audio.first.{key}": value for key, value in by_leak.items()}
    assert biased(changed_build(two, leaking)) == ["audio 6C5"]
    (text,) = {v.text for v in judged(two, hot) if v.rule == "filament_bias"}
    assert text == (
        "the cathode of a 6C5 is its filament, and the line grounds it for all tubes: a cathode resistor "
        "cannot bias it. Bias it by a grid leak, or heat it from a winding or cell of its own with the "
        "resistor in its return (key 'heater_feed')"
    )


def test_a_filament_in_the_rf_stage() -> None:
    """It has no grid leak to be biased by: a source of its own is all that is left."""
    build = changed_build(shipped_build("rf_stage"), {"heater.supply": "dc"})
    cards = cards_for(build)
    assert cards.rf is not None
    found = judged(build, replace(cards, rf=filament(cards.rf)))
    assert found[0].subject == f"r.f. {cards.rf.type}" and found[0].grade is Grade.GOOD
    (bias,) = [v for v in found if v.rule == "filament_bias"]
    assert (bias.subject, bias.grade) == (found[0].subject, Grade.BAD)
    assert bias.text == (
        f"the cathode of a {cards.rf.type} is its filament, and the line grounds it for all tubes: a cathode "
        "resistor cannot bias it. Heat it from a winding or cell of its own with the resistor in its return "
        "(key 'heater_feed')"
    )
    assert not any(v.rule == "filament_tap" for v in found)
    own = changed_build(build, {"rf_stage.heater_feed": {"source": "cell"}})
    assert not any(v.rule == "filament_bias" for v in judged(own, replace(cards, rf=filament(cards.rf))))
