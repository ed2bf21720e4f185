"""Other names of tubes lead to the card of the same tube, and to no other."""

import csv
from pathlib import Path
from typing import get_args

import pytest

from receiver_sim.schema import Build, BuildFaults, changed_build, tube_names
from receiver_sim.schema.card import Flag, card_for, card_types
from receiver_sim.schema.rectifier_card import rectifier_types
from receiver_sim.schema.tube_names import other_names, type_of

TABLE = Path(tube_names.__file__).with_name("tube_names.csv")


def test_every_other_name_leads_to_a_card_and_is_none_itself() -> None:
    carded = {*card_types(), *rectifier_types()}
    with TABLE.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len({row["name"] for row in rows}) == len(rows) == len(other_names())
    for row in rows:
        assert row["type"] in carded and row["name"] not in carded, row
        assert row["name"] == row["name"].upper() and row["flag"] in get_args(Flag)


def test_names_of_other_makers() -> None:
    """RETMA and Pro Electron cross references, from memory."""
    assert [type_of(name) for name in ("ECC83", "ecc82", "6SN7GT", "DF91", "6AM6", "6j5gt", "VR91")] == [
        "12AX7", "12AU7", "6SN7", "1T4", "EF91", "6J5", "EF50",
    ]  # fmt: skip
    assert type_of("6SJ7") == "6SJ7" and type_of("no such tube") == "NO SUCH TUBE"
    assert card_for("ECC83") is card_for("12AX7")


def test_a_build_takes_them_and_shows_the_card(demo: Build) -> None:
    """Guards against a name the trade uses that is told to be the nearest one's, ECC83 to be an ECC86."""
    build = changed_build(demo, {"detector.tube": "6sj7gt", "audio.tube": "ECC83"})
    assert (build.detector.tube, build.audio.tube) == ("6SJ7", "12AX7")
    first = {"tube": "6J5GT", "cathode_resistor": 2200.0, "plate_resistor": 1e5, "coupling": 1e-8}
    two = changed_build(demo, {"audio.first": first, "audio.grid_resistor": 470e3})
    assert two.audio.first is not None and two.audio.first.tube == "6J5"
    with pytest.raises(BuildFaults) as caught:
        changed_build(demo, {"detector.tube": "6U8"})
    assert str(caught.value).endswith(
        "detector.tube: value '6U8': expected '6U8-P', its pentode, or '6U8-T', its triode; a bulb of two "
        "tubes has a card for each"
    )
