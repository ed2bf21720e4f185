"""What the options of the command line mean, from the text typed to the figure that reaches a study or a
deck.
"""

from __future__ import annotations

import dataclasses
import json
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.cli import common as cli_common
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.base import FailedStage
from tests.circuit.test_wiring import elements
from tests.test_cli import DEMO, call

# ---------------------------------------------------------------------------- deck


def test_at_and_dial_reach_the_deck() -> None:
    """37 % of a linear 47 kohm lie below the wiper; the losses of the coil are those at 7.05 MHz."""
    text = call("deck", DEMO, "--band", "40 m", "--at", "37%", "--dial", "7.05MHz", "--study", "loop").out
    seen = elements("\n".join(line for line in text.splitlines()[1:] if not line.startswith("*")))
    assert float(seen["rpotb"][2]) == pytest.approx(0.37 * 47e3)
    assert float(seen["rpota"][2]) == pytest.approx(0.63 * 47e3)
    # Q 150 and 5.6 uH: Rp = Q w L
    assert float(seen["rtank"][2]) == pytest.approx(150.0 * 2.0 * np.pi * 7.05e6 * 5.6e-6, rel=1e-6)
    # the sweep lies a quarter of the bandwidth to either side
    sweep = next(line for line in text.splitlines() if line.startswith(".ac")).split()
    assert [float(sweep[3]), float(sweep[4])] == pytest.approx(
        [7.05e6 * (1 - 1 / 600), 7.05e6 * (1 + 1 / 600)]
    )


# ---------------------------------------------------------------------------- listen and detect


class Captured(SystemExit):
    """Raised in the place of a run, once its arguments are known."""


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Arguments with which the functions behind the verbs are called; nothing is simulated."""
    seen: dict[str, Any] = {}

    def capture(name: str) -> Any:
        def called(*args: Any, **kwargs: Any) -> None:
            seen[name] = kwargs
            raise Captured

        return called

    monkeypatch.setattr(api, "listen", capture("listen"))
    monkeypatch.setattr(api, "detect", capture("detect"))
    monkeypatch.setattr(api, "find_taps", capture("tap"))
    monkeypatch.setattr(api, "coils", capture("coils"))
    for name in ("audio", "supply", "check"):
        monkeypatch.setattr(api, name, capture(name))
    return seen


def seen_by(asked: dict[str, Any], verb: str, *args: str | Path) -> dict[str, Any]:
    asked.pop(verb, None)
    call(verb, DEMO, *args)
    found: dict[str, Any] = asked[verb]
    return found


def test_stations_of_listen(asked: dict[str, Any], tmp_path: Path) -> None:
    """Level in volts, offset in hertz with its sign, kind, text, fading of all: 12 dB in 3.5 s."""
    speech = tmp_path / "speech.wav"
    with wave.open(str(speech), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes((8000 * np.sin(np.arange(4000))).astype("<i2").tobytes())
    given = seen_by(
        asked, "listen", "--band", "40 m", "--carrier", "30uV@-700Hz", "--carrier", "2mV@+1.2kHz",
        "--morse", "45uV@650Hz:CQ TEST", "--am", "0.3mV@2kHz", "--am", f"0.4mV@-3kHz:{speech}",
        "--ssb", f"7uV@-1.5kHz:{speech}", "--fade", "12,3.5s", "--seconds", "2.5 s", "-o", tmp_path / "x.wav",
    )  # fmt: skip
    signals = given["signals"]
    assert [s.level_v for s in signals] == pytest.approx([30e-6, 2e-3, 45e-6, 0.3e-3, 0.4e-3, 7e-6])
    assert [s.offset_hz for s in signals] == pytest.approx([-700.0, 1200.0, 650.0, 2000.0, -3000.0, -1500.0])
    assert {s.fade_db for s in signals} == {12.0} and {s.fade_s for s in signals} == {3.5}
    assert signals[2].text == "CQ TEST" and signals[0].text is None
    assert [s.kind for s in signals[3:]] == ["am", "am", "ssb"]
    # a tone of 400 Hz to 30 %; speech deeper; a recording is half a second of samples
    assert (signals[3].depth, signals[3].audio) == (0.3, None)
    assert signals[4].depth == 0.8
    for signal in signals[4:]:
        assert signal.audio.values.size / signal.audio.rate == pytest.approx(0.5, abs=1e-3)
    assert given["seconds"] == 2.5
    assert (given["relative"], given["path"], given["output"]) == (None, None, 0)


def test_noise_of_listen(asked: dict[str, Any], tmp_path: Path) -> None:
    common = ("--band", "40 m", "--no-signal", "-o", tmp_path / "x.wav")
    given = seen_by(asked, "listen", *common)
    assert (given["place"], given["seed"]) == ("residential", 1)
    given = seen_by(asked, "listen", *common, "--place", "quiet-rural", "--seed", "17")
    assert (given["place"], given["seed"]) == ("quiet-rural", 17)
    assert seen_by(asked, "listen", *common, "--no-noise", "--place", "city")["place"] is None


def test_where_the_control_stands_in_listen(asked: dict[str, Any], tmp_path: Path) -> None:
    common = ("--band", "40 m", "--no-signal", "-o", tmp_path / "x.wav")
    assert seen_by(asked, "listen", *common, "--of-onset", "102%")["relative"] == pytest.approx(1.02)
    assert seen_by(asked, "listen", *common, "--at", "37%")["path"] == [(0.0, pytest.approx(0.37))]
    path = seen_by(asked, "listen", *common, "--path", "0s:35%,4s:45.5%,500ms:0%")["path"]
    assert path == [(0.0, pytest.approx(0.35)), (4.0, pytest.approx(0.455)), (0.5, 0.0)]


def test_pitch_target_volts_and_setting(asked: dict[str, Any]) -> None:
    assert seen_by(asked, "detect", "--band", "40 m", "--beat", "1.1kHz")["beat_hz"] == pytest.approx(1100.0)
    assert seen_by(asked, "tap", "--onset", "45%")["target"] == pytest.approx(0.45)
    given = seen_by(asked, "coils", "--tank-volts", "2.5V", "--year", "1938", "--region", "2")
    assert (given["tank_volts"], given["year"], given["region"]) == (2.5, 1938, 2)


@pytest.mark.parametrize(("text", "share"), [("45%", 0.45), ("0 %", 0.0), ("100%", 1.0), ("7.5 %", 0.075)])
def test_at_is_a_share_of_the_travel(text: str, share: float) -> None:
    assert cli_common.rotation_of(text) == pytest.approx(share)


@pytest.mark.parametrize(("text", "seconds"), [("90s", 90.0), ("2 min", 120.0), ("250ms", 0.25)])
def test_time_limit(text: str, seconds: float) -> None:
    assert cli_common.seconds_of(text) == pytest.approx(seconds)


# ---------------------------------------------------------------------------- wind


def test_wind_says_what_was_asked() -> None:
    """A coil for 7.0 to 7.3 MHz on 32 mm with gauge 24 (0.5106 mm, ASTM B258) in 0.05 mm of enamel.

    Wheeler 1928, a^2 N^2/(9 a + 10 l) uH in inches, within 1 % for l > 0.8 a, and w^2 L C = 1 at the ends of
    the range.
    """
    answer = call(
        "wind", "--band", "7.0-7.3MHz", "--former", "32mm", "--gauge", "24", "--capacitor", "10-150pF",
        "--stray", "18pF", "--pitch", "1.1mm", "--json",
    )  # fmt: skip
    found = json.loads(answer.out)["result"]
    part = found["part"]
    assert (found["from_hz"], found["to_hz"]) == (7.0e6, 7.3e6)
    assert part["wire_m"] == pytest.approx(0.5106e-3, rel=1e-3)
    assert (part["former_m"], part["pitch_m"]) == (pytest.approx(0.032), pytest.approx(1.1e-3))
    assert part["length_m"] == pytest.approx(1.1e-3 * part["turns"])
    inch = 0.0254
    radius, length = (0.032 + 0.51e-3 + 0.05e-3) / 2 / inch, part["length_m"] / inch
    wheeler = 1e-6 * radius**2 * part["turns"] ** 2 / (9 * radius + 10 * length)
    # his formula 1 %, the round wire's correction some per cent of a spaced coil
    assert found["inductance_henry"] == pytest.approx(wheeler, rel=0.04)
    for end, variable in (("high_hz", 10e-12), ("low_hz", 150e-12)):
        total = variable + 18e-12 + found["self_farad"] + found["input_farad"]
        assert found[end] == pytest.approx(
            1 / (2 * np.pi * np.sqrt(found["inductance_henry"] * total)), rel=1e-6
        )
    middle = np.sqrt(7.0e6 * 7.3e6)
    reactance = 2 * np.pi * middle * found["inductance_henry"]
    assert found["rp_ohm"] == pytest.approx(found["q"] * reactance, rel=1e-6)
    wire = part["turns"] * np.hypot(2 * np.pi * radius * inch, 1.1e-3)
    assert part["wire_length_m"] == pytest.approx(wire, rel=1e-3)


# ---------------------------------------------------------------------------- exit codes


@pytest.mark.parametrize("strict", [True, False])
@pytest.mark.parametrize("grade", list(Grade))
def test_strict_fails_on_bad_alone(strict: bool, grade: Grade) -> None:
    good = Verdict("a", "onset", Grade.GOOD, None, None, "", "")
    given = (good, dataclasses.replace(good, grade=grade))

    def end() -> None:
        verdicts = given if strict else ()
        cli_common.answer("supply", {}, as_json=True, sheet=lambda: (), strict=verdicts)

    if strict and grade is Grade.BAD:
        with pytest.raises(SystemExit) as ended:
            end()
        assert ended.value.code == 1
    else:
        end()


def test_a_failed_stage_ends_with_three_whatever_the_verdicts(capsys: pytest.CaptureFixture[str]) -> None:
    bad = Verdict("a", "onset", Grade.BAD, None, None, "", "")
    stage = FailedStage("the noise", "no convergence", None)
    with pytest.raises(SystemExit) as ended:
        cli_common.answer("supply", {}, as_json=True, sheet=lambda: (), failed=[stage], strict=[bad])
    assert ended.value.code == 3
    assert "the noise: no convergence" in capsys.readouterr().err


# ---------------------------------------------------------------------------- workers


@pytest.mark.parametrize(("bands", "workers"), [(("40 m",), 1), (("40 m", "20 m"), 2), ((), 2)])
def test_loop_of_one_band_starts_one_worker(
    monkeypatch: pytest.MonkeyPatch, bands: tuple[str, ...], workers: int
) -> None:
    """A second one would be ready when the work is done."""
    seen: list[int] = []

    def asked(*_: Any, bench: Any, **__: Any) -> None:
        seen.append(bench.workers)
        raise Captured

    monkeypatch.setattr(api, "loop", asked)
    call("loop", DEMO, *(word for band in bands for word in ("--band", band)))
    assert seen == [workers]
