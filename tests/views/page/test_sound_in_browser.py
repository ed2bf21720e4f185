"""What is played, and the words under the controls: bands and sounds made up, given to the page's own script.

In the place of the browser's sound stands an account of what it was asked to play.
"""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from tests.helpers import invented_page
from tests.helpers.pages import Page

ACCOUNT = """
window.played = { tones: [], grains: [], running: 0, limits: [] };
const value = () => ({ value: 0 });
window.AudioContext = class {
  constructor() { this.currentTime = 0; this.destination = "out"; window.played.context = this; }
  resume() { window.played.running++; }
  createDynamicsCompressor() {
    const made = { threshold: value(), ratio: value(), to: null, connect(to) { this.to = to; } };
    window.played.limits.push(made); return made;
  }
  createGain() { return { gain: value(), to: null, connect(to) { this.to = to; } }; }
  createOscillator() {
    const made = { type: "sine", frequency: value(), to: null, begun: false, ends: null,
      connect(to) { this.to = to; }, start() { this.begun = true; }, stop(at) { this.ends = at; } };
    window.played.tones.push(made); return made;
  }
  createBuffer(channels, length, rate) {
    const all = new Float32Array(length);
    return { length, rate, getChannelData: () => all };
  }
  createBufferSource() {
    const made = { buffer: null, to: null, at: null,
      connect(to) { this.to = to; }, start(at) { this.at = at; } };
    window.played.grains.push(made); return made;
  }
};
"""

GRAINS = """
return window.played.grains.map(
  g => [g.at, g.buffer.rate, [...g.buffer.getChannelData(0)], g.to === window.played.limits[0]]);
"""

SAYS = "return document.getElementById('says').textContent"


@pytest.fixture(scope="module")
def opened(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Page:
    """A page that was opened once; what it shows is given to it by each test."""
    build = api.shipped_build("demo")
    file: Path = tmp_path_factory.mktemp("sound") / "set.html"
    file.write_bytes(api.page_html(invented_page.report(), build, api.draw(build)))
    page = Page(browser, file)
    page.script(ACCOUNT)
    return page


def band(**given: Any) -> dict[str, Any]:
    """A band of five settings; it oscillates from the third on."""
    made = {
        "name": "40 m", "onset": 0.5, "gone": 0.5, "dial": 7.1e6, "rotation": [0.0, 0.25, 0.5, 0.75, 1.0],
        "figure": [3.0, 11.0, 19.3, 27.0, 35.0], "sets": "screen", "unit": "V",
        "gain": [0.2, 0.6, 1.0, 1.3, 1.6], "width": [61000.0, 24000.0, None, None, None],
        "up": [0.0, 0.0, 1.7, 2.6, 3.9], "down": [0.0, 0.0, 1.7, 2.6, 3.9], "offset": [-1.0, 0.0, 1.0],
        "level": [None] * 5,
    }  # fmt: skip
    return {**made, **given}


def shown(page: Page, one: dict[str, Any], knob: float, station: str = "none", dial: float = 0.0) -> str:
    """Show a band at a setting and return the sentence under the controls."""
    page.script("window.receiver.show({ bands: [arguments[0]], heard: [], hum: [], before: [] })", one)
    page.choose("station", station)  # type: ignore[arg-type]
    page.set_range("dial", dial)
    page.set_range("knob", 0.0)
    page.set_range("knob", knob)
    return str(page.script(SAYS))


def piece(volts: np.ndarray, spl: float | None, **given: Any) -> dict[str, Any]:
    """A sound of 12 kHz as the page carries it: 16 bits, full scale at its largest."""
    peak = float(np.abs(volts).max())
    samples = np.round(volts / peak * 32767.0).astype("<i2").tobytes()
    made = {
        "band": "40 m", "station": "carrier", "rotation": 0.75, "from": 500.0, "to": 500.0,
        "output": "phones", "rate": 12000, "volt": peak, "spl": spl, "level": 60.0,
        "samples": base64.b64encode(samples).decode("ascii"),
    }  # fmt: skip
    return {**made, **given}


def tone(seconds: float = 1.0, volts_rms: float = 0.02, hertz: float = 500.0) -> np.ndarray:
    t = np.arange(round(12000 * seconds)) / 12000.0
    return np.asarray(volts_rms * np.sqrt(2.0) * np.cos(2.0 * np.pi * hertz * t))


# ---------------------------------------------------------------------------- how loud it is


def reference(page: Page) -> tuple[float, float, float]:
    """Press the button of the reference tone; return its pitch, its r.m.s. and how long it sounds."""
    page.script("window.played.tones.length = 0")
    page.click("reference")
    ((kind, hertz, gain, begun, ends, limited),) = page.script(
        "return window.played.tones.map(t => [t.type, t.frequency.value, t.to.gain.value, t.begun,"
        " t.ends - window.played.context.currentTime,"
        " t.to.to === window.played.limits[0]])"
    )
    assert kind == "sine" and begun and limited
    # an oscillator swings from -1 to 1 (Web Audio API, OscillatorNode)
    return hertz, gain / float(np.sqrt(2.0)), ends


def played(page: Page, one: dict[str, Any], rotation: float = 75.0) -> list[Any]:
    """Play a sound for a moment and return its grains: start, rate, samples."""
    shown(page, band(), rotation, "carrier")
    page.script("window.receiver.sounds(arguments[0]); window.played.grains.length = 0", [one])
    page.click("play")
    page.script("window.played.context.currentTime += 0.4")  # what is played is made a little ahead
    page.settle()
    page.click("play")
    grains: list[Any] = page.script(GRAINS)
    assert grains and all(limited for *_, limited in grains)
    return grains


@pytest.mark.parametrize("level", [54.0, 60.0, 71.0])
def test_a_sound_is_as_much_louder_than_the_reference_tone_as_its_level_is_above_60_db(
    opened: Page, level: float
) -> None:
    """The tone is said to stand for 60 dB SPL: with the volume set by it, all else has its own level.

    A grain's middle has the full amplitude; samples of 16 bits are good to 0.01 dB.
    """
    _, tone_rms, _ = reference(opened)
    # 20 mV r.m.s.; spl: dB SPL of one volt r.m.s.
    grains = played(opened, piece(tone(), level - 20.0 * float(np.log10(0.02))))
    samples = np.array(grains[0][2])
    amplitude = float(np.abs(samples[samples.size // 2 - 60 : samples.size // 2 + 60]).max())
    above = 20.0 * float(np.log10(amplitude / np.sqrt(2.0) / tone_rms))
    assert above == pytest.approx(level - 60.0, abs=0.05)


def test_the_reference_tone_is_a_kilohertz_for_a_second_or_two(opened: Page) -> None:
    """dB SPL and phon agree at 1 kHz by definition (ISO 226)."""
    hertz, _, seconds = reference(opened)
    assert hertz == 1000.0 and 1.0 <= seconds <= 3.0


def test_the_limiter_holds_from_some_77_decibels(opened: Page) -> None:
    """As the page says: 60 dB are the tone's r.m.s.; the threshold is in decibels of full scale."""
    _, tone_rms, _ = reference(opened)
    threshold, ratio, to = opened.script(
        "const one = window.played.limits[0]; return [one.threshold.value, one.ratio.value, one.to]"
    )
    full_sine_db = 60.0 + 20.0 * float(np.log10(1.0 / np.sqrt(2.0) / tone_rms))
    assert full_sine_db + threshold == pytest.approx(77.0, abs=1.0)
    assert ratio >= 20.0 and to == "out"


def test_grains_add_up_to_the_sound_without_a_ripple(opened: Page) -> None:
    """Two Hann windows half a length apart add up to one (textbook): the middle of the sound is as it was."""
    volts = tone()
    grains = played(opened, piece(volts, 60.0 - 20.0 * float(np.log10(0.02))))
    rate = grains[0][1]
    assert rate == 12000 and len(grains) >= 2
    first, second = (np.array(g[2]) for g in grains[:2])
    shift = round((grains[1][0] - grains[0][0]) * rate)
    assert shift == first.size // 2
    both = first[shift:] + second[: first.size - shift]
    assert np.abs(both).max() / np.abs(first).max() == pytest.approx(1.0, abs=0.02)
    # and each begins where the one before has half gone by: the tone goes on without a break
    due = volts[shift : first.size] * np.abs(first).max() / np.abs(volts).max()
    assert both == pytest.approx(due, abs=0.01 * float(np.abs(due).max()))


def test_a_sound_without_a_level_is_played_at_a_fifth_of_full_scale(opened: Page) -> None:
    """Phones whose sensitivity is not stated: heard, and not too loud."""
    grains = played(opened, piece(tone(), None))
    assert np.abs(np.array(grains[0][2])).max() == pytest.approx(0.2, rel=0.01)


def test_the_nearest_sound_of_the_band_and_the_station_is_played(opened: Page) -> None:
    pieces = [
        piece(tone(volts_rms=v), 90.0, rotation=at, band=name, station=station)
        for v, at, name, station in (
            (0.01, 0.5, "40 m", "carrier"), (0.02, 0.8, "40 m", "carrier"), (0.04, 0.75, "20 m", "carrier"),
            (0.08, 0.75, "40 m", "code"),
        )
    ]  # fmt: skip
    shown(opened, band(), 75.0, "carrier")
    opened.script("window.receiver.sounds(arguments[0])", pieces)
    assert opened.script("return document.getElementById('spectrum').dataset.rotation") == "0.8"
    opened.set_range("knob", 50.0)
    assert opened.script("return document.getElementById('spectrum').dataset.rotation") == "0.5"
    opened.choose("station", "none")  # type: ignore[arg-type]
    texts = opened.script("return [...document.querySelectorAll('#spectrum text')].map(t => t.textContent)")
    assert "no station" in texts


# ---------------------------------------------------------------------------- what is said


@pytest.mark.parametrize(
    ("gain", "begins"),
    [(0.79, "Below onset: T = 0.79"), (0.81, "Just below onset: T = 0.81"),
     (0.969, "Just below onset: T = 0.97"), (0.971, "At the edge: T = 0.97")],
)  # fmt: skip
def test_how_near_onset_is(opened: Page, gain: float, begins: str) -> None:
    says = shown(opened, band(gain=[0.2, gain, 1.0, 1.3, 1.6]), 25.0)
    assert says.startswith(begins)


@pytest.mark.parametrize(
    ("width", "said"),
    [(6060.0, "the tank passes 6.1 kHz. Speech is clear."), (5940.0, "5.9 kHz. Speech is heard well."),
     (2525.0, "2.5 kHz. Speech is heard well."),
     (2475.0, "2.5 kHz. Speech is muffled, its high notes are cut."), (None, "T = 0.60.")],
)  # fmt: skip
def test_what_is_left_of_speech(opened: Page, width: float | None, said: str) -> None:
    assert shown(opened, band(width=[61000.0, width, None, None, None]), 25.0).endswith(said)


@pytest.mark.parametrize(
    ("onset", "begins", "drowns"),
    [(0.5, "Far above onset: oscillating at 2.6 V.", True), (0.58, "Oscillating at 2.6 V.", False),
     (0.57, "Far above onset: oscillating at 2.6 V.", True)],
)  # fmt: skip
def test_far_above_onset_is_a_third_beyond_it(opened: Page, onset: float, begins: str, drowns: bool) -> None:
    """At 75 % of the knob: 1.3 times 57 % is 74.1 %, 1.3 times 58 % is 75.4 %."""
    says = shown(opened, band(onset=onset), 75.0)
    assert says.startswith(begins)
    assert ("Weak stations drown, and an aerial radiates." in says) == drowns


def test_backlash_is_said_where_it_holds_on(opened: Page) -> None:
    one = band(up=[0.0, 0.0, 0.0, 2.6, 3.9], down=[0.0, 0.0, 1.7, 2.6, 3.9])
    assert "backlash" not in shown(opened, one, 50.0) and "T = 1.00" in str(opened.script(SAYS))
    opened.set_range("knob", 100.0)
    assert "backlash" not in str(opened.script(SAYS))
    opened.set_range("knob", 50.0)
    says = str(opened.script(SAYS))
    assert says.endswith("It started further up and holds on here: backlash.") and "1.7 V" in says
    opened.set_range("knob", 25.0)
    opened.set_range("knob", 50.0)
    assert "backlash" not in str(opened.script(SAYS))


def test_what_is_not_known_yet_is_said_so(opened: Page) -> None:
    quick = band(quick=True, up=[0.0] * 5, down=[0.0] * 5)
    assert shown(opened, quick, 75.0) == "Above onset: it oscillates; how strongly is being computed."
    assert shown(opened, quick, 25.0).startswith("Below onset: T = 0.60")


@pytest.mark.parametrize(("spl", "said"), [(-4.0, True), (-6.0, False)])
def test_the_loudest_tone_is_said_down_to_where_hardly_anybody_hears_it(
    opened: Page, spl: float, said: bool
) -> None:
    """Level and pitch of a tone of 500 Hz: a line of the transform is 5.9 Hz wide; -5 dB SPL is the least."""
    shown(opened, band(), 75.0, "carrier", 500.0)
    # a line of the transform beside the tone shows up to 1.4 dB less (Hann window, textbook): one on a line
    volts = tone(hertz=12000.0 / 2048.0 * 85.0)
    opened.script("window.receiver.sounds(arguments[0])", [piece(volts, spl - 20.0 * float(np.log10(0.02)))])
    says = str(opened.script(SAYS))
    assert ("Loudest tone in the phones:" in says) == said
    if said:
        assert says.endswith(f"Loudest tone in the phones: {spl:.0f} dB SPL at 500 Hz.")


def test_figures_of_the_control_have_its_unit(opened: Page) -> None:
    out = "return document.getElementById('knob-out').textContent"
    shown(opened, band(), 50.0)
    assert opened.script(out) == "50.0 %, 19 V screen"
    shown(opened, band(sets="throttle", unit="pF", figure=[9.0, 31.0, 51.34, 70.0, 90.0]), 50.0)
    assert opened.script(out) == "50.0 %, 51.3 pF throttle"
    text = "return document.getElementById('knob').getAttribute('aria-valuetext')"
    assert opened.script(text) == "50.0 % of the travel, oscillating"
    opened.set_range("knob", 25.0)
    assert opened.script(text) == "25.0 % of the travel, not oscillating"
    assert opened.script("return document.getElementById('dial').getAttribute('aria-valuetext')") == "0 hertz"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0 V"), (None, "-"), (1.0, "1 V"), (0.94, "940 mV"), (0.0123, "12 mV"), (1e-3, "1 mV"),
     (9.4e-4, "940 \u00b5V"), (940.0, "940 V"), (1000.0, "1 kV"), (1.26e3, "1.3 kV"), (2.5e6, "2.5 MV"),
     (-0.05, "-50 mV"), (0.996, "1 V"), (999.0, "1 kV"), (9.99e-4, "1 mV"), (-999e3, "-1 MV")],
)  # fmt: skip
def test_figures_have_two_digits_and_a_fitting_prefix(opened: Page, value: float | None, text: str) -> None:
    assert opened.script("return window.receiver.si(arguments[0], 'V')", value) == text


def test_a_band_is_entered_a_little_below_its_onset(opened: Page) -> None:
    """A twentieth below: what is heard best. Where there is none, half way."""
    bands = [band(name="a", onset=0.6), band(name="b", onset=None)]
    opened.script("window.receiver.show({ bands: arguments[0], heard: [], before: [] })", bands)
    seen = []
    for number in (0, 1):
        opened.script(
            "const b = document.getElementById('band'); b.selectedIndex = arguments[0];"
            "b.dispatchEvent(new Event('change'))", number,
        )  # fmt: skip
        seen.append(float(opened.script("return document.getElementById('knob').value")))
    assert seen == [pytest.approx(57.0), pytest.approx(50.0)]


@pytest.mark.parametrize(
    ("key", "held", "moves"),
    [("u", "", 1.0), ("d", "", -1.0), ("u", "ctrlKey", 0.0), ("u", "altKey", 0.0), ("d", "metaKey", 0.0),
     ("x", "", 0.0)],
)  # fmt: skip
def test_keys_turn_the_control_by_one_per_cent(opened: Page, key: str, held: str, moves: float) -> None:
    shown(opened, band(), 40.0)
    opened.script(
        "document.body.dispatchEvent(new KeyboardEvent('keydown', { key: arguments[0], bubbles: true,"
        " [arguments[1] || 'repeat']: arguments[1] !== '' }))", key, held,
    )  # fmt: skip
    assert float(opened.script("return document.getElementById('knob').value")) == pytest.approx(40.0 + moves)


def test_keys_typed_into_a_choice_turn_nothing(opened: Page) -> None:
    shown(opened, band(), 40.0)
    opened.script(
        "document.getElementById('station').dispatchEvent("
        "new KeyboardEvent('keydown', { key: 'u', bubbles: true }))"
    )
    assert float(opened.script("return document.getElementById('knob').value")) == pytest.approx(40.0)
    assert opened.errors() == []
