"""What the verbs say and choose around their studies, from results set down beforehand; nothing is run."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _calibrate, _draw, _fault_table, _listen, _sheet, _spread, _swap
from receiver_sim.api._bias import cathode_transconductance, operating_points
from receiver_sim.api._tap import find_taps
from receiver_sim.builds import shipped_build
from receiver_sim.circuit.factors import factors_of
from receiver_sim.errors import UnknownName, UserError, WrongValue
from receiver_sim.measure import audio_noise
from receiver_sim.physics.noise import BOLTZMANN, ELECTRON_CHARGE, ROOM_K
from receiver_sim.physics.tube_law import currents, small_signal
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, TubePoint
from receiver_sim.results.envelope import Oscillation, Sound
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Build
from tests.helpers.filling import filled

# ---------------------------------------------------------------------------- listen


def test_a_sound_that_was_ended_early_says_how_much_longer_all_of_it_takes() -> None:
    """0.25 s of 2 s: eight times as long; of 3.4 s 13.6, of 0.34 s 1.36. A whole one says nothing."""
    short = filled(Sound, volts=np.zeros(2000), rate=8000.0, asked_s=2.0, steps=400000)
    assert _listen._ended(short) == (
        "0.25 s of the 2 s asked for: squegging took ngspice 400000 time steps so far, and all of it would "
        "take 8.0 times as long; --whole computes it",
    )
    for asked, said in ((3.4, "take 14 times as long"), (0.34, "take 1.4 times as long")):
        (text,) = _listen._ended(replace(short, asked_s=asked))
        assert said in text
    assert _listen._ended(filled(Sound, asked_s=None, steps=None)) == ()


@pytest.mark.parametrize(("volts", "said"), [(None, False), (22.0, False), (22.4, True), (71.0, True)])
def test_bursts_above_all_that_a_grid_holds_at_rest_are_said_to_be_rough(
    volts: float | None, said: bool
) -> None:
    """The balance of amplitudes is looked for up to 22 V (the program's own limit)."""
    due = (
        f"bursts reach {volts or 0.0:.0f} V at the hot end: where they grow within a few cycles of the "
        "carrier the envelope is rough, and their height may be several times too large",
    )
    assert _listen._bursts(filled(Sound, highest_v=volts)) == (due if said else ())


@pytest.mark.parametrize(
    ("status", "end"), [(Status.NOT_IN_RANGE, "bottom"), (Status.DOES_NOT, "top"), (Status.FAILED, "top")]
)
def test_a_band_without_onset_says_where_offsets_and_control_stand(status: Status, end: str) -> None:
    """The end that is nearest to onset: the lowest of a set that oscillates all over, else the highest."""
    silent = filled(Oscillation, band="40 m", status=status, onset=None, warnings=())
    first = f"40 m: {status.value}; offsets count from the tank"
    assert _listen._heard_without(silent, relative=False, frequency="the tank") == (first,)
    assert _listen._heard_without(silent, relative=True, frequency="the tank") == (
        first,
        f"no setting relative to onset: the control stands at its {end}, the nearest to it",
    )
    assert _listen._heard_without(filled(Oscillation), relative=True, frequency="the tank") == ()


def test_a_set_that_does_not_hold_still_is_named_with_its_setting() -> None:
    assert _listen._does_not_hold(0.43217, "it squegs") == (
        "at 43.22 % of the control the set does not hold still (it squegs): that is heard, too; "
        "'receiver-sim onset' tells where it holds still"
    )


def test_a_place_without_noise_figures_is_refused(demo: Build) -> None:
    with pytest.raises(WrongValue, match=r"^place 'moor': expected one of .*, or None for a clean sound$"):
        api.listen(demo, signals=(), seconds=1.0, place="moor")


# ---------------------------------------------------------------------------- bias, draw, taps


def test_a_rotation_beyond_a_stop_is_refused(demo: Build) -> None:
    """Both stops themselves are settings; no engine is asked for what is none."""
    for wrong in (-0.01, 1.01):
        with pytest.raises(WrongValue, match=r"^rotations lie from 0 to 1, not \[0\.5, "):
            operating_points(demo, rotations=[0.5, wrong])


def test_the_cathodes_slope_is_that_of_all_its_current_at_volts_from_the_cathode(demo: Build) -> None:
    """By a difference of the law's plate and screen currents over 2 mV of the grid; the cathode at 1.5 V."""
    point = filled(TubePoint, socket="detector", plate_v=71.5, screen_v=31.5, grid_v=1.0, cathode_v=1.5)
    other = filled(TubePoint, socket="audio")
    law = api.cards_for(demo).detector.law()

    def space(grid: float) -> float:
        out = currents(law, grid_v=grid, plate_v=70.0, screen_v=30.0)
        return float(out.plate + out.screen)

    due = (space(-0.499) - space(-0.501)) / 2e-3
    found = cathode_transconductance(demo, filled(OperatingPoint, tubes=(other, point)))
    assert found == pytest.approx(due, rel=1e-5)


def test_volts_of_a_drawing_stand_by_socket_and_electrode() -> None:
    """Of a triode no screen; a test point by its words."""
    tubes = (
        filled(TubePoint, socket="detector", plate_v=61.0, cathode_v=0.1, screen_v=27.0),
        filled(TubePoint, socket="audio", plate_v=180.0, cathode_v=8.0, screen_v=None),
    )
    found = _draw._by_pin(filled(OperatingPoint, tubes=tubes, volts={"plate supply": 190.0}))
    assert found == {
        ("", "plate supply"): 190.0, ("detector", "plate"): 61.0, ("detector", "cathode"): 0.1,
        ("detector", "screen"): 27.0, ("audio", "plate"): 180.0, ("audio", "cathode"): 8.0,
    }  # fmt: skip


def test_a_set_with_ticklers_has_no_tap_to_find() -> None:
    with pytest.raises(UserError, match=r"^a set with tickler coils has no tap: its cathode is on ground; "):
        find_taps(shipped_build("throttle"), target=0.5)


# ---------------------------------------------------------------------------- faults, sheet, calibrate


def test_onset_is_tried_on_three_bands_at_most() -> None:
    """The first, the middle and the last."""
    bands: Any = tuple("abcdefg")
    assert _fault_table.some_bands(bands) == ("a", "d", "g")
    assert _fault_table.some_bands(bands[:4]) == ("a", "c", "d")
    for few in (bands[:3], bands[:1]):
        assert _fault_table.some_bands(few) == few


def test_a_rating_of_no_part_is_told_with_the_parts_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    parts: Any = (SimpleNamespace(designator="R1"), SimpleNamespace(designator="C3"))
    monkeypatch.setattr(_sheet.part_needs, "without_part", lambda *_: [SimpleNamespace(part="R99")])
    found = list(_sheet._of_no_part(SimpleNamespace(ratings=()), parts))  # type: ignore[arg-type]
    assert found == ["ratings: no part 'R99' in this set, so its rating was not checked; there are R1, C3"]


def test_the_value_of_a_factor_is_found_under_its_key_in_the_build(demo: Build) -> None:
    """A coil by its figures has its own keys, of a wound one what was measured stands beside the winding;
    the mains and what print leaves open have none."""
    cards = api.cards_for(demo)
    factors = {f.key: f for f in factors_of(demo, demo, cards) if "#" not in f.name}
    assert _calibrate.value_key(demo, factors["detector.grid_leak"]) == "detector.grid_leak"
    assert _calibrate.value_key(demo, factors["bands[1].coil.q"]) == "bands[1].coil.q"
    wound = shipped_build("plugin_coils")
    assert _calibrate.value_key(wound, factors["bands[1].coil.q"]) == "bands[1].coil.measured.q"
    assert not [f.kind for f in factors.values() if f.kind == "mains" and _calibrate.value_key(demo, f)]
    printed = [f for f in factors_of(demo, demo, cards) if "#" in f.name]
    assert printed and {_calibrate.value_key(demo, f) for f in printed} == {""}
    one = printed[-1]
    assert _calibrate._word(demo, one) == f"{one.word}, no. {one.name.split('#')[1]}"
    coil = factors["bands[1].coil.q"]
    assert _calibrate._word(demo, coil) == f"{coil.word}, {coil.band}" and coil.band == demo.bands[1].name


# ---------------------------------------------------------------------------- spread, swap


def test_a_number_of_sets_lies_between_one_and_a_million(demo: Build) -> None:
    for wrong in (0, 1_000_001):
        with pytest.raises(WrongValue) as caught:
            _spread.spread_of_sets(demo, sets=wrong)
        assert str(caught.value) == f"sets: a number from 1 to 1000000 is expected, not {wrong}"


def test_a_part_counts_from_a_hundredth_of_the_variance_on_one_band() -> None:
    """Moves of 10 and 1: 1 of 101 parts, less than a hundredth; of 10 and 1.01: 1.0201 of 101.02, more.
    What ends the onset counts whatever it is; what brings nothing does not, though nothing else brings
    anything.
    """

    def counts(own: float | None, other: float, bands: list[int]) -> bool:
        return _spread._counts([{0: own, 2: 0.0}, {0: other, 2: 0.0}], 0, bands)

    assert counts(1.0, 10.0, [0]) is False and counts(-1.01, 10.0, [0]) is True
    assert counts(1.01, 10.0, [2]) is False and counts(1.01, 10.0, [2, 0]) is True
    assert counts(None, 10.0, [0]) is True
    assert counts(0.0, 0.0, [0]) is False


def test_the_move_of_an_onset_is_counted_to_the_side_its_part_was_moved() -> None:
    there, middle = filled(SetOnset, rotation=0.45), filled(SetOnset, rotation=0.42)
    assert _spread._moved(there, middle, 1.0) == pytest.approx(0.03)
    assert _spread._moved(there, middle, -1.0) == pytest.approx(-0.03)
    lost = filled(SetOnset, rotation=None)
    assert _spread._moved(lost, middle, 1.0) is None and _spread._moved(there, lost, 1.0) is None


def test_what_is_no_part_of_the_set_can_not_be_measured() -> None:
    factors: Any = [SimpleNamespace(key=key) for key in ("b.two", "", "bands[0].coil.q", "a.one")]
    _spread._known(["a.one", "bands[0].coil.q"], factors)
    with pytest.raises(UnknownName) as caught:
        _spread._known(["a.two"], factors)
    assert str(caught.value) == "'a.two' is no part whose spread counts; there are a.one, b.two, ..."


def test_tubes_are_left_out_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    """A detector whose control feeds a screen takes no triode, one without a feed for a screen no pentode;
    an output tube, of more than 5 W at the plate, is tried as audio tube alone. 6F6: 11 W (RCA sheet).
    """
    monkeypatch.setattr(_swap, "card_types", lambda: ("6F6", "6J5", "6J7"))
    demo, plate = shipped_build("demo"), shipped_build("triode")
    taken, left = _swap.candidates_for(demo, "detector")
    why = dict(one.split(": ", 1) for one in left)
    assert why == {"6J5": "no screen to control", "6F6": "output tube"} and taken == ["6J7"]
    taken, left = _swap.candidates_for(plate, "detector")
    assert "6J5" in taken and "6J7: a screen that nothing feeds" in left
    assert "6J5: no screen to feed" in _swap.candidates_for(shipped_build("throttle"), "detector")[1]
    assert "6J5: no screen to feed" in _swap.candidates_for(shipped_build("rf_stage"), "rf")[1]
    assert _swap.candidates_for(demo, "audio")[1] == []
    for build, name, words in (
        (demo, "6J5", "6J5 has no screen to control in this set; name a pentode or a tetrode"),
        (plate, "6J7", "6J7 has a screen that nothing feeds in this set; name a triode"),
    ):
        with pytest.raises(WrongValue) as caught:
            _swap._fit_for(build, name, "detector")
        assert str(caught.value) == words


def test_a_socket_that_the_set_has_not_is_refused() -> None:
    one, demo = shipped_build("one_tube"), shipped_build("demo")
    with pytest.raises(WrongValue, match=r"^this set has no audio stage: there is no tube in that socket"):
        _swap.in_socket(one, "audio")
    with pytest.raises(WrongValue, match=r"^this set has no r\.f\. stage: there is no tube in that socket"):
        _swap.in_socket(demo, "rf")
    deaf = shipped_build("rf_stage").model_copy(update={"aerial": None})
    with pytest.raises(WrongValue, match=r"^this set has no aerial: what a tube brings"):
        _swap.in_socket(deaf, "rf")
    assert demo.audio is not None
    assert [_swap.in_socket(demo, s) for s in ("detector", "audio")] == [demo.detector.tube, demo.audio.tube]


def test_a_pentode_in_an_audio_socket_without_a_screen_has_its_screen_on_the_plate() -> None:
    """And a triode in the place of such a one has none to tie."""
    demo = shipped_build("demo")
    tied, is_tied = _swap._with(demo, "audio", "6SJ7")
    assert tied.audio is not None and (tied.audio.connection, is_tied) == ("triode", True)
    again, is_tied = _swap._with(tied, "audio", "6C5")
    assert again.audio is not None and (again.audio.connection, is_tied) == ("own", False)
    other, is_tied = _swap._with(demo, "detector", "6J7")
    assert (other.detector.tube, other.audio, is_tied) == ("6J7", demo.audio, False)


# ---------------------------------------------------------------------------- noise at audio


def test_all_noise_at_audio_is_one_current_into_the_detectors_plate(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """A probe of 4 kTR per tube, shot noise of the grid current 2 e I, and what the resistors make at the
    output, added as powers; over what an ampere into the plate makes there. Gains are set down here.
    """
    cards = api.cards_for(demo)
    volts: dict[str, float] = {}
    rest = {"detector": {"grid": -0.3, "plate": 61.0, "screen": 27.0, "cathode": 0.5},
            "audio": {"grid": 0.0, "plate": 170.0, "cathode": 8.0}}  # fmt: skip
    gains: dict[str, float] = {}
    driven: list[str] = [""]
    frequency = np.geomspace(100.0, 10e3, 21)

    class Session:
        def ac(self, low: float, high: float, count: int, *, scale: str, vectors: list[str]) -> Any:
            assert (low, high, count, scale) == (pytest.approx(100.0), pytest.approx(10e3), 10, "dec")
            return {"frequency": frequency + 0j, vectors[1]: np.full(21, gains[driven[-1]] * 1j)}

        def noise(self, node: str, _source: str, low: float, high: float, count: int) -> Any:
            assert (low, high, count) == (pytest.approx(100.0), pytest.approx(10e3), 10)
            return {"frequency": frequency + 0j, "onoise_spectrum": np.full(21, 4e-8) + 0j}

    @contextmanager
    def load(_bench: Any, circuit: Any) -> Iterator[Any]:
        for name, socket in circuit.sockets.items():
            volts.update({node: rest[name][pin] for pin, node in socket.pins.items() if node != "0"})
        names = [circuit.sockets[name].probe for name in ("detector", "audio")]
        for name, gain in zip((*names, audio_noise.Role.GRID_CURRENT, "ianoise"), (30.0, 9.0, 2e6, 5e5),
                              strict=True):  # fmt: skip
            gains[name] = gain

        @contextmanager
        def drive(which: str) -> Iterator[None]:
            driven.append(which)
            yield
            driven.append("")

        yield SimpleNamespace(volts=lambda: volts, session=Session(), driven=drive)

    monkeypatch.setattr(audio_noise, "loaded", load)
    receiver: Any = SimpleNamespace(build=demo, cards=cards, bench=None)
    found = audio_noise.into_the_plate(receiver, rotation=0.4, output=0, frequency=frequency)
    # a cathode on ground stays there whatever was written beside it
    at = audio_noise.electrode_volts(audio_noise.audio_circuit(demo, cards, rotation=0.4), "detector", volts)
    law = cards.detector.law()
    own = {"grid_v": at["grid"] - at["cathode"], "plate_v": at["plate"] - at["cathode"],
           "screen_v": at["screen"] - at["cathode"]}  # fmt: skip
    first = small_signal(law, **own)
    share = first.plate / (first.plate + first.screen)
    pentode = share * (2.5 / first.gm + 20.0 * first.screen / first.gm**2)
    assert cards.audio is not None
    triode = 2.5 / small_signal(cards.audio.law(), grid_v=-8.0, plate_v=162.0).gm
    grid = float(currents(law, **own).grid)
    heat = 4.0 * BOLTZMANN * ROOM_K
    power = (
        heat * pentode * 30.0**2 + heat * triode * 9.0**2 + 2.0 * ELECTRON_CHARGE * grid * 2e6**2 + 4e-8**2
    )
    assert list(found.frequency) == list(frequency)
    assert found.density == pytest.approx(np.full(21, math.sqrt(power) / 5e5))
