"""Remedies of a swap and what changes in the socket, on measurements made by hand: no circuit is run.

Limits are held a little above and a little below what the docstrings beside them say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.design import swap_fitting, swap_remedies
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.swap import (
    Adjustment,
)
from receiver_sim.schema import Build
from receiver_sim.schema.card import TubeCard, card_for
from tests.helpers.filling import filled


def _tuned(build: Build, cards: Cards, *, band: int = 0) -> Any:
    """A receiver tuned by hand, whose changes are builds alone."""
    one = build.bands[band]
    receiver = SimpleNamespace(changed=lambda changed: SimpleNamespace(at=lambda *_: changed))
    return SimpleNamespace(
        build=build, cards=cards, band=one, dial_hz=one.middle_hz, bench=None, receiver=receiver
    )


def _begins(rotation: float | None) -> Onset:
    """An onset at a place of the knob; None for none."""
    there = None if rotation is None else ControlSetting(rotation, 20.0)
    status = Status.DOES_NOT if rotation is None else Status.OSCILLATES
    return filled(Onset, onset=there, status=status, warnings=())


# ---------------------------------------------------------------------------- cathode resistor


def _cathode_resistor(
    monkeypatch: pytest.MonkeyPatch,
    build: Build,
    cards: Cards,
    *,
    law: Callable[[float], float],
    wanted: float,
    drawn: float = 0.0,
) -> Adjustment | None:
    """Seek it on a tube that draws law(ohm); drawn: what the changed set draws in the end, A."""
    tuned = _tuned(build, cards)
    circuit = receiver_circuit(build, cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=0.5)
    socket = circuit.sockets["audio"]
    ammeter = circuit.branch(socket.meters["plate"].element)
    ohm = {"now": 0.0}

    def place(element: str, value: float) -> None:
        assert element == socket.parts["cathode resistor"]
        ohm["now"] = value

    @contextmanager
    def made(*_: object) -> Iterator[SimpleNamespace]:
        session = SimpleNamespace(op=lambda vectors: {ammeter: np.array([law(ohm["now"]) + 0j])})
        yield SimpleNamespace(set=place, session=session)

    tubes = [
        SimpleNamespace(socket="detector", plate_a=wanted),
        SimpleNamespace(socket="audio", plate_a=drawn),
    ]
    monkeypatch.setattr(swap_remedies, "loaded", made)
    monkeypatch.setattr(
        swap_remedies.operating_point, "run", lambda changed, settings: [SimpleNamespace(tubes=tubes)]
    )
    return swap_remedies.cathode_resistor(tuned, plate_a=wanted)


def _eight_volts(ohm: float) -> float:
    """8 V over the resistor and 2 kohm of the tube: 2 mA at 2 kohm, which is a value of E24."""
    return 8.0 / (ohm + 2e3)


@pytest.mark.parametrize(
    ("share", "works"),
    [(0.5, False), (0.949, False), (0.951, True), (1.0, True), (1.049, True), (1.051, False)],
)
def test_a_cathode_resistor_works_within_a_twentieth_of_the_current_either_way(
    monkeypatch: pytest.MonkeyPatch, demo: Build, demo_cards: Cards, share: float, works: bool
) -> None:
    """Half a step of E24 moves the current by less than 5 %: what misses by more, below too, is none."""
    found = _cathode_resistor(
        monkeypatch, demo, demo_cards, law=_eight_volts, wanted=2e-3, drawn=share * 2e-3
    )
    assert found is not None and found.after == pytest.approx(2e3)
    assert (found.what, found.key, found.band) == ("cathode resistor", "audio.cathode_resistor", None)
    assert (found.before, found.wanted, found.found) == (1.3e3, 2e-3, share * 2e-3)
    assert (found.works, found.reason) == (works, None if works else "the rounded value misses the current")


@pytest.mark.parametrize(
    ("wanted", "reason"),
    [(5e-3, "it draws less even with none"), (50e-6, "it draws more even with 100 kohm")],
)
def test_a_current_that_no_cathode_resistor_gives_is_said_to_be_beyond_it(
    monkeypatch: pytest.MonkeyPatch, demo: Build, demo_cards: Cards, wanted: float, reason: str
) -> None:
    """8 V give 4 mA without a resistor, and 78 uA with 100 kohm."""
    found = _cathode_resistor(monkeypatch, demo, demo_cards, law=_eight_volts, wanted=wanted)
    assert found is not None
    assert (found.after, found.found, found.works, found.reason) == (None, None, False, reason)


def test_a_stage_without_a_cathode_resistor_is_given_none(demo: Build, demo_cards: Cards) -> None:
    """Biased otherwise, or not there at all."""
    assert demo.audio is not None
    for audio in (None, demo.audio.model_copy(update={"bias": "grid_leak"})):
        tuned = _tuned(demo.model_copy(update={"audio": audio}), demo_cards)
        assert swap_remedies.cathode_resistor(tuned, plate_a=2e-3) is None


# ---------------------------------------------------------------------------- end resistor and tap


def _top_resistor(
    monkeypatch: pytest.MonkeyPatch,
    build: Build,
    cards: Cards,
    *,
    law: Callable[[float], float],
    found: float | None,
) -> tuple[Adjustment, list[float]]:
    """Seek it on a set with a loop gain of law(ohm); found: where the changed set begins."""
    seen: list[float] = []
    ohm = {"now": -1.0}

    class Probe:
        def __init__(self, *_: object, **__: object) -> None: ...

        def trim(self) -> None: ...

        def measure(self, share: float) -> SimpleNamespace:
            seen.append(share)
            return SimpleNamespace(gain=law(ohm["now"]))

    def place(role: Role, value: float) -> None:
        assert role is Role.CONTROL_TOP
        ohm["now"] = value

    @contextmanager
    def made(*_: object) -> Iterator[SimpleNamespace]:
        yield SimpleNamespace(set=place)

    monkeypatch.setattr(swap_remedies, "loaded", made)
    monkeypatch.setattr(swap_remedies, "Probe", Probe)
    monkeypatch.setattr(swap_remedies, "_onset", lambda *_: _begins(found))
    return swap_remedies.top_resistor(_tuned(build, cards), rotation=0.6), seen


@pytest.mark.parametrize(
    ("found", "works", "reason"),
    [
        (0.6, True, None),
        (0.6297, True, None),
        (0.6303, False, "the rounded value misses the knob's place"),
        (0.5703, True, None),
        (0.5697, False, "the rounded value misses the knob's place"),
        (None, False, "no onset with it"),
    ],
)
def test_an_end_resistor_works_within_three_hundredths_of_the_knob(
    monkeypatch: pytest.MonkeyPatch,
    demo: Build,
    demo_cards: Cards,
    found: float | None,
    works: bool,
    reason: str | None,
) -> None:
    """A loop gain of one at 33 kohm, which is a value of E24; the track is linear: 0.6 of it."""
    one, seen = _top_resistor(
        monkeypatch, demo, demo_cards, law=lambda ohm: 2.0 / (1.0 + ohm / 33e3), found=found
    )
    assert (one.what, one.key, one.band) == (
        "end resistor above the control",
        "regeneration.top",
        "160 m",
    )
    assert (one.before, one.after, one.wanted) == (27e3, pytest.approx(33e3), 0.6)
    assert (one.found, one.works, one.reason) == (found, works, reason)
    assert seen == pytest.approx([0.6] * len(seen)) and seen


@pytest.mark.parametrize(("exact", "after"), [(930.0, 0.0), (950.0, 910.0)])
def test_an_end_resistor_below_a_fiftieth_of_the_track_is_left_out(
    monkeypatch: pytest.MonkeyPatch, demo: Build, demo_cards: Cards, exact: float, after: float
) -> None:
    """Of 47 kohm that is 940 ohm; 950 ohm lies nearer to 910 than to 1000 in ratio."""
    one, _ = _top_resistor(
        monkeypatch, demo, demo_cards, law=lambda ohm: 2.0 / (1.0 + ohm / exact), found=0.6
    )
    assert one.after == pytest.approx(after)


@pytest.mark.parametrize(
    ("gain", "reason"),
    [
        (0.99, "too little even with none: the regulated voltage is too low"),
        (1.01, "oscillates there whatever it is: lower the tap"),
    ],
)
def test_an_end_resistor_that_changes_nothing_is_refused(
    monkeypatch: pytest.MonkeyPatch, demo: Build, demo_cards: Cards, gain: float, reason: str
) -> None:
    one, _ = _top_resistor(monkeypatch, demo, demo_cards, law=lambda _: gain, found=0.6)
    assert (one.after, one.works, one.reason) == (None, False, reason)


def _tap(monkeypatch: pytest.MonkeyPatch, build: Build, place: float | None, *, band: int = 0) -> Adjustment:
    """Put the tap of a band's coil where the search found it."""

    class Seeker:
        def __init__(self, *_: object) -> None: ...

        def solved(self) -> float | None:
            return place

    monkeypatch.setattr(swap_remedies.tap_finder, "Seeker", Seeker)
    monkeypatch.setattr(swap_remedies, "_onset", lambda *_: _begins(0.6))
    return swap_remedies.tap(_tuned(build, api.cards_for(build), band=band), rotation=0.6)


def test_the_tap_of_a_wound_coil_is_set_to_a_twentieth_of_a_turn(
    monkeypatch: pytest.MonkeyPatch, wound: Build
) -> None:
    found = _tap(monkeypatch, wound, 1.337, band=1)
    assert (found.what, found.key) == ("tap (turns)", "bands[1].coil.winding.tap")
    assert found.band == wound.bands[1].name
    assert found.before == pytest.approx(wound.bands[1].coil.winding.tap)  # type: ignore[union-attr]
    assert found.after == pytest.approx(1.35)
    assert (found.found, found.works, found.wanted) == (0.6, True, 0.6)


def test_the_tap_of_a_coil_known_by_figures_is_a_share(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    found = _tap(monkeypatch, demo, 0.0261, band=1)
    assert (found.what, found.key, found.band) == ("tap", "bands[1].coil.tap", "80 m")
    assert (found.before, found.after) == (pytest.approx(0.0241), pytest.approx(0.026))


def test_a_tap_that_hardly_moves_stays_and_one_that_can_not_be_is_refused(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """2.41 % against 2.40 %: a fifth of what can be set. A tap above half of the turns is no tap."""
    assert _tap(monkeypatch, demo, 0.02395, band=1).after == 0.0241
    none = _tap(monkeypatch, demo, None, band=1)
    assert (none.after, none.works, none.reason) == (None, False, "no tap up to half of the turns does it")
    high = _tap(monkeypatch, demo, 0.7, band=1)
    assert (high.after, high.works, high.reason) == (None, False, "the coil does not take such a tap")


# ---------------------------------------------------------------------------- the practical side


def _card(like: str, **changes: Any) -> TubeCard:
    card = card_for(like)
    heater = card.heater.model_copy(update=changes.pop("heater", {}))
    return card.model_copy(update={**changes, "heater": heater})


@pytest.mark.parametrize(
    ("volts", "fits"),
    [(6.3 * 1.0495, True), (6.3 * 1.0505, False), (6.3 * 0.9505, True), (6.3 * 0.9495, False)],
)
def test_a_heater_within_a_twentieth_of_the_line_is_at_home(demo: Build, volts: float, fits: bool) -> None:
    place = card_for("6SJ7")
    found = swap_fitting.fitting(demo, _card("6SK7", heater={"volts": volts}), place, rf=True)
    assert (found.heater_fits, found.drop_in) == (fits, fits)
    assert (found.heater_v, found.heater_a) == (volts, 0.3)


@pytest.mark.parametrize(
    ("heater", "words"),
    [
        ({}, "6.3 V, 0.3 A: as the tube in place"),
        ({"amps": 0.45}, "6.3 V, 0.45 A: 0.15 A more than the tube in place"),
        ({"amps": 0.15}, "6.3 V, 0.15 A: 0.15 A less than the tube in place"),
        ({"volts": 25.0}, "25 V, 0.3 A: the line has 6.3 V; a winding of its own"),
        # 2.3 V at 0.5 A: 4.6 ohm, and 1.15 W in it
        (
            {"volts": 4.0, "amps": 0.5},
            "4 V, 0.5 A: the line has 6.3 V; a winding of its own, or 4.6 ohm in series (1.1 W)",
        ),
    ],
)
def test_what_the_heater_takes_is_said(demo: Build, heater: dict[str, float], words: str) -> None:
    found = swap_fitting.fitting(demo, _card("6SK7", heater=heater), card_for("6SJ7"), rf=True)
    assert found.heater == words


@pytest.mark.parametrize(
    ("rf", "tap", "words"),
    [
        (True, True, "on a tap it needs d.c. through r.f. chokes, both leads by-passed to the tap"),
        (True, False, "it needs d.c. (a.c. in it hums)"),
        (False, True, "it needs d.c. (a.c. in it hums)"),
    ],
)
def test_a_filament_needs_direct_current_and_never_drops_in(
    demo: Build, rf: bool, tap: bool, words: str
) -> None:
    """Of the very volts of the line, in the very pins: the cathode is what the heater was."""
    card = _card("6SK7", heater={"direct": True})
    found = swap_fitting.fitting(demo, card, card_for("6SJ7"), rf=rf, tap=tap)
    assert found.heater == f"6.3 V, 0.3 A: the filament is the cathode; {words}"
    assert (found.heater_fits, found.drop_in) == (False, False)


@pytest.mark.parametrize(
    ("like", "rf", "shield"),
    [
        ("6SK7", True, "ground pin 1"),
        ("6SK7", False, "ground pin 1"),
        ("EF80", True, "ground pin 6"),  # a shield inside the glass
        ("6AU6", True, "shield can, grounded"),
        ("6AU6", False, "no shield needed"),
        ("57", True, "shield can, grounded; shielded lead to the cap"),
        ("57", False, "no shield needed; lead to the cap kept short"),
        ("6J7", True, "ground pin 1; shielded lead to the cap"),
        ("6J7", False, "ground pin 1; lead to the cap kept short"),
    ],
)
def test_what_is_to_be_shielded_is_said(demo: Build, like: str, rf: bool, shield: str) -> None:
    """R.f. wants a can and a shielded lead (common practice, no source)."""
    assert swap_fitting.fitting(demo, card_for(like), card_for("6SJ7"), rf=rf).shield == shield


def test_every_pin_that_changes_is_listed_and_keeps_a_tube_from_dropping_in(demo: Build) -> None:
    """Each way to be no drop-in: a pin, a cap, a base."""
    place = card_for("6SJ7")
    turned = {**place.pins, "3": "k", "5": "g3"}
    pins = swap_fitting.fitting(demo, _card("6SJ7", pins=turned), place, rf=True)
    assert pins.pins == ("pin 3: g3 becomes k", "pin 5: k becomes g3")
    assert (pins.drop_in, pins.other_base, pins.heater_fits) == (False, False, True)
    fewer = {pin: what for pin, what in place.pins.items() if pin != "1"}
    assert swap_fitting.fitting(demo, _card("6SJ7", pins=fewer), place, rf=True).pins == (
        "pin 1: shell becomes free",
    )
    capped = swap_fitting.fitting(demo, _card("6SJ7", pins={**place.pins, "cap": "g1"}), place, rf=True)
    assert (capped.drop_in, capped.cap, capped.pins) == (False, "g1", ("cap: free becomes g1",))
    other = swap_fitting.fitting(demo, card_for("6AU6"), place, rf=True)
    assert other.other_base and not other.drop_in and other.base == "7-pin miniature"
    # RCA and GE sheets of the 6AU6
    assert other.pins == ("7-pin miniature socket: 1 g1, 2 g3, 3 heater, 4 heater, 5 p, 6 g2, 7 k",)
