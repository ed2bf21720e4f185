"""Tube cards: what they hold, how faults are told, the range of their points, laws drawn from a fit."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from receiver_sim.data import folder
from receiver_sim.errors import UnknownName
from receiver_sim.physics.tube_law import TubeLaw, currents
from receiver_sim.schema.card import (
    FIT_MARK,
    CardFaults,
    TubeCard,
    card_for,
    card_types,
    describe_bias,
    load_card,
    outside_range,
)
from receiver_sim.schema.priors import drawn_law, open_dimensions, priors

FAMILY = {
    "24A", "36", "57", "58", "6C6", "6D6", "77", "78", "6J7", "6K7", "6SJ7", "6SK7", "12SJ7", "12SK7",
    "6AU6", "6BA6", "6AK5", "EF80", "1T4", "27", "56", "76", "6C5", "6J5", "6SN7", "12AU7", "6C4",
    "6K6GT", "6V6GT",
}  # fmt: skip
"""The types that there were cards of from the first."""

TRADE = {
    "battery": {"30", "32", "34", "1N5GT", "1L4", "1U4", "3S4", "3Q4"},
    "acorns and miniatures": {
        "954", "956", "9001", "9003", "6AG5", "6CB6", "EF91", "EF86", "EF184",
    },
    "metal": {"6SH7", "6SG7"},
    "two in a bulb": {"6F7-P", "6F7-T", "6U8-P", "6U8-T", "ECF80-P", "ECF80-T"},
    "triodes and output types": {
        "6SL7", "12AX7", "12AT7", "6F6", "42", "41", "2A5", "6AQ5", "38", "89",
    },
}  # fmt: skip
"""Types that sets of 1925 to 1955 and today's junk boxes are full of."""

ALL = card_types()


def _edited(tmp_path: Path, *swaps: tuple[str, str], type_: str = "6SJ7") -> Path:
    """Return a copy of a shipped card without its fit, with texts swapped."""
    text = (folder("models") / f"{type_}.yaml").read_text(encoding="utf-8").partition(FIT_MARK)[0]
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "card.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def _faults(path: Path) -> list[str]:
    with pytest.raises(CardFaults) as caught:
        load_card(path)
    return [re.sub(r"^.*card\.yaml:", "", str(fault)) for fault in caught.value.faults]


def test_the_whole_family_is_there() -> None:
    assert set(ALL) >= FAMILY
    for kind, types in TRADE.items():
        assert types <= set(ALL), kind
    assert len(ALL) >= 75


def test_filaments_are_told_from_heaters() -> None:
    """Battery types, and power types of the twenties, have a filament for cathode; so their pins say."""
    for card in map(card_for, ALL):
        words = " ".join(card.pins.values())
        assert card.heater.direct == ("filament" in words) == ("k" not in re.split(r"[ +]", words)), card.type
    assert {"30", "32", "34", "1N5GT", "1L4", "1U4", "1T4", "3S4", "3Q4", "01A", "45", "47"} <= {
        card.type for card in map(card_for, ALL) if card.heater.direct
    }
    # two halves with the middle on a pin, in parallel or in series
    assert {card.type for card in map(card_for, ALL) if card.heater.split} == {
        "12AU7", "12AX7", "12AT7", "3S4", "3Q4", "3V4",
    }  # fmt: skip


def test_both_tubes_of_one_bulb_share_heater_base_and_pins() -> None:
    """A card a section; what is `p` to one is `p second` to the other."""
    pairs = [name[:-2] for name in ALL if name.endswith("-P")]
    assert {"6F7", "6U8", "ECF80"} <= set(pairs)
    for bulb in pairs:
        one, other = card_for(f"{bulb}-P"), card_for(f"{bulb}-T")
        assert (one.kind, other.kind) == ("pentode", "triode")
        assert (one.base, one.heater.volts, one.heater.amps) == (
            other.base,
            other.heater.volts,
            other.heater.amps,
        )
        assert set(one.pins) == set(other.pins)
        for pin, word in one.pins.items():
            back = other.pins[pin]
            assert word.split("+")[0].removesuffix(" second") == back.split("+")[0].removesuffix(" second")
            if word in ("p", "g1", "p second", "g1 second"):
                assert word.endswith("second") != back.endswith("second")


@pytest.mark.parametrize("name", ALL)
def test_every_card_is_complete(name: str) -> None:
    card = card_for(name)
    assert card.type == name and card.fit is not None and len(card.sha256) == 64
    assert card.law().kind == card.kind
    # the electrodes on the pins: every tube needs these, and as many heater ends
    electrodes = [word for pin in card.pins.values() for word in re.split(r"[ +]", pin)]
    wanted = {"p", "g1"} | (set() if card.kind == "triode" else {"g2"})
    assert wanted <= set(electrodes)
    assert "k" in electrodes or card.heater.direct
    assert sum(word.startswith(("heater", "filament")) for word in electrodes) >= 2
    assert card.ratings.plate >= max(p.plate for p in card.points) or card.type in (
        "24A",
        "36",
        "27",
        "76",
        "56",
    )
    assert card.capacitances.cgp > 0 and card.capacitances.cgk > card.capacitances.cgp / 3


@pytest.mark.parametrize("name", ALL)
def test_no_point_is_printed_above_the_ratings(name: str) -> None:
    """Sheets print no point beyond the maxima they print: guards against a slip in either."""
    card = card_for(name)
    for point in card.points:
        if point.plate_current is None:
            continue
        assert point.plate <= card.ratings.plate
        # a plate may run to its limit but not beyond; 2 % for rounding of the printed watts
        if card.ratings.plate_power is not None:
            assert (
                point.plate * point.plate_current <= 1.02 * card.ratings.plate_power or point.as_ != card.kind
            )
        if point.screen is not None and card.ratings.screen is not None:
            assert point.screen <= card.ratings.screen


def test_reference_rows_stand_in_the_cards_as_given() -> None:
    """A sample of the gathered figures with source and flag; asymmetric values in SI."""
    point = card_for("6SJ7").points[0]
    assert (point.plate, point.screen, point.grid) == (250.0, 100.0, -3.0)
    assert (point.plate_current, point.screen_current, point.gm) == (3.0e-3, 0.8e-3, 1650e-6)
    assert point.flag == "seen" and "1948" in point.source
    service = card_for("6AU6").points[3]
    assert (service.plate_current, service.screen_current, service.grid) == (0.311e-3, 0.099e-3, -1.7)
    loading = card_for("6K7").input_loading
    assert (loading.kc, loading.kh) == pytest.approx((0.3e-12, 0.05e-18))
    assert card_for("6J7").cap == "g1" and card_for("6SJ7").cap is None


def test_unknown_type_names_the_nearest() -> None:
    with pytest.raises(UnknownName, match="no card for tube '6SJ'; nearest is '6SJ7'"):
        card_for("6SJ")


def test_faults_of_a_card_are_told_with_place_and_cure(tmp_path: Path) -> None:
    path = _edited(
        tmp_path,
        ("kind: pentode", "kind: penthode"),
        ("gm: 1650 umho", "gm: 1650"),
        ("flag: seen}\n  - {as: pentode, plate: 100 V", "flag: sean}\n  - {as: pentode, plate: 100 V"),
        ("cgp: 0.005 pF", "cga: 0.005 pF"),
    )
    assert _faults(path) == [
        "6: kind: value 'penthode': expected 'pentode', 'tetrode' or 'triode'; did you mean 'pentode'?",
        "13: capacitances.cga: value '0.005 pF': expected a key of 'capacitances'; nearest key 'cgp'; "
        "rename or remove it",
        "13: capacitances.cgp: missing: expected a capacitance from 0.0001 pF to 1 nF (or 0) "
        "such as '5.5 pF'; "
        "add a line such as 'cgp: 5.5 pF'",
        "17: points[0].gm: value '1650': expected a conductance from 1 nmho to 0.1 mho such as '1650 umho'; "
        "it has no unit; add the unit: write it as '1650 umho'",
        "18: points[0].flag: value 'sean': expected 'seen', 'memory-high', 'memory-medium', 'memory-low', "
        "'measured' or 'calc'; did you mean 'seen'?",
    ]


def test_a_point_has_one_bias_and_its_screen(tmp_path: Path) -> None:
    path = _edited(
        tmp_path,
        ("grid: -3 V, plate_current: 3.0 mA", "grid: -3 V, cathode_resistor: 800 ohm, plate_current: 3.0 mA"),
        ("{as: triode, plate: 250 V", "{as: triode, screen: 250 V, plate: 250 V"),
    )
    assert _faults(path) == [
        "17: points[0]: expected one of the keys 'grid' and 'cathode_resistor'; state the bias in one way",
        "21: points[2].screen: value '250 V': expected no key 'screen' in a triode connection; remove it",
    ]


def test_a_triode_holds_no_pentode_points(tmp_path: Path) -> None:
    path = _edited(
        tmp_path, ("as: triode, plate: 250 V,", "as: pentode, screen: 90 V, plate: 250 V,"), type_="6C5"
    )
    assert [f.partition(": ")[2] for f in _faults(path)] == [
        "points[0].as: value 'pentode': expected 'triode'; correct the kind of the card or of this row"
    ]


def test_outside_the_points_is_told_by_electrode() -> None:
    card = card_for("6SJ7")
    assert outside_range(card, plate_v=180.0, screen_v=100.0, grid_v=-3.5) == []
    told = outside_range(card, plate_v=60.0, screen_v=28.0, grid_v=-0.5)
    assert told == [
        "6SJ7: plate at 60 V, published points at 100 to 250 V",
        "6SJ7: screen at 28 V, published points at 100 to 250 V",
        "6SJ7: grid at -0.5 V, published points at -8.5 to -3 V",
    ]


def test_bias_in_words() -> None:
    assert [describe_bias(p) for p in card_for("6AU6").points[2:4]] == ["150 ohm", "-1.7 V"]


def test_a_card_without_a_fit_says_what_to_run(tmp_path: Path) -> None:
    card = load_card(_edited(tmp_path))
    with pytest.raises(ValueError, match="the card of 6SJ7 holds no fit; run 'receiver-sim tubes fit 6SJ7'"):
        card.law()


@pytest.mark.parametrize("name", ALL)
def test_each_parameter_has_a_prior_with_a_reason(name: str) -> None:
    card = card_for(name)
    known = {p.name: p for p in priors(card)}
    assert card.fit is not None and set(known) == set(card.fit.parameters)
    assert all(p.reason for p in known.values())
    free = [n for n, p in card.fit.parameters.items() if p.held_by != "fixed"]
    assert len(card.fit.correlation) == len(free) == sum(p.spread > 0 for p in known.values())


def draw_laws(card: TubeCard, *, count: int, seed: int) -> list[TubeLaw]:
    """Laws drawn from what the card's points leave open."""
    random = np.random.default_rng(seed)
    steps = random.standard_normal((count, open_dimensions(card)))
    return [drawn_law(card, row, anchor=float(random.standard_normal())) for row in steps]


@pytest.mark.parametrize("name", ["6SJ7", "6SK7", "1T4", "6C5"])
def test_drawn_laws_keep_to_print_and_spread_where_print_ends(name: str) -> None:
    card = card_for(name)
    laws = draw_laws(card, count=60, seed=7)
    assert laws == draw_laws(card, count=60, seed=7) and laws != draw_laws(card, count=60, seed=8)
    point = card.points[0]

    def spread(plate: float, screen: float, grid: float) -> float:
        plates = [float(currents(a, grid_v=grid, plate_v=plate, screen_v=screen).plate) for a in laws]
        return float(np.std(np.log(plates)))

    assert point.grid is not None
    at_print = spread(point.plate, point.screen or point.plate, point.grid)
    far = spread(90.0, 15.0, -0.5) if card.kind != "triode" else spread(25.0, 0.0, -0.5)
    # the anchor allows 2 %; the deviation of a standard deviation from 60 draws is a tenth of it
    assert 0.015 < at_print < 0.026
    assert far > 2.0 * at_print
