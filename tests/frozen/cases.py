"""The calls of the program whose answers are kept.

The demo goes through every verb. Each other build goes through those in which its form shows: r.f. stage,
throttle, triode, one tube on batteries, rectifier, howl, wound coils with links, output transformer.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Case:
    """One call: name, shipped build ('' for none), words of the command line with BUILD for its file.

    files: what it reads besides, by name. writes: the sound (heard.wav), page (set.html) or sheet (.csv) that
    it leaves, to be kept, too. group: its file of tests.
    """

    name: str
    build: str
    words: tuple[str, ...]
    group: str = "demo"
    files: tuple[tuple[str, str], ...] = ()
    writes: str = ""


FAULTY = """\
receiver_sim_readings: 1
meter: 20 kohm/V
control: 30 %
volts:
  - {pin: V1 plate, volts: 170 V}
  - {pin: V1 screen, volts: 17.9 V}
  - {pin: V2 plate, volts: 147 V}
  - {pin: V2 cathode, volts: 7.4 V, meter: 10 Mohm}
  - {pin: plate supply, volts: 175 V}
onset:
  - {band: 40 m, at: 41 %}
heard: weak
"""
"""Of an invented set whose audio tube draws too much."""

SOUND = """\
receiver_sim_readings: 1
meter: 20 kohm/V
control: 30 %
volts:
  - {pin: V1 screen, volts: 19.3 V}
  - {pin: V2 plate, volts: 159 V}
  - {pin: V2 cathode, volts: 5.6 V, meter: 10 Mohm}
onset:
  - {band: 40 m, at: 40 %}
"""
"""Of an invented set within its tolerances."""


def _case(build: str, words: str, group: str = "demo", name: str = "", **more: object) -> Case:
    parts = words.replace("~", "\N{NO-BREAK SPACE}").split(" ")
    own = tuple(one.replace("\N{NO-BREAK SPACE}", " ") for one in parts)
    return Case(
        f"{build or 'no-build'}-{name or own[0]}", build, own, group, **more  # type: ignore[arg-type]
    )  # fmt: skip


ONE_BAND = "--band 40~m"

CASES = (
    _case("demo", "loop BUILD --out out"),
    _case("demo", f"onset BUILD {ONE_BAND} --screen-resistor 47kohm --out out"),
    _case("demo", f"detect BUILD {ONE_BAND} --out out", "runs"),
    _case("demo", "audio BUILD --out out", "runs"),
    _case("demo", "hum BUILD --out out"),
    _case("demo", "supply BUILD --out out"),
    _case("demo", "coils BUILD --out out"),
    _case("demo", "check BUILD --out out", "check"),
    _case("demo", "swap BUILD --tubes 6AU6 --out out"),
    _case("demo", "swap BUILD --socket audio --tubes 76 --out out", name="swap-audio"),
    _case("demo", f"tap BUILD --onset 45% {ONE_BAND}"),
    _case("demo", "sheet BUILD"),
    _case("demo", "draw BUILD --volts --at 35% -o drawing.svg"),
    _case("demo", "faults BUILD --readings readings.yaml", "bench", files=(("readings.yaml", FAULTY),)),
    _case("demo", "calibrate BUILD --readings readings.yaml", "bench", files=(("readings.yaml", SOUND),)),
    _case("demo", f"spread BUILD -n 6 {ONE_BAND} --measure detector.tube --out out", "bench"),
    _case("demo", "deck BUILD --study loop --dial 7.05MHz --at 45%"),
    _case("demo", "deck BUILD --study audio", name="deck-audio"),
    _case("demo", "deck BUILD --study hum", name="deck-hum"),
    _case("demo", "deck BUILD --study bias", name="deck-bias"),
    _case("demo", f"listen BUILD {ONE_BAND} --carrier 100uV@800Hz --of-onset 103% --seconds 0.1s "
          "-o heard.wav", "runs", writes="heard.wav"),
    _case("", "wind --band 3.5-3.8MHz --former 38mm --gauge 28 --capacitor 12-150pF --spread", name="wind"),
    _case("", "wind --band 7.0-7.3MHz --former 25mm --wire 0.6mm --pitch 1.1mm --capacitor 10-100pF "
          "--law wavelength --material ceramic --tap 8%", name="wind-spaced"),
    _case("", "tubes list", "tubes"),
    _case("", "tubes show 6SJ7", "tubes", name="tubes-show"),
    _case("", "tubes show 6C5", "tubes", name="tubes-show-triode"),
    _case("", "tubes check 6SK7 76 1T4", "tubes", name="tubes-check"),
    _case("", "tubes curves 6SJ7 --out out", "tubes", name="tubes-curves"),
    _case("", "tubes curves 76 --out out", "tubes", name="tubes-curves-triode"),
    _case("", "tubes predict 6J7", "tubes", name="tubes-predict"),
    _case("one_tube", "check BUILD --out out", "others"),
    _case("one_tube", "sheet BUILD", "others"),
    _case("one_tube", "deck BUILD", "others"),
    _case("one_tube", "page BUILD --no-sound --no-faults", "page", writes="set.html"),
    _case("mains_set", "hum BUILD --out out", "mains"),
    _case("mains_set", "supply BUILD --out out", "mains"),
    _case("mains_set", "sheet BUILD", "mains"),
    _case("mains_set", "deck BUILD --study audio", "mains"),
    _case("plugin_coils", "coils BUILD --out out --tank-volts 4V", "coils"),
    _case("plugin_coils", "loop BUILD --out out", "coils"),
    _case("plugin_coils", "deck BUILD --band 40~m", "coils"),
    _case("rf_stage", "coils BUILD --out out", "coils"),
    _case("rf_stage", "loop BUILD --out out", "coils"),
    _case("rf_stage", "swap BUILD --socket rf --tubes 6AC7 --out out", "coils"),
    _case("rf_stage", "deck BUILD", "coils"),
    _case("throttle", f"onset BUILD {ONE_BAND} --out out", "others"),
    _case("throttle", "loop BUILD --out out", "others"),
    _case("throttle", "deck BUILD", "others"),
    _case("throttle_triode", "loop BUILD --out out", "others"),
    _case("throttle_triode", "deck BUILD", "others"),
    _case("triode", "loop BUILD --out out", "others"),
    _case("triode", "supply BUILD --out out", "others"),
    _case("triode", "deck BUILD", "others"),
    _case("triode_tap", "loop BUILD --out out", "others"),
    _case("triode_tap", "deck BUILD", "others"),
    _case("tickler", "loop BUILD --out out", "others"),
    _case("tickler", "deck BUILD --study hum", "others"),
    _case("howling", "onset BUILD --out out", "others"),
    _case("howling", "deck BUILD --study audio", "others"),
    _case("cabin", "audio BUILD --out out", "runs"),
    _case("cabin", "onset BUILD --band 31~m~broadcast --out out", "coils"),
    _case("cabin", "deck BUILD --study hum", "coils"),
)  # fmt: skip
