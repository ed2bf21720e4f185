"""Forms of a set that no shipped build has: nodes and values of their elements, by what the build says.

The nodes are those of tests/circuit/test_wiring.py; how each form is wired is the trade's (handbooks, from
memory).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.schema import Build, changed_build
from tests.circuit.test_wiring import deck_of, elements

Seen = dict[str, tuple[str, ...]]


def deck(build: Build, changes: dict[str, object]) -> Seen:
    return elements(deck_of(changed_build(build, changes)))  # type: ignore[arg-type]


def held(seen: Seen, **due: tuple[str, str, float]) -> None:
    """Hold elements of two ends: both nodes, and the value."""
    for name, (one, other, value) in due.items():
        assert seen[name][:2] == (one, other), name
        assert float(seen[name][2]) == pytest.approx(value, rel=1e-9, abs=0.0), name


def test_a_variable_resistor_in_the_plate_feed() -> None:
    """In series, so that turning it up leaves less of it: 0.63 of the track at 37 %; none goes to ground."""
    seen = deck(
        api.shipped_build("triode"),
        {"regeneration.connection": "resistor", "regeneration.pot": "100 kohm", "regeneration.top": "12 kohm",
         "regeneration.bottom": None, "regeneration.law": "linear", "regeneration.bypass": "0.5 uF"},
    )  # fmt: skip
    held(seen, rctop=("ctlfeed", "pothi", 12e3), rpota=("pothi", "bctl", 63e3), cctl=("bctl", "0", 0.5e-6))
    assert "rpotb" not in seen and "rcbot" not in seen


@pytest.mark.parametrize("rf", ["resistor", "tuned"])
def test_other_grids_of_an_rf_stage(rf: str) -> None:
    build = api.shipped_build("rf_stage")
    if rf == "resistor":
        seen = deck(build, {"rf_stage.input": {"kind": "resistor", "resistance": "4.7 kohm"}})
        held(seen, rhin=("hgrid", "0", 4700.0))
        return
    coils = {f"bands[{n}].rf_coil": {"inductance": f"{uh} uH", "q": 110 + n} for n, uh in enumerate((14, 5))}
    seen = deck(build, {"rf_stage.input": {"kind": "tuned"}, "aerial": None, **coils})
    # the deck stands at the upper end of the first band; losses in parallel: Q w L
    loss = 110.0 * 2.0 * np.pi * build.bands[0].to * 14e-6
    held(seen, lhin=("hgrid", "0", 14e-6), rhtank=("hgrid", "0", loss))
    assert seen["chtune"][:2] == ("hgrid", "0")
    # with its tube and wiring it peaks at the dial: less than what the coil alone would want there
    alone = 1.0 / ((2.0 * np.pi * build.bands[0].to) ** 2 * 14e-6)
    assert 0.5 * alone < float(seen["chtune"][2]) < alone


def test_a_resistor_in_the_plate_of_an_rf_stage() -> None:
    plate = {"kind": "resistor", "resistance": "8.2 kohm"}
    seen = deck(api.shipped_build("rf_stage"), {"rf_stage.plate": plate, "rf_stage.coupling": "5 pF"})
    held(seen, rhpl=("hfeed", "hplate", 8200.0), chout=("hplate", "top", 5e-12))
    assert "lhpl" not in seen


HEATERS = {
    "detector.heater_feed": {"source": "winding", "volts": "2.1 V"},
    "audio.heater_feed": {"source": "line", "volts": "4.2 V"},
}


def test_heaters_off_the_line(demo: Build) -> None:
    """On a winding or a dropper a heater swings by its own volts, in phase with the line's; a cell's does not
    at all. All of a set's stand on one side of the line, the other ends are what drops."""
    seen = deck(demo, HEATERS)
    assert seen["vheater"][:2] == ("ha", "hb")
    assert seen["ehdet"][:4] == ("hdet", "hb", "ha", "hb") and seen["ehaud"][:4] == ("haud", "hb", "ha", "hb")
    assert float(seen["ehdet"][4]) == pytest.approx(2.1 / 6.3)
    assert float(seen["ehaud"][4]) == pytest.approx(4.2 / 6.3)
    # what couples from the heater's first end hangs on its own, the other end is common
    assert (seen["cdhga"][0], seen["cdhgb"][0]) == ("hdet", "hb")
    assert (seen["cahga"][0], seen["cahgb"][0]) == ("haud", "hb")
    cell = deck(demo, {"detector.heater_feed": {"source": "cell", "volts": "6.3 V"}})
    assert (cell["cdhga"][0], cell["cdhgb"][0], cell["cahga"][0]) == ("0", "0", "ha")
    assert "ehdet" not in cell


@pytest.mark.parametrize(
    ("wiring", "a", "b"), [("one_side", 1e9, 1e-3), ("centre_tap", 100.0, 100.0), ("hum_pot", 60.0, 140.0)]
)
def test_what_grounds_the_heaters(demo: Build, wiring: str, a: float, b: float) -> None:
    """One side: end b on the chassis, end a free; a centre tap halves whatever the pot says."""
    seen = deck(
        demo, {"heater.wiring": wiring, "heater.hum_pot": "200 ohm", "heater.hum_pot_position": "30 %"}
    )
    assert seen["rhuma"][:2] == ("ha", "0") and seen["rhumb"][:2] == ("hb", "0")
    found = float(seen["rhuma"][2]), float(seen["rhumb"][2])
    if wiring == "one_side":
        assert found[0] >= 1e6 and found[1] <= 0.1
    else:
        assert found == pytest.approx((a, b))


def test_the_standard_dummy_antenna(demo: Build) -> None:
    """200 pF, 20 uH and 400 ohm with 400 pF across the coil's end (IRE receiver standards, from memory)."""
    seen = deck(demo, {"aerial": {"kind": "dummy", "coupling": "4 pF"}})
    held(
        seen, cantenna=("ant", "antx", 200e-12), laerial=("antx", "antz", 20e-6),
        raerial=("antx", "anty", 400.0), cbranch=("anty", "antz", 400e-12),
    )  # fmt: skip
    assert seen["vaerial"][:2] == ("antz", "0")


def test_a_screen_on_a_divider_of_its_own() -> None:
    changes = {"detector.screen": {"resistor": "150 kohm", "to_ground": "39 kohm", "bypass": "0.22 uF"}}
    seen = deck(api.shipped_build("throttle"), changes)
    held(
        seen, rsfeed=("scrfeed", "scr", 150e3), rsgnd=("scr", "0", 39e3), cscreen=("scr", "0", 0.22e-6)
    )  # fmt: skip


def test_a_volume_control_behind_the_only_stage(demo: Build) -> None:
    volume = {"pot": "250 kohm", "law": "linear", "setting": "70 %", "place": "after", "capacitor": "0.1 uF"}
    phones = [{"name": "headset", "at": "volume", "resistance": "2.2 kohm", "inductance": "1.7 H"}]
    seen = deck(demo, {"audio.volume": volume, "audio.grid_resistor": "470 kohm", "phones": phones})
    top = seen["cvol"][1]
    held(
        seen, cvol=("aplate", top, 0.1e-6), rvola=(top, "vwiper", 75e3), rvolb=("vwiper", "0", 175e3),
        rphone0=("vwiper", "phone0x", 2200.0),
    )  # fmt: skip
    assert top not in ("aplate", "vwiper", "0")


def test_measured_phones_are_a_row_of_tanks_across_their_node(demo: Build) -> None:
    """Series R and L, then what was fitted, to ground; the capacitance lies across it all."""
    points = [
        {"frequency": f"{f} Hz", "magnitude": f"{m} ohm", "phase": f"{p} deg"}
        for f, m, p in (
            (100, 1300, 30),
            (300, 2400, 45),
            (1000, 6300, 60),
            (3000, 14000, 62),
            (8000, 26000, 60),
        )
    ]
    one = {"name": "headset", "at": "plate", "capacitor": "0.5 uF", "drain": "330 kohm", "impedance": points,
           "capacitance": "150 pF"}  # fmt: skip
    build = changed_build(demo, {"phones": [one]})
    seen = elements(deck_of(build))
    held(
        seen, cphone0=("aplate", "phone0", 0.5e-6), rdrain0=("phone0", "0", 330e3),
        cacross0=("phone0", "0", 150e-12),
    )  # fmt: skip
    chain = [seen["rphone0"][:2], seen["lphone0"][:2]]
    count = len([n for n in seen if n.startswith("rtank0x")])
    assert count == 2
    for index in range(count):
        places = {seen[f"{kind}tank0x{index}"][:2] for kind in "rlc"}
        assert len(places) == 1  # in parallel
        chain += places
    nodes = [chain[0][0], *(end for _, end in chain)]
    assert nodes[0] == "phone0" and nodes[-1] == "0" and len(set(nodes)) == len(nodes)
    assert all(one[1] == two[0] for one, two in pairwise(chain))
    # and together they are what was measured, at 1 kHz to some per cent of a fit of five points
    w = 2.0 * np.pi * 1000.0
    z = float(seen["rphone0"][2]) + 1j * w * float(seen["lphone0"][2])
    for index in range(count):
        r, l, c = (float(seen[f"{kind}tank0x{index}"][2]) for kind in "rlc")  # noqa: E741
        z += 1.0 / (1.0 / r + 1.0 / (1j * w * l) + 1j * w * c)
    assert abs(z) == pytest.approx(6300.0, rel=0.1)
