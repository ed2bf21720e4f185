"""Detection on a tank and a tube in closed form: sound of AM and of a beat note, settings, widths, words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer, WrongValue
from receiver_sim.measure.over_time import Moving
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import AmplitudeMap, DetectionCurve, Oscillation
from receiver_sim.results.onset import SCREEN, ControlSetting
from receiver_sim.schema import Build
from receiver_sim.studies import detection
from tests.helpers.filling import filled

FARAD, DECAY, AERIAL = 125e-12, 2e5, 3.1e-6
"""C of an ideal tank, whose residue is 1/(2 C); its decay; amperes into it per volt in the aerial."""
LOSS = 2.0 * FARAD * DECAY
"""Amperes of a fundamental in phase for a volt of amplitude, 50 uS."""
MODE = Mode(
    reference_hz=7.1e6, decay=DECAY, offset_rad=0.0, residue=0.5 / FARAD + 0j, grid=1.0, cathode=0.05,
    plate=0.0, screen=0.0, aerial=AERIAL * np.exp(0.7j), misfit=0.0,
)  # fmt: skip
WHOLE = {"BEAT_LEVELS": detection.BEAT_LEVELS, "OFFSETS": detection.OFFSETS}
"""All of them: other tests make do with fewer."""
BENT = 0.013
"""Audio in volts for a square volt of amplitude."""


@dataclass(frozen=True)
class Begun:
    """What a run over time begins with."""

    options: tuple[str, ...]


@dataclass(frozen=True)
class Envelope:
    """The circuit of a run over time."""

    options: tuple[str, ...] = ()

    def node(self, place: Place) -> str:
        return place.name


class Law:
    """A tube that gives `gives` of the tank's losses back, and an audio part of `BENT` volts a square volt.

    Beside the tone the output of a run over time has twice its pitch, and what a choke does at 9 Hz.
    """

    def __init__(self, gives: float = 0.6, beat: float = 0.0) -> None:
        self.gives, self.beat, self.session, self.circuit = gives, beat, self, self
        self.control = Control(SCREEN, "V", "scr", 270.0, (), "linear", None)
        self.control_vectors = ["scr"]
        self.amplitude, self.courses, self.rotation, self.asked = 0.0, {}, 0.0, ()
        self.made: list[tuple[str, dict[str, Any]]] = []
        self.options: tuple[str, ...] = ()

    def node(self, place: Place) -> str:
        return place.name

    def set(self, role: Role, value: float) -> None:
        assert role is Role.AMPLITUDE
        self.amplitude = value

    def op(self, *, vectors: Any) -> dict[str, np.ndarray]:
        drive = np.array([1e3 * self.gives * LOSS * self.amplitude])
        return {name: np.array([60.0 * self.rotation]) if name == "scr" else drive for name in vectors}

    def ac(self, start: float, stop: float, *how: Any, vectors: Any) -> dict[str, np.ndarray]:
        self.asked = (start, stop, *how)
        frequency = np.array([start]) if start == stop else np.geomspace(start, stop, 2000)
        one = np.ones(frequency.size)
        known = {
            "frequency": frequency, Place.DRIVE.name: 1e3 * self.gives * LOSS * one + 0j,
            "phone0": 2.0 * BENT * self.amplitude * one + 0j,
        }  # fmt: skip
        return {name: known[name] for name in vectors}

    def volts(self) -> dict[str, float]:
        return {"plate": 71.0}

    def begun_with(self, volts: dict[str, float]) -> Any:
        assert volts == {"plate": 71.0}
        return Begun(())

    def course(self, role: Role, kind: str, numbers: list[float]) -> None:
        assert kind == "sin"
        self.courses[role] = numbers

    def tran(self, *asked: float, vectors: Any) -> dict[str, np.ndarray]:
        self.asked = asked
        time = np.linspace(0.0, asked[1], 6001)
        if Role.AMPLITUDE in self.courses:
            middle, swing, tone = self.courses[Role.AMPLITUDE]
            volts = BENT * (middle + swing * np.sin(2.0 * np.pi * tone * time)) ** 2
            return {"time": time, "phone0": volts + 3e-6 * np.sin(2.0 * np.pi * 9.0 * time)}
        offset = self.courses[Role.IN_PHASE][2]
        tank = 0.4 * np.exp(2j * np.pi * (offset - self.beat) * time)
        volts = 5.0 + 0.02 * np.sin(2.0 * np.pi * self.beat * time) + 9.0 * (time < 0.45 * asked[1])
        known = {
            "time": time,
            Place.IN_PHASE.name: tank.real,
            Place.QUADRATURE.name: tank.imag,
            "phone0": volts,
        }
        return {name: known[name] for name in ["time", *vectors]}


ROTATION = np.linspace(0.4, 0.9, 51)
MAP = filled(
    AmplitudeMap, rotation=ROTATION, amplitude_v=20.0 * (ROTATION - 0.4), rest_screen_v=60.0 * ROTATION,
    rest_value=None, frame_hz=7.1e6 - 200.0 * ROTATION,
)  # fmt: skip


def found(**given: Any) -> Oscillation:
    plain: dict[str, Any] = {
        "status": Status.OSCILLATES, "onset": ControlSetting(0.4, 24.0), "amplitudes": MAP, "warnings": (),
        "dial_hz": 7.1e6,
    }  # fmt: skip
    return filled(Oscillation, **{**plain, **given})


@pytest.fixture
def listen(monkeypatch: pytest.MonkeyPatch, demo: Build) -> Any:
    """Return what makes a listener to a law."""

    def make(law: Law, mode: Mode = MODE, **given: Any) -> detection.Listener:
        def imposed(*_: Any, amplitude: float, rotation: float) -> Law:
            law.made.append(("imposed", {"amplitude": amplitude, "rotation": rotation}))
            law.amplitude, law.rotation = amplitude, rotation
            return law

        def envelope(*_: Any, **how: Any) -> Envelope:
            law.made.append(("envelope", how))
            return Envelope()

        @contextmanager
        def loaded(_: Any, circuit: Any) -> Iterator[Law]:
            law.options = circuit.options
            yield law

        monkeypatch.setattr(detection, "imposed_circuit", imposed)
        monkeypatch.setattr(detection, "envelope_circuit", envelope)
        monkeypatch.setattr(detection, "loaded", loaded)
        monkeypatch.setattr(detection, "TRAN_OPTIONS", SimpleNamespace(replace=lambda *put: put))
        receiver: Any = SimpleNamespace(build=demo, cards=None, bench=None)
        return detection.Listener(receiver, mode, found=found(**given), output=0)

    return make


# ---------------------------------------------------------------------------- sound of a signal


@pytest.mark.parametrize("carrier_v", [100e-6, 0.03])
@pytest.mark.parametrize("gives", [0.6, -3.0])
def test_am_in_tune_is_a_swing_about_the_amplitude_of_its_carrier(
    listen: Any, carrier_v: float, gives: float
) -> None:
    """I = sqrt 2 E Y; a = I/(G - g); a tone w of 30 % moves it by 0.3 I/|2 C (jw + decay) - g|, and the
    square law makes 2 s a of that. Below a millivolt the same law, looked at there, is in proportion.
    """
    ear = listen(Law(gives))
    current = math.sqrt(2.0) * carrier_v * AERIAL
    level = current / (LOSS * (1.0 - gives))
    w = 2.0 * math.pi * 400.0
    swing = 0.3 * current / abs(2.0 * FARAD * (1j * w + DECAY) - gives * LOSS)
    amplitude, audio = ear.am(0.37, carrier_v)
    # the search ends within a millionth in the logarithm
    assert amplitude == pytest.approx(level, rel=3e-6)
    assert audio == pytest.approx(2.0 * BENT * level * swing / math.sqrt(2.0), rel=1e-5)
    assert ear.current(carrier_v) == pytest.approx(current)


def test_a_tone_is_asked_for_by_its_pitch(listen: Any) -> None:
    """At the edge of the band, where 2 C w is as large as what is left of the losses: 3 dB less."""
    ear = listen(Law(0.6))
    corner = DECAY * 0.4 / (2.0 * math.pi)
    slow, fast = (ear.am(0.37, 0.03, tone=tone)[1] for tone in (1.0, corner))
    assert fast / slow == pytest.approx(1.0 / math.sqrt(2.0), rel=1e-4)


def test_without_regeneration_the_tank_alone_answers(listen: Any) -> None:
    law = Law(0.6)
    current = math.sqrt(2.0) * 0.03 * AERIAL
    level = current / LOSS
    swing = 0.3 * current / abs(2.0 * FARAD * (2j * math.pi * 400.0 + DECAY))
    assert listen(law).bare(0.37, 0.03) == pytest.approx(2.0 * BENT * level * swing / math.sqrt(2.0))
    assert law.made[-1] == ("imposed", {"amplitude": pytest.approx(level), "rotation": 0.37})


def test_a_beat_note_is_a_current_along_the_swing(listen: Any) -> None:
    """The carrier's part along the swing is all of it once a turn; the amplitude at half the knob is 2 V."""
    law = Law(0.3)
    current = math.sqrt(2.0) * 1e-4 * AERIAL
    amplitude, audio = listen(law).beat(0.5, 1e-4, tone=800.0)
    swing = current / abs(2.0 * FARAD * (2j * math.pi * 800.0 + DECAY) - 0.3 * LOSS)
    assert amplitude == pytest.approx(2.0)
    assert audio == pytest.approx(2.0 * BENT * 2.0 * swing / math.sqrt(2.0))
    assert law.made[-1] == ("imposed", {"amplitude": pytest.approx(2.0), "rotation": 0.5})


def test_a_run_over_time_finds_the_tone_beside_what_else_moves(listen: Any) -> None:
    """s (A + S sin)^2 has the tone 2 s A S, and one at twice the pitch; a choke's 9 Hz is kept out.

    A raised cosine over six cycles leaves some 1e-3 of a motion of a fifth of a cycle.
    """
    law = Law(0.6)
    ear = listen(law)
    level, audio = ear.am(0.37, 0.03)
    assert ear.am_in_time(0.37, 0.03) == pytest.approx(audio, rel=0.01)
    middle, swing, tone = law.courses[Role.AMPLITUDE]
    assert (middle, tone) == (pytest.approx(level, rel=3e-6), 400.0)
    assert swing == pytest.approx(audio * math.sqrt(2.0) / (2.0 * BENT * level), rel=1e-5)
    # twelve cycles in steps of a fiftieth
    assert law.asked == pytest.approx((1.0 / 20e3, 12.0 / 400.0, 0.0, 1.0 / 20e3))


@pytest.mark.parametrize(("offset", "beat", "step"), [(800.0, 640.0, 0.02 / 800.0), (50.0, 0.0, 5e-5)])
def test_a_beat_over_time_is_counted_against_the_carrier(
    listen: Any, offset: float, beat: float, step: float
) -> None:
    """The tank turns `beat` slower than the carrier. Sound and count are of the second half of the run."""
    law = Law(0.3, beat=beat)
    ear = listen(law)
    hertz, audio = ear.beat_in_time(0.5, 1e-4, offset_hz=offset, seconds=0.05)
    # 6001 points; 16 turns
    assert hertz == pytest.approx(beat, rel=1e-3, abs=1e-9)
    assert audio == pytest.approx(0.02 / math.sqrt(2.0) if beat else 0.0, rel=1e-3, abs=1e-9)
    current = math.sqrt(2.0) * 1e-4 * AERIAL
    # a phasor that turns ahead: cosine in phase, sine in quadrature
    assert law.courses == {
        Role.IN_PHASE: [0.0, pytest.approx(current), offset, 0.0, 0.0, 90.0],
        Role.QUADRATURE: [0.0, pytest.approx(current), offset, 0.0, 0.0, 0.0],
    }
    assert law.asked == pytest.approx((step, 0.05, 0.0, step))
    assert law.options == ("reltol=1e-4", "reltol=1e-3")
    assert law.made[-1] == (
        "envelope",
        {"rotation": 0.5, "reference_hz": pytest.approx(7.1e6 - 100.0, rel=1e-12)},
    )


def test_above_onset_a_carrier_has_no_amplitude_of_its_own(listen: Any) -> None:
    with pytest.raises(NoAnswer, match=r"^this setting lies above onset: the amplitude finds no end$"):
        listen(Law(1.2)).am(0.5, 0.03)


@pytest.mark.parametrize("gives", [0.0, 0.9])
def test_width_and_flanks_of_the_tank_at_a_setting(listen: Any, gives: float) -> None:
    """A single resonance: 10 lg(1 + (w/d)^2) down, d what is left of the decay; 2 d/(2 pi) wide at 3 dB."""
    law = Law(gives)
    offset, level, width = detection.selectivity(listen(law), 0.3)
    left = DECAY * (1.0 - gives)
    # from 1 Hz on, a point every 0.6 %: level 0 is that of 1 Hz
    assert level == pytest.approx(-10.0 * np.log10(1.0 + (2.0 * np.pi * offset / left) ** 2), abs=1e-6)
    assert width == pytest.approx(left / math.pi, rel=1e-4)
    # six half widths of the bare tank, and 100 kHz at least
    assert law.asked[:2] == (1.0, DECAY)
    slow = Law(gives)
    detection.selectivity(listen(slow, replace(MODE, decay=3e4)), 0.3)
    assert slow.asked[:2] == (1.0, 100e3)


def test_a_setting_that_passes_all_sound_is_said_to_reach_a_hundred_kilohertz(
    listen: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half of the width, as both sidebands count; no more than 100 kHz, where no width is found neither."""
    for width, due in ((7e3, 3.5e3), (190e3, 95e3), (210e3, 100e3), (None, 100e3)):
        monkeypatch.setattr(detection, "selectivity", lambda *_, w=width: (None, None, w))
        assert detection.reach_of(listen(Law()), 0.3) == due


# ---------------------------------------------------------------------------- settings


def test_settings_of_a_listener(listen: Any) -> None:
    ear = listen(Law())
    assert ear.setting(0.37) == ControlSetting(pytest.approx(0.37), pytest.approx(22.2))
    assert (ear.held(0.5), ear.frame_of(0.5)) == (pytest.approx(2.0), pytest.approx(7.1e6 - 100.0, rel=1e-12))
    assert ear.rotation_below(0.1) == pytest.approx(0.36)
    # 24 V at onset, 60 V over the whole knob: the map ends at 54 V
    assert ear.rotation_above(0.25) == pytest.approx(0.5)
    assert (ear.rotation_above(1.249), ear.rotation_above(1.251)) == (pytest.approx(0.8996), None)
    assert (ear.name, ear.node) == (ear.build.phones[0].name, "phone0")


def test_what_a_listener_lacks_is_said(listen: Any) -> None:
    ear = listen(Law(), amplitudes=None, onset=None)
    with pytest.raises(NoAnswer, match=r"^without oscillation there is no setting with a beat note$"):
        _ = ear.map
    with pytest.raises(NoAnswer, match=r"^without an onset there is no setting relative to it$"):
        _ = ear.onset
    with pytest.raises(NoAnswer, match=r"^no oscillation at this setting$"):
        listen(Law()).held(0.39)
    said = r"^this build has no aerial; add the key 'aerial' for signals to come in$"
    with pytest.raises(WrongValue, match=said):
        listen(Law(), replace(MODE, aerial=None))


def test_amperes_may_be_given_in_place_of_an_aerial(demo: Build) -> None:
    receiver: Any = SimpleNamespace(build=demo, cards=None, bench=None)
    ear = detection.Listener(receiver, replace(MODE, aerial=None), found=found(), output=0, amperes=5e-6)
    assert ear.current(1.0) == pytest.approx(math.sqrt(2.0) * 5e-6)


def test_am_is_listened_to_below_onset_and_a_beat_note_above(listen: Any) -> None:
    """From 30 % to 0.15 % below; of those above what the control reaches: 24 V x 1.45 are 34.8 of 54."""
    below = detection.below_onset(found())
    assert (len(below), below[0], below[-1]) == (14, pytest.approx(0.28), pytest.approx(0.4 * 0.9985))
    assert below == sorted(below)
    above = detection.above_onset(listen(Law()))
    assert (len(above), above[0], above[-1]) == (13, pytest.approx(0.4006), pytest.approx(0.58))
    assert above == sorted(above)
    short = replace(MAP, rest_screen_v=24.0 + 20.0 * (ROTATION - 0.4))  # ends at 34 V
    assert len(detection.above_onset(listen(Law(), amplitudes=short))) == 12


def test_without_an_onset_the_whole_control_is_listened_to(listen: Any) -> None:
    silent = found(status=Status.DOES_NOT, onset=None)
    assert detection.below_onset(silent) == pytest.approx([n / 14 for n in range(1, 15)])
    assert detection.above_onset(listen(Law(), status=Status.DOES_NOT, onset=None)) == []
    everywhere = {"status": Status.NOT_IN_RANGE, "onset": None}
    assert detection.below_onset(found(**everywhere)) == []
    above = detection.above_onset(listen(Law(), **everywhere))
    assert above == pytest.approx([0.4 + 0.5 * n / 12 for n in range(13)])
    assert detection.above_onset(listen(Law(), **everywhere, amplitudes=None)) == []


class Ear:
    """A listener whose sound is a law of rotation and carrier, loudest at 0.39 below onset."""

    def __init__(self, status: Status = Status.OSCILLATES, **given: Any) -> None:
        plain = {"onset": ControlSetting(0.4, 24.0)} if status is Status.OSCILLATES else {"onset": None}
        self.found = found(status=status, **{**plain, **given})
        self.build: Any = SimpleNamespace(verdicts=SimpleNamespace(audio_high_min=2.5e3))
        self.mode, self.name, self.timed = MODE, "headset", []
        self.clips_at, self.starts_at = 0.02, math.inf

    map = property(lambda self: MAP)

    def rotation_above(self, part: float) -> float:
        return 0.4 * (1.0 + part)

    def am(self, rotation: float, carrier_v: float) -> tuple[float, float]:
        if carrier_v >= self.starts_at:
            raise NoAnswer("above onset")
        return 7.0 * rotation, 3.0 * carrier_v**2 * (1.0 - 90.0 * (rotation - 0.39) ** 2)

    def am_in_time(self, rotation: float, carrier_v: float) -> float:
        self.timed.append(carrier_v)
        return min(self.am(rotation, carrier_v)[1], 3.0 * self.clips_at**2)

    def bare(self, rotation: float, carrier_v: float) -> float:
        return 11.0 * rotation * carrier_v

    def beat(self, rotation: float, carrier_v: float, *, tone: float) -> tuple[float, float]:
        return 20.0 * (rotation - 0.4), 5.0 * carrier_v / (1.0 + 1e3 * (rotation - 0.42) ** 2) * tone / 800.0

    def setting(self, rotation: float) -> ControlSetting:
        return ControlSetting(rotation, 60.0 * rotation)

    def held(self, rotation: float) -> float:
        return 20.0 * (rotation - 0.4)

    def frame_of(self, rotation: float) -> float:
        return 7.1e6 - 200.0 * rotation

    def current(self, carrier_v: float) -> float:
        return math.sqrt(2.0) * carrier_v * AERIAL

    def beat_in_time(
        self, rotation: float, carrier_v: float, *, offset_hz: float, seconds: float
    ) -> tuple[float, float]:
        self.timed.append((carrier_v, offset_hz, seconds))
        return 0.9 * offset_hz, 17.0 * carrier_v


def reach(_: Any, rotation: float) -> float:
    """Halves for each hundredth of the knob towards 0.40, where it is 1 kHz."""
    return float(1e3 * 2.0 ** ((0.40 - rotation) / 0.01))


def test_am_against_the_control_and_its_setting_for_speech(monkeypatch: pytest.MonkeyPatch) -> None:
    """2.5 kHz pass at 0.40 - 0.01 log2 2.5; loudest of those looked at is the one nearest to 0.39."""
    monkeypatch.setattr(detection, "reach_of", reach)
    ear: Any = Ear()
    curve = detection.am_curve(ear, carrier_v=2e-4)
    assert curve is not None and curve.reach_hz is not None
    below = np.array(detection.below_onset(ear.found))
    assert (curve.signal, curve.carrier_v, curve.tone_hz) == ("AM 30 %", 2e-4, 400.0)
    assert curve.rotation == pytest.approx(below) and curve.amplitude_v == pytest.approx(7.0 * below)
    loud = 3.0 * 4e-8 * (1.0 - 90.0 * (below - 0.39) ** 2)
    assert curve.audio_v == pytest.approx(loud)
    assert curve.reach_hz == pytest.approx([reach(None, r) for r in below])
    # between two settings along the logarithm, which is straight here
    place = 0.40 - 0.01 * math.log2(2.5)
    assert curve.best.rotation == pytest.approx(place)
    assert curve.best_v == pytest.approx(3.0 * 4e-8 * (1.0 - 90.0 * (place - 0.39) ** 2))
    speech = detection.speech_setting(ear, curve)
    edge = float(below[int(np.argmin(np.abs(below - 0.39)))])
    assert (speech.wanted_hz, speech.setting) == (2.5e3, curve.best)
    assert speech.reach_hz == pytest.approx(2.5e3)
    assert (speech.edge.rotation, speech.edge_v) == (pytest.approx(edge), pytest.approx(loud.max()))
    assert speech.edge_reach_hz == pytest.approx(reach(None, edge))
    assert (speech.audio_v, speech.bare_v) == (curve.best_v, pytest.approx(11.0 * place * 2e-4))
    # of a band that does not start the loudest that is wide enough: 0.36 of the thirteen-fold even ones
    silent: Any = Ear(Status.DOES_NOT)
    assert detection.am_curve(silent).best.rotation == pytest.approx(5.0 / 14.0)  # type: ignore[union-attr]
    assert detection.am_curve(Ear(Status.NOT_IN_RANGE)) is None  # type: ignore[arg-type]


def test_a_beat_note_against_the_control_is_used_where_it_is_loudest() -> None:
    ear: Any = Ear()
    curve = detection.beat_curve(ear, carrier_v=2e-4, tone=600.0)
    assert curve is not None
    above = 0.4 * (1.0 + np.array(detection.ABOVE))
    assert (curve.signal, curve.carrier_v, curve.tone_hz) == ("beat note", 2e-4, 600.0)
    assert curve.rotation == pytest.approx(above)
    assert curve.amplitude_v == pytest.approx(20.0 * (above - 0.4))
    assert curve.best.rotation == pytest.approx(0.42) and curve.reach_hz is None
    assert curve.best_v == pytest.approx(5.0 * 2e-4 * 600.0 / 800.0) == curve.audio_v.max()
    assert detection.beat_curve(Ear(Status.DOES_NOT)) is None  # type: ignore[arg-type]


# ---------------------------------------------------------------------------- strong signals


def test_strong_carriers_are_run_over_time_down_to_where_nothing_clips() -> None:
    """A quarter of a decade a step from 1 uV to 1 V; a stage that clips at the sound of 20 mV. From the top
    every other level is run, to the first within 5 % of what small changes tell; between those none stays.
    """
    ear: Any = Ear()
    found_ = detection.am_transfer(ear, 0.39)
    levels = 1e-6 * 10.0 ** (np.arange(25) / 4.0)
    timed = levels[24::-2][: len(ear.timed)]
    assert ear.timed == pytest.approx(list(timed))
    assert ear.timed[-1] < 0.02 < ear.timed[-2]
    kept = sorted({*levels[levels <= ear.timed[-1]], *ear.timed})
    assert found_.carrier_v == pytest.approx(kept)
    assert found_.audio_v == pytest.approx(3.0 * np.minimum(kept, 0.02) ** 2)
    assert (found_.signal, found_.rotation) == ("AM 30 %", 0.39)
    # it is straight up to 20 mV and flat from there, at steps of half a decade
    assert found_.overload_v == pytest.approx(0.02, rel=0.8)


def test_carriers_that_would_start_oscillation_are_left_out() -> None:
    ear: Any = Ear()
    ear.starts_at = 1e-3
    found_ = detection.am_transfer(ear, 0.39)
    assert found_.carrier_v.max() == pytest.approx(1e-6 * 10.0**2.75) and ear.timed == [
        found_.carrier_v.max()
    ]
    assert found_.overload_v is None
    ear.starts_at = 0.0
    with pytest.raises(NoAnswer, match=r"^above onset$"):
        detection.am_transfer(ear, 0.39)


def test_beat_notes_of_strong_carriers_are_run_over_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Microvolt to 10 mV in decades, 60 ms each."""
    monkeypatch.setattr(detection, "BEAT_LEVELS", WHOLE["BEAT_LEVELS"])
    ear: Any = Ear()
    found_ = detection.beat_transfer(ear, 0.42, tone=700.0)
    assert found_.carrier_v == pytest.approx([1e-6, 1e-5, 1e-4, 1e-3, 1e-2])
    assert found_.audio_v == pytest.approx(17.0 * found_.carrier_v)
    assert [one[1:] for one in ear.timed] == [(700.0, 0.06)] * 5
    assert (found_.signal, found_.rotation, found_.overload_v) == ("beat note", 0.42, None)


def test_locking_by_adler(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half the range is f/(2 Q) I/Iosc; decay = w/(2 Q), the oscillation's own current G a."""
    monkeypatch.setattr(detection, "OFFSETS", WHOLE["OFFSETS"])
    ear: Any = Ear()
    found_ = detection.pulling(ear, 0.5, carrier_v=1e-3)
    lock = DECAY / (2.0 * math.pi) * (math.sqrt(2.0) * 1e-3 * AERIAL) / (2.0 * LOSS)
    assert found_.lock_hz == pytest.approx(lock)
    assert found_.offset_hz == pytest.approx(lock * np.array([0.5, 0.9, 1.1, 1.3, 1.7, 2.5, 5.0]))
    assert found_.beat_hz == pytest.approx(0.9 * found_.offset_hz)
    assert (found_.rotation, found_.carrier_v) == (0.5, 1e-3)
    # a dozen beats and 20 ms to settle
    assert [one[2] for one in ear.timed] == pytest.approx(12.0 / found_.offset_hz + 0.02)


# ---------------------------------------------------------------------------- the whole answer

CURVE = filled(DetectionCurve, best=ControlSetting(0.42, 25.2))


def whole(
    monkeypatch: pytest.MonkeyPatch, *, am: Any = CURVE, beat: Any = CURVE, unrest: float | None = None,
    squegs: Moving | None = None, **given: Any
) -> tuple[Any, Ear, list[Any]]:  # fmt: skip
    ear, carriers = Ear(**given), []
    monkeypatch.setattr(detection, "Listener", lambda *_, **__: ear)
    monkeypatch.setattr(detection, "am_curve", lambda _: am)
    monkeypatch.setattr(detection, "beat_curve", lambda _, tone: beat)
    monkeypatch.setattr(detection, "selectivity", lambda *_: ("offset", "level", 7e3))
    monkeypatch.setattr(detection, "am_transfer", lambda _, r: ("am", r))
    monkeypatch.setattr(detection, "speech_setting", lambda *_: "speech")
    monkeypatch.setattr(detection, "beat_transfer", lambda _, r, tone: ("beat", r, tone))
    monkeypatch.setattr(detection, "unrest_hz", lambda *_, **__: unrest)
    monkeypatch.setattr(detection, "relaxation", lambda *_, **__: squegs)

    def pulled(_: Any, rotation: float, *, carrier_v: float) -> Any:
        carriers.append(carrier_v)
        return ("pulled", rotation)

    monkeypatch.setattr(detection, "pulling", pulled)
    band: Any = SimpleNamespace(name="40 m")
    receiver: Any = None
    answer: Any = detection.run(receiver, MODE, band=band, found=ear.found, beat_hz=700.0)
    return answer, ear, carriers


def test_all_parts_of_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """The carrier of the locking test locks within 100 Hz: Adler's half range with the amplitude there."""
    answer, ear, (carrier,) = whole(monkeypatch)
    assert (answer.band, answer.dial_hz, answer.output, answer.status) == (
        "40 m", 7.1e6, "headset", Status.OSCILLATES,
    )  # fmt: skip
    assert (answer.am, answer.beat, answer.onset) == (CURVE, CURVE, ControlSetting(0.4, 24.0))
    assert (answer.am_transfer, answer.speech) == (("am", 0.42), "speech")
    assert (answer.offset_hz, answer.selectivity_db, answer.bandwidth_hz) == ("offset", "level", 7e3)
    assert (answer.beat_transfer, answer.pulling) == (("beat", 0.42, 700.0), ("pulled", 0.42))
    assert answer.notes == ()
    held = 20.0 * (0.42 - 0.4)
    assert DECAY / (2.0 * math.pi) * ear.current(carrier) / (held * LOSS) == pytest.approx(100.0)


def test_what_moves_by_itself_is_not_run_with_a_carrier(monkeypatch: pytest.MonkeyPatch) -> None:
    said = (
        ": the note is told as if it held still, overload and locking are left out; 'receiver-sim onset' "
        "tells where it holds still"
    )
    begins = "at the best setting for a beat note the oscillation "
    for hertz, words in (
        (312.4, "moves to and fro by itself, at 312 Hz to begin with"),
        (0.0, "does not hold still"),
    ):
        answer, _, carriers = whole(monkeypatch, unrest=hertz)
        assert answer.notes == (begins + words + said,)
        assert (answer.beat, answer.beat_transfer, answer.pulling, carriers) == (CURVE, None, None, [])
        assert answer.am_transfer == ("am", 0.42)
    answer, _, carriers = whole(monkeypatch, squegs=Moving(45_678.0, 0.3, None))
    assert answer.notes == (
        begins
        + "would hold still, but from rest the envelope runs into squegging at 45.7 kHz: the note is told "
        "as if it held still, overload and locking are left out. Feedback is far stronger there than a "
        "smooth control needs; where it grows within a few cycles the envelope is coarse (a run of every "
        "cycle of one such set settled, a third weaker)",
    )
    assert (answer.beat, answer.beat_transfer, answer.pulling, carriers) == (CURVE, None, None, [])


@pytest.mark.parametrize(
    ("given", "am", "beat", "words"),
    [
        ({"status": Status.DOES_NOT}, CURVE, None,
         "AM is detected without oscillation, over the whole control; there is no beat note"),
        ({"status": Status.NOT_IN_RANGE}, None, CURVE,
         "it oscillates at every setting: no setting for AM, beat notes over the whole control"),
        ({"status": Status.OSCILLATES, "amplitudes": None}, CURVE, None,
         "AM is told as if nothing oscillated, over the whole control; no beat note is told"),
        ({"status": Status.OSCILLATES}, CURVE, None,
         "onset lies at the very top of the control: no setting above it for a beat note"),
    ],
)  # fmt: skip
def test_why_a_part_is_missing_is_said(
    monkeypatch: pytest.MonkeyPatch, given: dict[str, Any], am: Any, beat: Any, words: str
) -> None:
    answer, _, _ = whole(monkeypatch, am=am, beat=beat, warnings=("of the map",), **given)
    assert answer.notes == ("of the map", words)
    assert (answer.am_transfer is None, answer.bandwidth_hz is None, answer.speech is None) == (
        am is None,
    ) * 3
    assert (answer.beat_transfer is None, answer.pulling is None) == (beat is None,) * 2
