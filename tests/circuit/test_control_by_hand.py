"""What follows the knob, along its travel and at its ends: the arithmetic of a divider, by hand."""

from __future__ import annotations

import pytest

from receiver_sim.circuit.control import Control, Follower, control_of

ABOVE = Follower("rpota", "above", 47e3)
BELOW = Follower("rpotb", "below", 47e3)
BETWEEN = Follower("cthr", "between", 12e-12, end=150e-12, least=1e-14)


def _control(
    *followers: Follower, node: str | None = None, law: str = "linear", mid: float | None = None
) -> Control:
    return Control(
        quantity="screen voltage", unit="V", node=node, degrees=270.0, law=law, mid=mid, followers=followers
    )


@pytest.mark.parametrize(
    ("share", "above", "below"), [(0.0, 47e3, 0.1), (0.3, 32.9e3, 14.1e3), (1.0, 0.1, 47e3)]
)
def test_the_two_parts_of_a_track_make_its_whole(share: float, above: float, below: float) -> None:
    """The wiper has a tenth of an ohm at the stops, so that no part is ever nothing."""
    assert _control(ABOVE, BELOW).at_share(share) == pytest.approx({"rpota": above, "rpotb": below})


@pytest.mark.parametrize(
    ("share", "largest", "farad"),
    [(0.0, 1.0, 12e-12), (0.25, 1.0, 46.5e-12), (1.0, 1.0, 150e-12), (0.5, 1.1, 88.5e-12)],
)
def test_a_capacitor_runs_from_its_least_to_its_largest(share: float, largest: float, farad: float) -> None:
    """A tolerance acts on what it has at the upper stop."""
    assert BETWEEN.value(share, largest=largest) == pytest.approx(farad)


def test_nothing_goes_below_its_least() -> None:
    assert Follower("c", "between", 0.0, end=150e-12, least=1e-14).value(0.0) == 1e-14
    assert Follower("r", "below", 47e3, least=12.0).value(1e-5) == 12.0


def test_what_the_knob_sets_is_read_at_its_node_or_off_its_element() -> None:
    assert _control(ABOVE, node="scr").figure({"scr": 31.0, "plate": 90.0}, share=0.4) == 31.0
    assert _control(BETWEEN).figure({}, share=0.25) == pytest.approx(46.5e-12)


@pytest.mark.parametrize(
    ("law", "mid", "share"),
    [("linear", None, 0.5), ("log", None, 0.15), ("log", 0.1, 0.1), ("antilog", 0.8, 0.8)],
)
def test_half_way_a_track_has_its_middle_and_back(law: str, mid: float | None, share: float) -> None:
    """A log track has 15 % there unless it is printed otherwise (common practice, no source)."""
    control = _control(ABOVE, BELOW, law=law, mid=mid)
    assert control.share(0.5) == pytest.approx(share)
    assert control.rotation(share) == pytest.approx(0.5)
    assert control.at(0.5)["rpotb"] == pytest.approx(47e3 * share)
    assert (control.share(0.0), control.share(1.0)) == (pytest.approx(0.0, abs=1e-15), pytest.approx(1.0))


def test_a_description_declares_a_control_by_its_keys() -> None:
    said = {
        "quantity": "throttle", "unit": "F", "on_tank": True,
        "follows": {"cthr": {"share": "between", "of": "low", "to": "high", "least": "floor"}},
    }  # fmt: skip
    whole = {"low": 12e-12, "high": 150e-12, "floor": 1e-14}
    found = control_of(said, whole=whole, degrees=180.0, law="linear", mid=None)
    assert found.followers == (BETWEEN,)
    assert (found.quantity, found.unit, found.node, found.on_tank, found.degrees) == (
        "throttle", "F", None, True, 180.0,
    )  # fmt: skip
    assert found.sets == {"quantity": "throttle", "unit": "F"}
    plain = {
        "quantity": "screen voltage",
        "unit": "V",
        "node": "scr",
        "follows": {"rpota": {"share": "above", "of": "pot"}},
    }
    other = control_of(plain, whole={"pot": 47e3}, degrees=270.0, law="log", mid=0.2)
    assert other.followers == (ABOVE,)
    assert (other.node, other.on_tank, other.law, other.mid) == ("scr", False, "log", 0.2)
