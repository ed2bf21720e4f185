"""Tables that the program recalls, row by row: other names of types, bands by year, pins, materials.

Cross references, conferences' tables and figures of sheets are from memory where no document is named.
"""

from __future__ import annotations

import math
import re

import pytest

from receiver_sim.results import cautions
from receiver_sim.schema import regulator_types
from receiver_sim.schema.band_table import bands_of
from receiver_sim.schema.formers import formers
from receiver_sim.schema.leaves import differences
from receiver_sim.schema.phones import DEFAULTS, NO_KIND
from receiver_sim.schema.tolerances import tolerances
from receiver_sim.schema.tube_names import other_names, type_of

# ---------------------------------------------------------------------------- tubes by other names

EUROPEAN = {
    "ECC81": "12AT7", "ECC82": "12AU7", "ECC83": "12AX7", "DF91": "1T4", "DF92": "1L4", "DAF91": "1S5",
    "DL92": "3S4", "DL94": "3V4", "DL95": "3Q4", "EF93": "6BA6", "EF94": "6AU6", "EF95": "6AK5",
    "EF96": "6AG5", "EC90": "6C4", "EBC90": "6AT6", "EBC91": "6AV6", "EL90": "6AQ5", "ECF82-P": "6U8-P",
    "ECF82-T": "6U8-T", "EZ35": "6X5GT", "EZ90": "6X4", "6BX6": "EF80", "6BY7": "EF85", "6267": "EF86",
    "6AM6": "EF91", "6EH7": "EF183", "6EJ7": "EF184", "6CJ5": "EF41", "6BQ5": "EL84", "6GM8": "ECC86",
    "6BL8-P": "ECF80-P", "6BL8-T": "ECF80-T", "6BM8-P": "ECL82-P", "6BM8-T": "ECL82-T", "5AR4": "GZ34",
    "6V4": "EZ80", "6CA4": "EZ81",
}  # fmt: skip
"""Pro Electron's and the American name of one tube."""

SERVICE = {"CV138": "EF91", "VR91": "EF50", "7025": "12AX7", "5654": "6AK5", "1852": "6AC7", "1853": "6AB7"}
"""British service valves, American industrial and first numbers."""

TWO_NAMES = {
    "51": "35", "35/51": "35", "35-51": "35", "39": "39-44", "44": "39-44", "39/44": "39-44", "6Z4": "84",
    "84/6Z4": "84", "24": "24A", "UX201A": "01A", "201A": "01A", "171A": "71A",
}  # fmt: skip
"""Tubes of two makers that became one type, and the numbers of the first years."""


def bare(name: str) -> str:
    """Return an American type without the letters for its bulb (G, GT, metal none), base (Y) or issue."""
    return re.sub(r"(?<=[0-9])(GT?[AB]?|[AY])$", "", name)


def test_every_other_name_is_that_of_its_own_tube() -> None:
    """By the cross references, or the same number in another bulb, or with the maker's first digit."""
    known = {**EUROPEAN, **SERVICE, **TWO_NAMES}
    strange = {
        name: type_
        for name, type_ in other_names().items()
        if known.get(name, type_) != type_
        or (name not in known and bare(name) != bare(type_) and name != f"2{type_}")
    }
    assert strange == {}


@pytest.mark.parametrize("table", [EUROPEAN, SERVICE, TWO_NAMES])
def test_cross_references_are_found_in_capitals_or_not(table: dict[str, str]) -> None:
    assert {name: type_of(name.lower()) for name in table} == table


# ---------------------------------------------------------------------------- bands by year

WASHINGTON = {"160 m": (1.715, 2.0), "80 m": (3.5, 4.0), "40 m": (7.0, 7.3), "20 m": (14.0, 14.4),
              "10 m": (28.0, 30.0)}  # fmt: skip
ATLANTIC = {"80 m": (3.5, 3.8), "40 m": (7.0, 7.15), "20 m": (14.0, 14.35), "15 m": (21.0, 21.45),
            "10 m": (28.0, 29.7)}  # fmt: skip
OF_1979 = {"160 m": (1.81, 1.85), "30 m": (10.1, 10.15), "17 m": (18.068, 18.168), "12 m": (24.89, 24.99)}
OF_1992 = {"49 m": (5.9, 6.2), "31 m": (9.4, 9.9), "25 m": (11.6, 12.1), "22 m": (13.57, 13.87),
           "19 m": (15.1, 15.8), "16 m": (17.48, 17.9), "15 m": (18.9, 19.02), "13 m": (21.45, 21.85),
           "11 m": (25.67, 26.1)}  # fmt: skip
BEFORE_1992 = {"49 m": (5.95, 6.2), "31 m": (9.5, 9.775), "25 m": (11.7, 11.975), "19 m": (15.1, 15.45),
               "16 m": (17.7, 17.9), "13 m": (21.45, 21.75), "11 m": (25.6, 26.1)}  # fmt: skip
BEFORE_1947 = {"49 m": (6.0, 6.15), "31 m": (9.5, 9.6), "25 m": (11.7, 11.9), "19 m": (15.1, 15.35),
               "16 m": (17.75, 17.8), "13 m": (21.45, 21.55)}  # fmt: skip
TROPICAL = {"60 m": (4.75, 5.06)}

AMATEUR = {
    (1929, 1): WASHINGTON,
    (1946, 2): WASHINGTON,
    (1947, 1): ATLANTIC,
    (1960, 1): ATLANTIC,
    (1960, 3): {**ATLANTIC, "160 m": (1.8, 2.0), "80 m": (3.5, 3.9)},
    (1960, 2): {**ATLANTIC, "160 m": (1.8, 2.0), "80 m": (3.5, 4.0), "40 m": (7.0, 7.3)},
    (1961, 1): {**ATLANTIC, "40 m": (7.0, 7.1)},
    (1981, 1): {**ATLANTIC, "40 m": (7.0, 7.1)},
    (1982, 1): {
        **ATLANTIC,
        "40 m": (7.0, 7.1),
        "160 m": OF_1979["160 m"],
        "30 m": OF_1979["30 m"],
    },
    (1984, 3): {**ATLANTIC, "160 m": (1.8, 2.0), "80 m": (3.5, 3.9), "40 m": (7.0, 7.1),
                "30 m": OF_1979["30 m"]},
    (1988, 1): {**ATLANTIC, **{n: OF_1979[n] for n in ("160 m", "30 m", "12 m")}, "40 m": (7.0, 7.1)},
    (1989, 1): {**ATLANTIC, **OF_1979, "40 m": (7.0, 7.1)},
    (2008, 1): {**ATLANTIC, **OF_1979, "40 m": (7.0, 7.1)},
    (2009, 1): {**ATLANTIC, **OF_1979, "40 m": (7.0, 7.2)},
    (2016, 3): {**ATLANTIC, **OF_1979, "160 m": (1.8, 2.0), "80 m": (3.5, 3.9), "40 m": (7.0, 7.2)},
    (2017, 2): {**ATLANTIC, **OF_1979, "160 m": (1.8, 2.0), "80 m": (3.5, 4.0), "40 m": (7.0, 7.3),
                "60 m": (5.3515, 5.3665)},
}  # fmt: skip
BROADCAST = {
    (1937, 1): {"medium wave": (0.55, 1.5), **BEFORE_1947},
    (1946, 2): {"medium wave": (0.55, 1.5), **BEFORE_1947, "11 m": (25.6, 26.6)},
    (1947, 1): {"medium wave": (0.525, 1.605), "75 m": (3.95, 4.0), **TROPICAL, **BEFORE_1992,
                "41 m": (7.15, 7.3)},
    (1961, 3): {"medium wave": (0.525, 1.605), "75 m": (3.9, 4.0), **TROPICAL, **BEFORE_1992,
                "41 m": (7.1, 7.3)},
    (1977, 1): {"medium wave": (0.525, 1.605), "75 m": (3.95, 4.0), **TROPICAL, **BEFORE_1992,
                "41 m": (7.1, 7.3)},
    (1978, 1): {"medium wave": (0.5265, 1.6065), "75 m": (3.95, 4.0), **TROPICAL, **BEFORE_1992,
                "41 m": (7.1, 7.3)},
    (1989, 2): {"medium wave": (0.535, 1.605), **TROPICAL, **BEFORE_1992},
    (1991, 2): {"medium wave": (0.535, 1.705), **TROPICAL, **BEFORE_1992},
    (1992, 1): {"medium wave": (0.5265, 1.6065), "75 m": (3.95, 4.0), **TROPICAL, **OF_1992,
                "41 m": (7.1, 7.3)},
    (2008, 3): {"medium wave": (0.5265, 1.6065), "75 m": (3.9, 4.0), **TROPICAL, **OF_1992,
                "41 m": (7.1, 7.3)},
    (2009, 3): {"medium wave": (0.5265, 1.6065), "75 m": (3.9, 4.0), **TROPICAL, **OF_1992,
                "41 m": (7.2, 7.45)},
    (2009, 1): {"medium wave": (0.5265, 1.6065), "75 m": (3.95, 4.0), **TROPICAL, **OF_1992,
                "41 m": (7.2, 7.45)},
}  # fmt: skip
"""Limits in MHz on either side of each year in which a conference's table took effect."""


@pytest.mark.parametrize(("service", "table"), [("amateur", AMATEUR), ("broadcast", BROADCAST)])
def test_bands_of_a_year_are_those_of_its_conference(
    service: str, table: dict[tuple[int, int], dict[str, tuple[float, float]]]
) -> None:
    """First and last years count; a year, two at most, lie between a conference and its table."""
    for (year, region), due in table.items():
        found = bands_of(service, year=year, region=region)
        assert {b.name: (b.low / 1e6, b.high / 1e6) for b in found} == {
            name: pytest.approx(limits) for name, limits in due.items()
        }, (year, region)
        assert [b.low for b in found] == sorted(b.low for b in found)


# ---------------------------------------------------------------------------- regulators, formers, phones


@pytest.mark.parametrize("kind", ["0A3", "0B3", "0C3", "0D3"])
def test_octal_regulator_tubes_have_their_anode_on_5_and_a_jumper_from_3_to_7(kind: str) -> None:
    """The jumper opens the supply where the tube is pulled."""
    row = regulator_types.pins(kind)
    assert row is not None and row["flag"].startswith("memory-")
    assert (row["base"], row["anode"], row["cathode"], row["joined"]) == ("octal", "5", "2", "3 7")


@pytest.mark.parametrize("kind", ["0A2", "0B2", "0C2", "5651"])
def test_miniature_regulator_tubes_have_their_anode_on_1_and_5(kind: str) -> None:
    row = regulator_types.pins(kind)
    assert row is not None
    assert (row["base"], row["anode"], row["cathode"], row["joined"]) == (
        "7-pin miniature", "1 5", "2 4 7", "",
    )  # fmt: skip


GLOW = {
    "VR75": (75.0, 5e-3, 40e-3, 105.0), "VR90": (90.0, 5e-3, 40e-3, 125.0),
    "VR105": (105.0, 5e-3, 40e-3, 133.0),
    "VR150": (150.0, 5e-3, 40e-3, 185.0), "0A2": (150.0, 5e-3, 30e-3, 185.0),
    "0B2": (108.0, 5e-3, 30e-3, 133.0),
    "0C2": (75.0, 5e-3, 30e-3, 115.0), "85A2": (85.0, 1e-3, 10e-3, 125.0),
    "5651": (87.0, 1.5e-3, 3.5e-3, 115.0),
}  # fmt: skip
"""Volts held, least and most current, least supply to strike: RCA Receiving Tube Manual; the 85A2 from
makers' handbooks."""


@pytest.mark.parametrize("kind", GLOW)
def test_glow_tubes_hold_and_strike_at_the_volts_of_their_sheets(kind: str) -> None:
    found = regulator_types.figures(kind)
    keys = ("volts", "minimum_current", "maximum_current", "strike")
    assert tuple(found[key] for key in keys) == pytest.approx(GLOW[kind])


MATERIALS = {
    "air": (1.0, 1.0, 0.0, 0.0), "polystyrene": (2.4, 2.7, 1e-4, 5e-4), "ceramic": (5.5, 6.5, 1e-3, 4e-3),
    "glass": (4.5, 5.5, 3e-3, 6e-3), "hard_rubber": (2.7, 3.3, 5e-3, 1e-2),
    "mica_bakelite": (4.5, 5.5, 6e-3, 1.5e-2), "pvc": (2.7, 3.5, 1e-2, 2.5e-2),
    "wood": (1.8, 2.8, 1.5e-2, 4e-2),
    "cardboard": (2.5, 3.5, 2.5e-2, 6e-2), "bakelite": (4.3, 6.0, 3e-2, 8e-2),
}  # fmt: skip
"""Permittivity from and to, loss tangent from and to, 1 to 10 MHz, by tables of insulating materials."""


def test_formers_lose_what_their_material_does() -> None:
    table = formers()
    assert set(table) == set(MATERIALS)
    for material, (low, high, least, most) in MATERIALS.items():
        one = table[material]
        assert low <= one.permittivity <= high and least <= one.loss_tangent <= most, material
    losses = [table[material].loss_tangent for material in MATERIALS]
    assert losses == sorted(losses) and len(set(losses)) == len(losses)


@pytest.mark.parametrize(
    ("kind", "ohms"), [("high_impedance", 12e3), ("600_ohm", 600.0), ("32_ohm", 32.0), ("8_ohm", 8.0)]
)
def test_phones_of_a_kind_have_about_its_impedance_at_1_khz(kind: str, ohms: float) -> None:
    """High impedance: six times 2 kohm of winding; the others as their name says, to a tenth."""
    figures = DEFAULTS[kind]
    found = math.hypot(figures["resistance"], 2e3 * math.pi * figures["inductance"])
    assert found == pytest.approx(ohms, rel=0.1)
    # a cord and a winding: some hundred picofarads; phones give some 90 to 105 dB for a milliwatt
    assert 100e-12 <= figures["capacitance"] <= 300e-12 and 90.0 <= figures["sensitivity"] <= 105.0
    assert NO_KIND == {"inductance": 0.0, "capacitance": 0.0, "sensitivity": 100.0}


# ---------------------------------------------------------------------------- tolerances

EVEN = {
    "resistor": (10, 10), "pot": (20, 20), "pot end": (0, 1), "capacitor": (20, 20),
    "variable capacitor": (10, 10),
    "small capacitor": (10, 10), "electrolytic": (20, 50), "choke": (10, 10), "winding": (10, 10),
    "iron-cored choke": (20, 30), "mains": (10, 10), "battery": (20, 0), "bench supply": (2, 2),
    "supply": (20, 20), "zener": (5, 5), "gas tube": (5, 6), "phones": (20, 20), "worn tube": (45, 0),
    "measured": (2, 2),
}  # fmt: skip
"""Per cent below and above, any value between them as likely: common practice, no source; parts of the E12
row are sold to 10 %, mains held to 10 % (EN 50160), electrolytics to -20/+50 %."""
BELL = {"coil": (6, 6), "coil tap": (10, 10), "coil coupling": (15, 15), "tickler coupling": (20, 20),
        "coil Q": (20, 20), "tube capacitance": (10, 10), "new tube": (25, 25),
        "tube mu": (10, 10)}  # fmt: skip
"""What a hand winds and what makers sort tubes by: most lie near the middle."""
FACTOR = {
    "core loss": 2.0,
    "stray": 1.65,
    "leakage": 3.3,
    "aerial": 1.45,
    "input loading": 1.45,
    "screen share": 1.33,
}
"""What is known to a factor only, to either side."""


@pytest.mark.parametrize(("table", "shape"), [(EVEN, "even"), (BELL, "bell")])
def test_classes_of_parts_lie_within_what_the_trade_sells(
    table: dict[str, tuple[float, float]], shape: str
) -> None:
    for name, (below, above) in table.items():
        one = tolerances()[name]
        assert (one.low, one.high) == pytest.approx((-0.01 * below, 0.01 * above)), name
        assert one.shape == shape and not one.volts, name


def test_what_is_known_to_a_factor_lies_at_that_factor_to_either_side() -> None:
    """Printed to five per cent, so to a twentieth of the factor."""
    for name, factor in FACTOR.items():
        one = tolerances()[name]
        assert one.shape == "bell"
        assert 1.0 + one.high == pytest.approx(factor, rel=0.02), name
        assert 1.0 / (1.0 + one.low) == pytest.approx(factor, rel=0.05), name


def test_contact_potentials_scatter_by_two_tenths_of_a_volt_and_no_class_is_unheld() -> None:
    one = tolerances()["contact"]
    assert (one.low, one.high, one.shape, one.volts) == (-0.2, 0.2, "bell", True)
    assert set(tolerances()) == {*EVEN, *BELL, *FACTOR, "contact"}


# ---------------------------------------------------------------------------- what a changed build has


@pytest.mark.parametrize(
    ("before", "after", "due"),
    [
        ("a: 1\n", "a: 1\nb: {c: 2}\n", (("b.c", None, "2"),)),
        ("a: 1\nb: {c: 2}\n", "a: 1\n", (("b.c", "2", None),)),
        ("a: 1\nb: [3, 4]\n", "a: 7\nb: [3, 4, 5]\n", (("a", "1", "7"), ("b[2]", None, "5"))),
        ("a: 1\n", "# a remark\na:   1\n", ()),
    ],
)
def test_changes_are_what_was_altered_taken_out_and_added(
    before: str, after: str, due: tuple[tuple[str, str | None, str | None], ...]
) -> None:
    """The value before first; what is not there stands as nothing; a remark is no change."""
    assert differences(before, after) == due


# ---------------------------------------------------------------------------- cautions


def test_the_cautions_say_what_kills_what_transmits_and_what_is_not_warranted() -> None:
    """Each of them stands among all of them once, what kills first."""
    kills, fits, law = cautions.PLATE_SUPPLY
    assert (kills, fits, law, *cautions.RADIATION, *cautions.NO_WARRANTY) == cautions.ALL
    for words in ("Plate supplies kill", "Switch off", "pull the mains plug",
                  "bleeder discharge the capacitors",
                  "prove it with a meter", "one hand away"):  # fmt: skip
        assert words in kills
    for words in ("bleeder", "fuse", "isolating transformer", "covered terminals", "No headphone lead",
                  "rated for the full supply"):  # fmt: skip
        assert words in fits
    assert "electrical code where you live" in law and "licensed person" in law
    (transmits,) = cautions.RADIATION
    for words in ("transmits", "below onset", "licensed frequency", "couple the aerial loosely"):
        assert words in transmits
    (model,) = cautions.NO_WARRANTY
    assert "average new tubes" in model and "measure the real set" in model
