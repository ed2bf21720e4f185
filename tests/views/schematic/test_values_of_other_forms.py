"""Values and words on the drawings of other forms, against the text of the shipped builds, by eye."""

from __future__ import annotations

from typing import Any

import pytest

from receiver_sim import api

DRAWN: dict[tuple[str, str], dict[tuple[str, str], tuple[str, ...]]] = {
    ("demo", "40 m"): {
        ("tuning", "variable capacitor"): ("9 pF to 160 pF", "tuning"),
        ("bands[2].coil", "coil"): ("5.6 µH", "40 m"),
        ("regulator.volts", "gas tube"): ("gas tube", "108 V"),
        ("supply.volts", "source"): ("d.c. supply", "190 V"),
        ("heater.volts", "winding"): ("6.3 V a.c.",),
        ("heater.hum_pot", "pot"): ("200 Ω", "hum balance"),
        ("phones[0]", "headset"): ("magnetic headset", "2.2 kΩ d.c."),
        ("regeneration.top", "resistor"): ("27 kΩ",),
        ("regeneration.bottom", "resistor"): ("1.5 kΩ",),
        ("regeneration.stopper", "resistor"): ("4.7 kΩ",),
    },
    ("plugin_coils", "40 m"): {
        ("tuning", "variable capacitor"): ("10 pF to 155 pF", "tuning"),
        ("tuning.bandspread", "variable capacitor"): ("4 pF to 42 pF", "band-spread"),
        ("bands.padding.bandspread_series", "capacitor"): ("15 pF",),
    },
    ("throttle", "80 m"): {
        ("regeneration.maximum", "variable capacitor"): ("8 pF to 90 pF", "throttle"),
        ("tuning", "variable capacitor"): ("9 pF to 130 pF", "tuning"),
    },
    ("mains_set", "80 m"): {
        ("supply.secondary.volts", "winding"): ("195 + 195 V a.c.",),
        ("supply.rectifier", "double diode"): ("6X5GT",),
        ("supply.filter[0].capacitor", "electrolytic"): ("12 µF",),
        ("supply.filter[1].choke", "iron choke"): ("9 H",),
        ("supply.filter[2]", "resistor"): ("1.5 kΩ",),
        ("regulator.volts", "gas tube"): ("0B2", "108 V"),
    },
    ("one_tube", "80 m"): {
        ("supply.volts", "battery"): ("battery", "63 V"),
        ("heater.volts", "battery"): ("1.4 V d.c.",),
        ("phones[0]", "headset"): ("magnetic headset", "2 kΩ d.c."),
    },
    ("triode_tap", "40 m"): {("regeneration.pot", "resistor"): ("500 kΩ", "variable")},
}

WINDINGS = {
    ("demo", "40 m"): {"tap": "tap 3.84 %"},
    ("plugin_coils", "40 m"): {"tap": "tap 0.5 t", "w1": "link 2 t", "shield": "w1"},
    ("throttle", "80 m"): {"w1": "tickler 1 µH"},
    ("tickler", "40 m"): {"w1": "tickler 1.5 t"},
}


@pytest.mark.parametrize(("build", "band"), DRAWN)
def test_what_stands_beside_a_part(build: str, band: str) -> None:
    parts = {(p.key, p.symbol): p.lines for p in api.draw(api.shipped_build(build), band=band).parts}
    due = DRAWN[build, band]
    assert {which: parts.get(which) for which in due} == due


@pytest.mark.parametrize(("build", "band"), WINDINGS)
def test_what_stands_at_a_winding(build: str, band: str) -> None:
    (coil,) = (p for p in api.draw(api.shipped_build(build), band=band).parts if p.symbol == "coil")
    due = WINDINGS[build, band]
    assert {which: coil.also.get(which) for which in due} == due
    # the inductance comes first, then turns of a wound one, then the band
    assert coil.lines[-1] == band
    if coil.also.get("tap", "").endswith(" t"):
        assert coil.lines[1] == "10.25 turns"


def test_a_socket_with_nothing_in_it_and_series_regulators_are_said(demo: Any) -> None:
    changes = {
        "phones[0].state": "open", "regulator.type": "0A2", "regulator.count": 2,
        "regulator.volts": "150 V", "regulator.strike": "185 V",
        "supply.volts": "400 V",
        "heater.wiring": "one_side", "heater.supply": "dc",
    }  # fmt: skip
    drawn = {p.key: p for p in api.draw(api.changed_build(demo, changes)).parts}
    assert drawn["phones[0]"].lines == ("magnetic headset", "nothing plugged in")
    assert drawn["regulator.volts"].lines == ("2 x 0A2", "300 V")
    assert drawn["heater.volts"].lines == ("6.3 V d.c.",)
    assert drawn["supply.volts"].lines == ("d.c. supply", "400 V")
    assert "heater.hum_pot" not in drawn
