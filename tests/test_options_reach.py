"""Every option of every verb reaches what does the work: none is read and then forgotten.

Each verb is called once with all its options set to something that is not their default, on the shipped set
with two pairs of phones. What it asks of the functions behind it is caught before anything is simulated.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.cli import main
from receiver_sim.engine import Bench
from receiver_sim.live import serving
from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage
from receiver_sim.results.check import CheckReport
from receiver_sim.results.page import PageReport
from receiver_sim.views import dial_scale
from tests.conftest import BUILDS
from tests.helpers.filling import filled
from tests.test_cli import call

CABIN = BUILDS / "cabin.yaml"
BAND, OTHER = "31 m broadcast", "19 m broadcast"
"""Neither is the first of the set, which stands where none is named."""

POOL = ("--workers", "3", "--time-limit", "77s")

REACH: dict[str, tuple[str, tuple[str, ...], dict[str, Any]]] = {
    "check": ("check", (), {}),
    "loop": ("loop", ("--band", BAND, "--band", OTHER), {"bands": (BAND, OTHER)}),
    "onset": (
        "onset",
        ("--band", BAND, "--screen-resistor", "4.7kohm", "--screen-resistor", "33kohm", "--no-modes"),
        {"bands": (BAND,), "screen_ohms": (4700.0, 33e3), "modes": False},
    ),
    "detect": (
        "detect", ("--band", BAND, "--phones", "test speaker", "--beat", "650Hz"),
        {"band": BAND, "output": 1, "beat_hz": 650.0},
    ),
    "listen": (
        "listen",
        ("--band", BAND, "--phones", "test speaker", "--carrier", "30uV@700Hz", "--seconds", "2s",
         "--of-onset", "103%", "--tune", "0s:-3kHz,2s:1.5kHz", "--place", "rural", "--seed", "5",
         "--whole"),
        {"band": BAND, "output": 1, "seconds": 2.0, "relative": pytest.approx(1.03), "path": None,
         "tune": [(0.0, -3e3), (2.0, 1.5e3)], "place": "rural", "seed": 5,
         "whole": True},
    ),
    "audio": ("audio_in_depth", ("--band", BAND, "--at", "37%"), {"band": BAND, "rotation": 0.37}),
    "hum": ("hum_in_depth", ("--band", BAND, "--at", "37%"), {"band": BAND, "rotation": 0.37}),
    "supply": ("supply_in_depth", ("--band", BAND), {"band": BAND}),
    "coils": (
        "coils", ("--year", "1938", "--region", "2", "--tank-volts", "2.5V"),
        {"year": 1938, "region": 2, "tank_volts": 2.5},
    ),
    "tap": ("find_taps", ("--onset", "45%", "--band", BAND), {"target": 0.45, "bands": (BAND,)}),
    "spread": (
        "spread_of_sets",
        ("-n", "7", "--band", BAND, "--measure", "detector.tube", "--verdict", "holds_still", "--seed", "9",
         "--cluster", "tcp://10.0.0.1:8786"),
        {"sets": 7, "bands": [BAND], "measured": ("detector.tube",), "asked": ("holds_still",), "seed": 9,
         "cluster": "tcp://10.0.0.1:8786", "workers": 3, "time_limit_s": 77.0},
    ),
    "swap": (
        "swap_tubes", ("--tubes", "76,6C5", "--socket", "audio"),
        {"tubes": ["76", "6C5"], "socket": "audio"},
    ),
    "tubes curves": (
        "curves", ("--triode", "--plate", "145V"), {"as_triode": True, "detector_plate_v": 145.0},
    ),
    "draw": ("draw", ("--band", BAND, "--volts", "--at", "37%"), {"band": BAND, "volts_at": 0.37}),
    "page": ("page", ("--no-sound", "--no-faults"), {"sounds": False, "faults": False}),
    "sheet": ("sheet", (), {}),
    "faults": ("faults", (), {}),
    "calibrate": ("calibrate", (), {}),
    "deck": (
        "deck_text", ("--study", "hum", "--band", BAND, "--dial", "9.6MHz", "--at", "37%"),
        {"study": "hum", "band": BAND, "dial_hz": 9.6e6, "rotation": 0.37},
    ),
}  # fmt: skip
"""Verb: the function behind it, options, what they are there."""

LEFT = {"build", "type_", "as_json", "out", "output", "workers", "time_limit", "readings"}
"""Options of many verbs, looked at elsewhere, for files above all."""

LATER = {
    ("check", "no_plots"), ("check", "strict"), ("supply", "strict"), ("tubes check", "types"),
    ("tubes check", "strict"), ("onset", "check"), ("page", "band"), ("sheet", "diameter"),
    ("live", "port"), ("live", "opens"), ("listen", "full_scale"),
}  # fmt: skip
"""Those that count once the work is done, or that another function takes: below, and in the verbs' tests."""

STATIONS = {"carriers", "keyed", "broadcast", "voices", "lower", "alone", "fade", "at", "path", "clean"}
"""Of `listen`, in tests/test_options.py."""


class Caught(SystemExit):
    """Raised in the place of the work."""


def caught(monkeypatch: pytest.MonkeyPatch, room: Any, name: str) -> dict[str, Any]:
    seen: dict[str, Any] = {}

    def instead(*args: Any, **kwargs: Any) -> None:
        seen.update(kwargs, first=args)
        raise Caught

    monkeypatch.setattr(room, name, instead)
    return seen


def readings(place: Path) -> Path:
    file = place / "readings.yaml"
    file.write_text(
        "receiver_sim_readings: 1\nmeter: 20 kohm/V\nvolts:\n  - {pin: V1 plate, volts: 71 V}\n",
        encoding="utf-8",
    )
    return file


@pytest.mark.parametrize("verb", REACH)
def test_every_option_is_asked_of_what_does_the_work(
    verb: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    function, options, due = REACH[verb]
    seen = caught(monkeypatch, api, function)
    more = ("--readings", readings(tmp_path)) if verb in ("faults", "calibrate") else ()
    first = "6SJ7" if verb == "tubes curves" else CABIN
    call(*verb.split(), first, *options, *more, *POOL)
    assert {key: seen.get(key) for key in due} == due
    bench: Bench = seen["bench"]
    assert (bench.workers, bench.time_limit_s) == (3, 77.0)


def test_a_run_over_every_cycle_has_half_an_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes minutes an analysis: a limit of seconds would end it; a longer one that is asked for stays."""
    seen = caught(monkeypatch, api, "onset")
    for asked, due in (("77s", 1800.0), ("50 min", 3000.0)):
        call("onset", CABIN, "--band", BAND, "--verify", "--workers", "3", "--time-limit", asked)
        assert (seen["bench"].workers, seen["bench"].time_limit_s) == (3, due)


def leaves(command: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    for sub, below in getattr(command, "commands", {}).items():
        yield from leaves(below, f"{name} {sub}".strip())
    if not hasattr(command, "commands"):
        yield name, command


def test_no_option_of_a_verb_that_simulates_is_left_out() -> None:
    lacking = []
    for verb, command in leaves(main):
        if "workers" not in [p.name for p in command.params]:
            continue
        asked = REACH.get(verb, ("", (), {}))[1]
        for one in command.params:
            held = (
                one.name in LEFT or (verb, one.name) in LATER or (verb == "listen" and one.name in STATIONS)
            )
            if not held and not any(option in asked for option in one.opts):
                lacking.append((verb, one.name))
    assert lacking == []


def test_the_band_of_a_page_is_that_whose_coil_is_drawn(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(api, "page", lambda *_, **__: None)
    seen = caught(monkeypatch, api, "draw")
    call("page", CABIN, "--band", BAND, "-o", tmp_path / "set.html")
    assert seen["band"] == BAND


def test_the_port_of_the_live_page(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = caught(monkeypatch, serving, "serve")
    monkeypatch.setattr(Bench, "warm", lambda _: None)
    call("live", CABIN, "--port", "8123", *POOL)
    assert (seen["port"], seen["first"]) == (8123, (CABIN,))
    for which in ("quick", "deep"):
        assert (seen[which].workers, seen[which].time_limit_s) == (3, 77.0), which


@pytest.mark.parametrize("ending", ["html", "pdf", "svg"])
def test_the_diameter_of_a_scale(ending: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """From the word to the drawing; that the drawing has that size in millimetres is the views' test."""
    from receiver_sim.cli import sheet

    asked = []

    def instead(_: Any, *, diameter_mm: float) -> None:
        asked.append(diameter_mm)
        raise Caught

    monkeypatch.setattr(dial_scale, "svg", instead)
    monkeypatch.setattr(dial_scale, "scale_drawing", instead)
    from receiver_sim.views import bench_sheet

    monkeypatch.setattr(bench_sheet, "bench_sheet", lambda _: None)

    class Found:
        scales = ()

    with pytest.raises(Caught):
        sheet._write(Found(), tmp_path / f"x.{ending}", sheet._millimetres("113mm"))  # type: ignore[arg-type]
    assert asked == [pytest.approx(113.0)]


def plain(text: str) -> str:
    return " ".join(text.replace("!", " ").split())


def test_live_says_its_cautions_with_its_address(monkeypatch: pytest.MonkeyPatch) -> None:
    def serve(_: Path, *, ready: Any, **__: Any) -> None:
        ready("http://127.0.0.1:1/token/")

    monkeypatch.setattr(serving, "serve", serve)
    monkeypatch.setattr(Bench, "warm", lambda _: None)
    said = plain(call("live", CABIN).out)
    assert "open http://127.0.0.1:1/token/" in said
    assert [line for line in cautions.ALL if plain(line) not in said] == []


def test_page_says_dangers_and_cautions_beside_where_it_was_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What failed, in the check or on the page alone, ends with 3; the page is written all the same."""
    check = filled(CheckReport, bands=(), failed=(), cautions=("DANGER, supply: no bleeder.", *cautions.ALL))
    for lost, code in (((), 0), ((FailedStage("sound", "no convergence", None),), 3)):
        report = PageReport("t", check, (), (), 0.0, failed=lost)
        monkeypatch.setattr(api, "page", lambda *_, report=report, **__: report)
        monkeypatch.setattr(api, "draw", lambda *_, **__: None)
        monkeypatch.setattr(api, "page_html", lambda *_: b"<html>")
        monkeypatch.setattr(api, "page_verdict", lambda _: "it oscillates.")
        answer = call("page", CABIN, "-o", tmp_path / "set.html")
        assert answer.code == code
        assert (tmp_path / "set.html").read_bytes() == b"<html>"
        assert "set.html: it oscillates." in plain(answer.out)
        said = plain(answer.err)
        assert [line for line in check.cautions if plain(line) not in said] == []
