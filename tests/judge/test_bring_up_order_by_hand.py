"""In which order a set comes up, and the words at the edges of its figures. Common practice, no source."""

from __future__ import annotations

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.judge import bring_up
from receiver_sim.judge.bring_up import steps
from receiver_sim.results.bench_chart import MeterReading, PinChart, PinReadings
from receiver_sim.results.bench_sheet import BringUpStep, OnsetToCheck
from receiver_sim.schema import Build, changed_build

METERS = ("1 kohm/V", "10 Mohm")


def row(
    words: str, *, true: float = 100.0, socket: str = "", out: float | None = None, node: str = ""
) -> PinReadings:
    def shown(volts: float) -> tuple[MeterReading, ...]:
        return tuple(MeterReading(m, volts - 1.0 + n, 250.0) for n, m in enumerate(METERS))

    without = () if out is None else shown(out)
    return PinReadings(socket, "X", "1", words, node or f"{socket}{words}", true, shown(true), without, None)


def chart(*rows: PinReadings) -> PinChart:
    return PinChart("control fully down", 0.0, METERS, rows)


WHOLE = chart(
    row("plate supply", true=183.0), row("regulator", true=107.0),
    row("plate", socket="detector", out=181.4), row("screen", socket="detector", out=-0.004),
    row("grid", socket="detector", out=55.0), row("plate", socket="audio"),
)  # fmt: skip
ONSETS = (OnsetToCheck("40 m", 7.1e6, "oscillates", 0.384, 103.7, 22.9),)

ORDER = [
    "Mains plug out", "Ohmmeter from the plate supply line", "Ohmmeter at every pin",
    "Ohmmeter across the bleeder",
    "Tubes out, control fully down", "Tubes still out", "Switch off, pull the plug",
    "Off and discharged, put the tubes in", "Regulator.", "No phones plugged in", "Phones on, volume up",
    "Aerial on", "Measure every pin",
]  # fmt: skip


def said(build: Build, charts: tuple[PinChart, ...] = (WHOLE,)) -> list[BringUpStep]:
    return list(steps(build, charts, ONSETS, 0.437))


def one(found: list[BringUpStep], words: str) -> BringUpStep:
    (step,) = [step for step in found if step.do.startswith(words)]
    return step


def test_cold_checks_come_first_tubes_after_the_discharge_and_phones_before_the_head(demo: Build) -> None:
    found = said(demo)
    assert len(found) == len(ORDER)
    for step, words in zip(found, ORDER, strict=True):
        assert step.do.startswith(words)
    assert [step.live for step in found] == [False] * 4 + [True] * 9


def test_the_chart_with_the_control_down_is_the_one_that_counts(demo: Build) -> None:
    up = chart(row("plate supply", true=99.0), row("plate", socket="detector", out=55.0))
    assert said(demo, (WHOLE, up)) == said(demo, (WHOLE,))


def test_without_a_chart_nothing_is_said_of_volts(demo: Build) -> None:
    found = said(demo, ())
    assert [step.do.partition(" ")[0] for step in found] == [
        "Mains", "Ohmmeter", "Ohmmeter", "Ohmmeter", "Tubes", "Switch", "No", "Phones", "Aerial", "Measure",
    ]  # fmt: skip
    step = one(found, "Ohmmeter from the plate supply line")
    assert (step.expect, step.stop) == (
        "More than 20 Mohm.", "A reading near zero, or one that does not rise.",
    )  # fmt: skip


def test_pins_with_the_tubes_out_are_plates_and_screens_of_pulled_tubes(demo: Build) -> None:
    """A pin that two sockets share is said once; what no tube was pulled for is not said."""
    found = one(said(demo), "Tubes still out")
    assert found.expect == (
        "detector plate 181 V; detector screen 0 V with this tube out; a little more with all out."
    )
    twice = chart(
        row("plate", socket="first", out=90.0, node="p"), row("plate", socket="audio", out=91.0, node="p")
    )
    assert one(said(demo, (twice,)), "Tubes still out").expect.startswith("audio plate 91 V with")


@pytest.mark.parametrize(
    ("volts", "text"),
    [(0.0049, "0 V"), (-0.0049, "0 V"), (0.0051, "0.0051 V"), (-12.34, "-12.3 V"), (181.4, "181 V")],
)
def test_less_than_half_of_a_meters_last_digit_is_nothing(volts: float, text: str) -> None:
    """A digital meter on its lowest ranges ends at 10 mV."""
    assert bring_up._volts(volts) == text


def test_what_stops_each_step_on_the_mains(demo: Build) -> None:
    found = said(demo)
    first = one(found, "Tubes out, control fully down")
    assert "fuse (and a series lamp of 25 to 40 W on the mains side), one hand off" in first.do
    assert (
        first.expect == "6.3 V a.c. at the heater pins, up to 10 % more with no tubes in; the lamp goes dark."
    )
    off = one(found, "Switch off")
    assert off.expect == "Below 60 V within a minute, then discharge each capacitor through 1 kohm, 5 W."
    assert off.stop.startswith("It does not fall: no bleeder, or an open one.")
    pins = one(found, "Ohmmeter at every pin")
    assert pins.expect.startswith("Within 20 %")
    assert one(found, "Measure every pin").expect.startswith("Within 15 % of the chart")
    phones = one(found, "No phones")
    assert phones.expect == "0 V within a few seconds of switching on."
    assert phones.stop.endswith("Never wear the phones before this check.")
    assert "transmits" in one(found, "Aerial on").stop


def test_what_stops_each_step_on_batteries() -> None:
    found = said(shipped_build("one_tube"))
    first = one(found, "Tubes out, control fully down")
    assert first.stop == "Plate volts at a heater pin, something smokes, or the fuse goes."
    assert first.expect == "1.4 V d.c. at the heater pins."
    off = one(found, "Switch off, take the batteries off")
    assert off.expect == "Near 0 V within seconds, then discharge each capacitor through 1 kohm, 5 W."
    assert off.stop == "It does not fall: a battery is still joined to the line."


def test_bands_that_oscillate_are_listed_one_after_the_other(demo: Build) -> None:
    two = (*ONSETS, OnsetToCheck("20 m", 14.2e6, "oscillates", 0.5, 135.0, 30.0))
    (step,) = [s for s in steps(demo, (WHOLE,), two, None) if s.do.startswith("Aerial on")]
    assert "near: 40 m 38 % (104 deg); 20 m 50 % (135 deg) of the control." in step.expect
    silent = (OnsetToCheck("20 m", 14.2e6, "does not oscillate", None, None, None),)
    assert not [s for s in steps(demo, (WHOLE,), silent, None) if s.do.startswith("Aerial on")]


def test_a_zener_does_not_glow_and_a_set_without_regulator_has_none_to_check(demo: Build) -> None:
    assert one(said(demo), "Regulator.").do == "Regulator. It must glow."
    bare = changed_build(demo, {"regulator": None})
    assert one(said(bare), "Regulator.").do == "Regulator."
    without = chart(row("plate supply", true=183.0))
    assert not [s for s in said(bare, (without,)) if s.do.startswith("Regulator.")]
    assert one(said(demo), "Regulator.").stop == (
        "A voltage that follows the control or stays well above: the regulator is dead or not fed."
    )
