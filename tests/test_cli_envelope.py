"""The verbs onset, detect and listen as a user meets them."""

from __future__ import annotations

import json
import re
import wave

import pytest
from click.testing import CliRunner

from receiver_sim.cli import main
from receiver_sim.cli.detect import detect
from receiver_sim.cli.listen import listen
from receiver_sim.cli.onset import onset
from tests.conftest import BUILDS
from tests.helpers.lending import lending

DEMO = str(BUILDS / "demo.yaml")


@pytest.fixture(scope="module", autouse=True)
def workers():
    """All calls of this file hand their idle workers on to the next."""
    with lending():
        yield


def call(command, *args):
    return CliRunner().invoke(main, [command.name, *(str(a) for a in args)], catch_exceptions=False)


def test_onset_of_one_band(tmp_path):
    answer = call(onset, DEMO, "--band", "40 m", "--screen-resistor", "47kohm", "--out", tmp_path)
    assert answer.exit_code == 0, answer.output
    words = " ".join(answer.output.split())
    assert "40 m soft" in words and "47.0 kohm" in words and "Plate supplies kill" in words
    assert (tmp_path / "amplitude-40-m.png").exists()


def test_onset_json():
    answer = call(onset, DEMO, "--band", "40 m", "--no-modes", "--json")
    assert answer.exit_code == 0
    document = json.loads(answer.stdout)
    band = document["result"]["bands"][0]["oscillation"]
    assert document["verb"] == "onset" and band["kind"] == "soft" and band["jump"] is None


def test_detect(tmp_path):
    answer = call(detect, DEMO, "--band", "40 m", "--out", tmp_path)
    assert answer.exit_code == 0, answer.output
    assert "beat note, 800 Hz" in answer.output and (tmp_path / "sensitivity-40-m.svg").exists()


def test_listen_writes_a_file(tmp_path):
    file = tmp_path / "heard.wav"
    answer = call(
        listen, DEMO, "--band", "40 m", "--morse", "50uV@700Hz:E", "--carrier", "10uV@-2kHz", "--fade",
        "10,2s", "--seconds", "200ms", "--of-onset", "102%", "-o", file,
    )  # fmt: skip
    assert answer.exit_code == 0, answer.output
    assert "dB SPL" in answer.output and "transmits" in " ".join(answer.output.split())
    with wave.open(str(file), "rb") as sound:
        assert sound.getnframes() == 4800


def test_the_howling_set_howls_and_the_remedy_is_told():
    answer = call(onset, str(BUILDS / "howling.yaml"))
    assert answer.exit_code == 0, answer.output
    rows = [" ".join(line.split()) for line in answer.output.splitlines()]
    assert any(row.startswith("80 m as built threshold howl ") and row.endswith("plate load") for row in rows)
    assert any(row.startswith("80 m load shunt of 220 kohm holds still ") for row in rows)


@pytest.fixture
def silent(tmp_path):
    """The demo with cathode taps so low that no band oscillates."""
    text = re.sub(r"tap: [\d.]+ %", "tap: 0.5 %", BUILDS.joinpath("demo.yaml").read_text("utf-8"))
    file = tmp_path / "silent.yaml"
    file.write_text(text, "utf-8")
    return file


def test_a_band_without_onset_is_a_state_not_bad_input(tmp_path, silent):
    """Guards against exit code 2 from `detect` and `listen`: the build is sound."""
    out, file = tmp_path / "out", tmp_path / "heard.wav"
    answer = call(detect, silent, "--band", "40 m", "--out", out)
    assert answer.exit_code == 0, answer.output
    words = " ".join(answer.output.split())
    assert "40 m: does not oscillate" in words and "AM 30 %, 400 Hz" in words and "beat note, " not in words
    result = json.loads((out / "detect.json").read_text("utf-8"))["result"]
    assert (result["status"], result["onset"], result["beat"]) == ("does not oscillate", None, None)
    assert (out / "sensitivity-40-m.png").exists() and not (out / "pulling-40-m.png").exists()

    answer = call(
        listen, silent, "--band", "40 m", "--carrier", "100uV@0Hz", "--seconds", "100ms", "-o", file, "--json"
    )
    assert answer.exit_code == 0, answer.output
    assert json.loads(answer.stdout)["result"]["status"] == "does not oscillate"
    with wave.open(str(file), "rb") as sound:
        assert sound.getnframes() == 2400
    page = call(listen, silent, "--no-signal", "--seconds", "100ms", "-o", file)
    assert page.exit_code == 0 and "160 m: does not oscillate" in " ".join(page.output.split())


def test_nothing_to_verify_is_said_on_the_page(silent):
    answer = call(onset, silent, "--band", "40 m", "--no-modes", "--verify")
    assert answer.exit_code == 0, answer.output
    assert "nothing to verify: 40 m: does not oscillate" in " ".join(answer.output.split())


@pytest.mark.parametrize("seconds", ["100ms", "30ms"])
def test_a_short_sound_holds_its_signal(tmp_path, seconds):
    """Guards against silence: the signal began at 0.2 s, whatever the length."""
    file = tmp_path / "short.wav"
    where = ("--band", "40 m", "--of-onset", "103%", "--seconds", seconds, "-o", file, "--no-noise", "--json")
    heard = json.loads(call(listen, DEMO, "--carrier", "100uV@1kHz", *where).stdout)["result"]
    alone = json.loads(call(listen, DEMO, "--no-signal", *where).stdout)["result"]
    # without it the amplitude grows from rounding, which takes longer than these
    assert heard["peak_v"] > 30.0 * alone["peak_v"]


def test_the_set_alone_can_be_heard(tmp_path):
    file = tmp_path / "alone.wav"
    answer = call(listen, DEMO, "--band", "40 m", "--no-signal", "--seconds", "100ms", "-o", file)
    assert answer.exit_code == 0, answer.output
    with wave.open(str(file), "rb") as sound:
        assert sound.getnframes() == 2400


@pytest.mark.parametrize(
    ("command", "args", "message"),
    [
        (
            listen,
            ("--seconds", "1s"),
            "nothing to hear: give at least one of --carrier, --morse, --am, --ssb, --lsb, or --no-signal",
        ),
        (
            listen,
            ("--carrier", "1uV@1Hz", "--no-signal"),
            "--no-signal: signals are given, too; leave out the one or the others",
        ),
        (
            listen,
            ("--carrier", "800Hz"),
            "--carrier '800Hz': expected a level and an offset such as 100uV@800Hz",
        ),
        (listen, ("--carrier", "1uV@1Hz", "--seconds", "never"), "--seconds 'never': expected a time"),
        (listen, ("--carrier", "1uV@1Hz", "--path", "0s"), "--path '0s': expected times and settings"),
        (
            listen,
            ("--carrier", "1uV@1Hz", "--of-onset", "102"),
            "--of-onset '102': expected a part of the onset's setting such as 102%; it has no unit; add the "
            "unit: write it as '102 %'",
        ),
        (
            listen,
            ("--carrier", "1uV@1Hz", "--at", "102%"),
            "--at '102%': expected a setting of the control from 0% to 100%, such as 45%; it is out of "
            "range; check the figure and its unit; a part of the onset's setting is --of-onset",
        ),
        (
            listen,
            ("--carrier", "1uV@1Hz", "--at", "45%", "--path", "0s:35%"),
            "--at and --path both say where the control is; give one of them",
        ),
        (
            listen,
            ("--carrier", "1uV@1Hz", "--fade", "much"),
            "--fade 'much': expected a depth in dB and a period",
        ),
        (listen, ("--morse", "1uV@1Hz:"), "the text to key is empty"),
        (listen, ("--carrier", "1uV@1Hz", "--tune", "0s:3"), "--tune '0s:3': expected times and offsets"),
        (listen, ("--carrier", "1uV@1Hz", "--tune", "1s:0Hz,1s:1kHz"), "needs offsets at rising times"),
        (listen, ("--carrier", "1uV@1Hz", "--full-scale", "loud"), "--full-scale 'loud': expected volts"),
        (listen, ("--carrier", "1uV@1Hz", "-o", "heard.doc"), "--output heard.doc: the ending says"),
        (listen, ("--morse", "1uV@1Hz:~"), "no Morse code for '~'"),
        (listen, ("--carrier", "1uV@1Hz", "--phones", "ear"), "no phones 'ear' in this build; there are:"),
        (onset, ("--band", "2 m"), "no band '2 m'"),
        (onset, ("--screen-resistor", "big"), "--screen-resistor: expected a resistance such as 47kohm"),
        (detect, ("--beat", "high"), "--beat 'high': expected a pitch from 50Hz to 5kHz"),
    ],
)
def test_bad_input_is_told_and_nothing_written(tmp_path, monkeypatch, command, args, message):
    monkeypatch.chdir(tmp_path)
    answer = call(command, DEMO, *args)
    assert answer.exit_code == 2
    assert message in " ".join(answer.output.split())
    assert not list(tmp_path.iterdir())


def test_a_missing_sound_file_is_told(tmp_path):
    answer = call(listen, DEMO, "--ssb", f"1uV@1Hz:{tmp_path / 'none.wav'}")
    assert answer.exit_code == 2 and "No such file" in answer.output
