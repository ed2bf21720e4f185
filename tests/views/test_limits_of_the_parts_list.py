"""What the sheet for the bench calls too weak, a hundredth above and below each limit, and how it rounds."""

from __future__ import annotations

import dataclasses

import pytest

from receiver_sim.judge.part_needs import VOLTS_MARGIN, WATTS_MARGIN
from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage
from receiver_sim.results.bench_chart import Beside, MeterReading, PartNeeds, PinChart, PinReadings
from receiver_sim.results.bench_sheet import (
    BenchSheet,
    BringUpStep,
    OnsetToCheck,
    OtherValue,
    SocketNote,
    WiringLine,
)
from receiver_sim.views import bench_sheet
from receiver_sim.views.sheet import Grid, Note, Section
from tests.helpers import reading
from tests.helpers.filling import filled

_NOTHING = dict.fromkeys(
    ("highest_v", "highest_a", "watts_w", "buy_v", "buy_w", "ripple_a", "stated_v", "stated_w", "stated_a")
)


def part(**given: object) -> PartNeeds:
    """A part that nothing is known of but what is given; it is too weak."""
    plain = {
        **_NOTHING, "designator": "C9", "word": "filter capacitor", "enough": False, "besides": (), "note": ""
    }  # fmt: skip
    return filled(PartNeeds, **{**plain, **given})


def dangers(one: PartNeeds) -> list[str]:
    section = bench_sheet.parts_table((one,))
    return [text for text in section.cautions if text not in cautions.PLATE_SUPPLY]


LIMITS = {
    "volts": ("highest_v", "stated_v", 350.0, "354 V", "350 V"),
    "watts": ("watts_w", "stated_w", 2.0, "2.02 W", "2.00 W"),
    "current": ("highest_a", "stated_a", 80e-3, "80.8 mA", "80.0 mA"),
    "ripple": ("ripple_a", "stated_a", 120e-3, "121 mA", "120 mA"),
}
"""Field met, field stated, limit (SI), and a hundredth more and the limit as three digits have them."""


@pytest.mark.parametrize("what", LIMITS)
def test_a_part_a_hundredth_over_its_limit_is_a_danger(what: str) -> None:
    met, stated, limit, more, words = LIMITS[what]
    assert dangers(part(**{met: 1.01 * limit, stated: limit})) == [
        f"DANGER, C9 (filter capacitor): it meets {more}, more than the {words} it stands."
    ]


@pytest.mark.parametrize("what", LIMITS)
def test_a_part_a_hundredth_below_its_limit_is_none(what: str) -> None:
    met, stated, limit, _, _ = LIMITS[what]
    assert dangers(part(**{met: 0.99 * limit, stated: limit})) == []


def test_a_capacitors_current_is_its_ripple() -> None:
    """No d.c. passes a capacitor: what is stated for it is ripple, whatever else flows through it."""
    over = part(highest_a=1e-6, ripple_a=0.2, stated_a=0.15)
    assert dangers(over) == [
        "DANGER, C9 (filter capacitor): it meets 200 mA, more than the 150 mA it stands."
    ]
    assert dangers(part(highest_a=0.2, ripple_a=1e-6, stated_a=0.15)) == []


def test_all_that_is_too_much_for_a_part_stands_in_one_danger() -> None:
    one = part(highest_v=471.0, stated_v=450.0, watts_w=3.4, stated_w=2.0, highest_a=0.11, stated_a=0.2)
    assert dangers(one) == [
        "DANGER, C9 (filter capacitor): it meets 471 V, 3.40 W, more than the 450 V, 2.00 W it stands."
    ]


@pytest.mark.parametrize(("share", "said"), [(1.01, "TOO LOW"), (0.99, "enough")])
def test_a_quantity_beside_a_hundredth_from_its_limit(share: float, said: str) -> None:
    beside = Beside("screen dissipation", share * 0.7, 0.7, "W")
    one = part(besides=(beside,))
    assert len(dangers(one)) == (said == "TOO LOW")
    (note,) = [n for n in reading.notes(bench_sheet.parts_table((one,))) if n.startswith("C9: ")]
    assert note.endswith(f"of 700 mW: {said}.")


def test_what_is_enough_is_said_with_all_that_is_stated() -> None:
    one = part(enough=True, stated_v=160.0, stated_w=2.0, stated_a=15e-3)
    section = bench_sheet.parts_table((one, part(enough=False, stated_w=0.5), part(enough=True)))
    (grid,) = [p for p in section.parts if isinstance(p, Grid)]
    assert [row[-1] for row in grid.rows] == ["160 V, 2.00 W, 15.0 mA: enough", "500 mW: TOO LOW", "-"]
    assert grid.styles == ("", "bold red", "")
    assert section.cautions == cautions.PLATE_SUPPLY


def test_the_legend_gives_the_margins_that_parts_are_bought_with() -> None:
    legend = reading.notes(bench_sheet.parts_table(()))[-1]
    assert f"{VOLTS_MARGIN:g} times the voltage of a capacitor" in legend
    assert WATTS_MARGIN == 2.0 and "twice the watts of a resistor" in legend
    assert "mains 10 % high" in legend and "Ripple: r.m.s." in legend


# ---------------------------------------------------------------------- readings of a meter


def chart_of(**given: object) -> tuple[str, ...]:
    plain: dict[str, object] = {"low_v": None, "high_v": None, "with_tube": (), "without_tube": ()}
    pin = filled(PinReadings, **{**plain, **given})
    (found,) = reading.tables(bench_sheet.chart_table(PinChart("half way", 0.5, (), (pin,))))
    (row,) = found.rows
    return row


@pytest.mark.parametrize(
    ("volts", "shown"),
    [(19.94, "19.94"), (-19.94, "-19.94"), (20.14, "20.1"), (-20.14, "-20.1"), (0.0, "0.00")],
)
def test_volts_below_twenty_have_a_digit_more(volts: float, shown: str) -> None:
    assert chart_of(true_v=volts)[3] == shown


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [
        (80.64, 85.69, "81 to 86"), (80.64, 85.59, "80.6 to 85.6"), (1.214, 1.724, "1.2 to 1.7"),
        (1.214, 1.704, "1.21 to 1.70"), (1.2141, 1.2139, "1.21"), (-3.161, -2.914, "-3.16 to -2.91"),
    ],
)  # fmt: skip
def test_a_range_has_the_digits_that_it_deserves(low: float, high: float, shown: str) -> None:
    """Whole volts for one of 5 V and more, tenths from half a volt on, else hundredths."""
    assert chart_of(low_v=low, high_v=high)[4] == shown


@pytest.mark.parametrize(
    ("ohm", "shown"), [(None, "> 20 M"), (0.0, "0"), (0.49, "0"), (0.51, "510 m"), (4712.0, "4.71 k"),
                       (1.23e6, "1.23 M")]
)  # fmt: skip
def test_a_pin_to_the_chassis_with_the_set_off(ohm: float | None, shown: str) -> None:
    assert chart_of(off_ohm=ohm)[-2] == shown


def test_a_range_of_twenty_volts_has_a_digit_more_than_that_of_fifty() -> None:
    shown = tuple(MeterReading("a", 12.358, top) for top in (20.0, 50.0))
    pin = filled(PinReadings, with_tube=shown, without_tube=shown[::-1])
    (found,) = reading.tables(bench_sheet.chart_table(PinChart("up", 1.0, ("a", "b"), (pin,))))
    assert found.rows[0][5:9] == ("12.36 (20)", "12.4 (50)", "12.4 (50)", "12.36 (20)")
    assert found.section == "What a meter reads, up (100 %)"
    legend = reading.notes(bench_sheet.chart_table(PinChart("up", 1.0, ("a", "b"), (pin,))))[-1]
    assert legend.startswith("Direct volts to chassis")
    assert "Set off: unplugged and discharged" in legend


# ---------------------------------------------------------------------- the other tables


def test_wiring_names_tubes_and_joints() -> None:
    lines = (
        WiringLine("V2", "audio", "6C5", "5", "grid", ("R4", "C7")),
        WiringLine("", "", "", "", "regulated line", ("R9",)),
    )
    (found,) = reading.tables(bench_sheet.wiring_table((), lines))
    assert found.headings == ("tube", "pin", "what", "goes to", "done")
    assert found.rows == (
        ("V2 6C5", "5", "grid", "R4, C7", "[ ]"), ("joint", "", "regulated line", "R9", "[ ]"),
    )  # fmt: skip


def test_a_socket_is_named_with_its_stage_base_and_the_way_its_pins_are_counted() -> None:
    given = (
        SocketNote("V1", "6SJ7", "octal", "from the key", "seen", "detector"),
        SocketNote("V3", "VR75", "octal", "from the key", "memory-high"),
    )
    section = bench_sheet.wiring_table(given, ())
    assert section.heading.endswith("seen from below")
    assert reading.notes(section) == [
        "V1 6SJ7, detector, octal: pins are counted from the key; its pins are as a published sheet has "
        "them.",
        "V3 VR75, octal: pins are counted from the key; its pins are from memory (memory-high): check with "
        "a sheet.",
    ]


def test_each_step_says_whether_plate_volts_are_on() -> None:
    steps = (BringUpStep(False, "look", "order", "smoke"), BringUpStep(True, "switch on", "90 V", "none"))
    (found,) = reading.tables(bench_sheet.bring_up_table(steps))
    assert found.headings == ("", "volts", "do", "expect", "stop when")
    assert found.rows == (
        ("1", "off", "look", "order", "smoke"), ("2", "LIVE", "switch on", "90 V", "none"),
    )  # fmt: skip


def test_a_band_without_onset_shows_its_state_and_the_pot_its_place() -> None:
    silent = OnsetToCheck("20 m", 14.2e6, "does not oscillate", None, None, None)
    section = bench_sheet.to_check((silent,), 0.437)
    (found,) = reading.tables(section)
    assert found.headings == ("band", "MHz", "onset % of knob", "deg", "control V", "yours")
    assert found.rows[0][:5] == ("20 m", "14.200", "does not oscillate", "-", "-")
    assert reading.notes(section) == ["Hum pot: least hum at 44 % from heater end a."]
    assert reading.notes(bench_sheet.to_check((silent,), None)) == []


def test_headings_of_preferred_values() -> None:
    one = OtherValue("R6", 1.05e5, 1e5, "ohm", None, 0.365, -2.41, "detector plate")
    section = bench_sheet.other_values((one,))
    (found,) = reading.tables(section)
    assert found.headings == (
        "part", "stated", "preferred", "onset % of knob", "as stated", "largest change V", "at",
    )  # fmt: skip
    assert found.rows[0][3:5] == ("-", "36.5")
    # IEC 60063: E24 goes with 5 %, as resistors are sold, E12 with 10 %
    assert "E24 for resistors, E12 for capacitors" in reading.notes(section)[0]


def test_degrees_of_the_logging_scale_count_from_open() -> None:
    assert "Degrees from open (0)" in reading.notes(bench_sheet.dial_table(()))[0]


SECTIONS = {
    "Parts": True, "Preferred values": True, "Windings": True, "Wiring, sockets seen from below": True,
    "Switching on for the first time": True, "What a meter reads, low (0 %)": True,
    "What a meter reads, high (100 %)": True, "Onset and hum to check": True, "Logging scale": False,
    "Drift while it warms up": False, "Notes": False, "Not found": False,
}  # fmt: skip
"""Heading of each section, in order, and whether a hand goes near the plate supply there."""


def test_each_part_of_the_sheet_stands_in_its_order_with_its_cautions() -> None:
    charts = tuple(filled(PinChart, setting=w, rotation=r) for w, r in (("low", 0.0), ("high", 1.0)))
    onsets = (filled(OnsetToCheck, quantity="screen voltage", unit="V"),)
    found = filled(
        BenchSheet,
        charts=charts,
        onsets=onsets,
        failed=(FailedStage("drift", "no convergence", None),),
        title="a set",
    )
    page = bench_sheet.bench_sheet(found)
    assert page.title == "For the bench: a set"
    assert [section.heading for section in page.sections] == list(SECTIONS)
    for section in page.sections:
        own = set(cautions.PLATE_SUPPLY) <= set(section.cautions)
        assert own is SECTIONS[section.heading], section.heading
    notes = page.sections[-2]
    assert [n.text for n in notes.parts if isinstance(n, Note)] == list(found.notes)
    assert reading.notes(page.sections[-1]) == ["drift: no convergence"]
    without = bench_sheet.bench_sheet(dataclasses.replace(found, others=(), notes=(), failed=()))
    gone = {"Preferred values", "Notes", "Not found"}
    assert [s.heading for s in without.sections] == [h for h in SECTIONS if h not in gone]


def test_what_failed_is_marked_as_failed() -> None:
    page = bench_sheet.bench_sheet(
        filled(BenchSheet, onsets=(), failed=(FailedStage("drift", "no convergence", None),))
    )
    last: Section = page.sections[-1]
    (note,) = [n for n in last.parts if isinstance(n, Note)]
    # a cross and a word, so that it shows without colour, too
    assert note.mark.split() == ["X", "FAILED"]
    assert note.style == "bold red"
