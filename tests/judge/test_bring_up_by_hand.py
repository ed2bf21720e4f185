"""Figures and words of the steps of switching on: from a chart made by hand, on mains and on batteries."""

from __future__ import annotations

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.judge.bring_up import steps
from receiver_sim.results.bench_chart import MeterReading, PinChart, PinReadings
from receiver_sim.results.bench_sheet import BringUpStep, OnsetToCheck
from receiver_sim.schema import changed_build

METERS = ("1 kohm/V", "20 kohm/V", "10 Mohm")


def row(
    words: str, true: float, off: float | None, socket: str = "", out: float | None = None
) -> PinReadings:
    def shown(volts: float) -> tuple[MeterReading, ...]:
        return tuple(MeterReading(m, volts - 3.0 + n, 250.0) for n, m in enumerate(METERS, start=1))

    without = () if out is None else shown(out)
    return PinReadings(socket, "6SJ7", "8", words, words.replace(" ", ""), true, shown(true), without, off)


CHART = PinChart(
    "control fully down", 0.0, METERS,
    (row("plate supply", 183.0, 43.2e3), row("regulator", 107.0, None),
     row("plate", 171.0, None, "detector", 181.0), row("cathode", 5.1, None, "audio", 0.0)),
)  # fmt: skip
ONSETS = (
    OnsetToCheck("40 m", 7.1e6, "oscillates", 0.384, 103.7, 22.9),
    OnsetToCheck("20 m", 14.2e6, "does not oscillate", None, None, None),
)


def said(name: str = "demo", null: float | None = 0.437, **changes: str | None) -> list[BringUpStep]:
    build = changed_build(shipped_build(name), {k.replace("__", "."): v for k, v in changes.items()})
    return list(steps(build, (CHART,), ONSETS, null))


def one(found: list[BringUpStep], words: str) -> BringUpStep:
    (step,) = [step for step in found if words in step.do]
    return step


def test_ohms_of_the_supply_line_before_any_power() -> None:
    """43.2 kohm as the chart has them; half of it is a short somewhere."""
    step = one(said(), "Ohmmeter from the plate supply line")
    assert step.expect == "About 43.2 kohm."
    assert "Below 21.6 kohm: find the short before any power." in step.stop
    assert not step.live
    rectified = one(said("mains_set"), "Ohmmeter from the plate supply line")
    assert rectified.expect == "About 43.2 kohm once the capacitors have charged through the meter."


def test_the_bleeder_is_looked_at_while_nothing_is_live() -> None:
    step = one(said(), "bleeder")
    assert "bleeder of 82 kohm" in step.do and not step.live
    assert not any("bleeder of" in step.do for step in said(supply__bleeder=None))


@pytest.mark.parametrize(("name", "mains"), [("demo", True), ("mains_set", True), ("one_tube", False)])
def test_first_power_of_mains_and_of_batteries(name: str, mains: bool) -> None:
    """A lamp in series limits what a short takes from the mains; a battery knows no plug."""
    found = said(name)
    step = one(found, "Switch on through a fuse")
    assert ("series lamp" in step.do) is mains and ("The lamp stays bright" in step.stop) is mains
    assert any("pull the plug" in step.do for step in found) is mains
    assert any("take the batteries off" in step.do for step in found) is not mains
    volts, kind = {"demo": (6.3, "a.c."), "mains_set": (6.3, "a.c."), "one_tube": (1.4, "d.c.")}[name]
    assert step.expect.startswith(f"{volts:g} V {kind} at the heater pins")


def test_volts_with_the_tubes_out_and_in() -> None:
    """By the 10 Mohm meter, the last of the three; a supply down to four fifths is switched off."""
    assert one(said(), "plate and screen pins").expect.startswith("detector plate 181 V with this tube out;")
    step = one(said(), "put the tubes in")
    assert step.expect == "Plate supply 183 V, heaters aglow, no plate glowing."
    assert "Supply below 146 V or still falling" in step.stop
    assert one(said(), "Regulator. It must glow.").expect == "107 V, the same with the control fully up."
    assert any(step.do == "Regulator." for step in said("cabin"))


def test_phones_on_a_plate_are_checked_before_they_are_worn() -> None:
    for name, there in (("demo", True), ("mains_set", True), ("cabin", False), ("one_tube", False)):
        found = [step for step in said(name) if step.do.startswith("No phones plugged in")]
        assert bool(found) is there, name
        assert all(step.live and "More than 2 V" in step.stop for step in found)


def test_hum_pot_and_onset_as_they_were_found() -> None:
    assert one(said(), "Turn the hum pot").expect == "Least hum near 44 % of its track from heater end a."
    assert "(50 %)" in one(said(), "Turn the hum pot").do
    assert not any("hum pot" in step.do for step in said(null=None))
    expected = one(said(), "turn the control up slowly").expect
    assert "near: 40 m 38 % (104 deg) of the control." in expected and "20 m" not in expected
