"""The front door: five lines from import to a picture, the command line's words in its errors, light to
import.
"""

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

import receiver_sim as rs
from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.results.answer import rows
from receiver_sim.results.onset import Selectivity
from tests.helpers.filling import filled

README = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def receiver(bench: Bench) -> rs.Receiver:
    one = rs.Receiver(rs.shipped("demo"))
    one._bench = bench  # the session's pool, which is not this receiver's to close
    return one


def test_the_first_lines_of_the_readme_give_an_answer_and_a_picture(tmp_path, monkeypatch) -> None:
    """The lines that README shows are run as they stand."""
    shown = re.search(r"```python\n(import receiver_sim as rs\n.*?)```", README, re.DOTALL)
    assert shown is not None
    lines = [line for line in shown[1].splitlines() if line.strip()]
    assert len(lines) <= 5
    monkeypatch.chdir(tmp_path)
    exec(compile("\n".join(lines), "README.md", "exec"), {})
    (picture,) = tmp_path.glob("*.png")
    assert picture.read_bytes().startswith(b"\x89PNG") and picture.stat().st_size > 10_000


def test_answers_are_short_to_read_and_become_rows(receiver: rs.Receiver) -> None:
    found = receiver.loop(bands=["40m"])
    at = found[0].middle.onset
    assert at is not None
    share = f"{100 * at.rotation:.1f} % of the knob"
    assert repr(found) == f"<1 answers: 40 m oscillates from {share}, {at.screen_v:.1f} V>"
    pandas = pytest.importorskip("pandas")
    frame = found.to_dataframe()
    assert isinstance(frame, pandas.DataFrame) and len(frame) == 3
    assert list(frame["onset.screen_v"]) == [one.onset.screen_v for one in found[0].onsets if one.onset]
    assert list(frame["band"]) == ["40 m"] * 3


def test_the_curve_of_the_picture_is_that_of_the_answer(receiver: rs.Receiver) -> None:
    found = receiver.loop(bands=["40 m"])
    curve = found[0].against_screen
    assert curve is not None
    drawn = [line for line in found.plot().lines if len(line.get_xdata()) == len(curve.gain)]
    assert any(list(line.get_ydata()) == list(curve.gain) for line in drawn)


def test_errors_have_one_base_and_the_words_of_the_command_line(receiver: rs.Receiver) -> None:
    one_name = r"^bands: a list of names is expected, not one name; write \['40 m'\]$"
    with pytest.raises(rs.ReceiverSimError, match=one_name):
        receiver.loop(bands="40 m")
    no_output = r"^no output 7 in this build; its outputs: 0 'magnetic headset'$"
    with pytest.raises(rs.ReceiverSimError, match=no_output):
        receiver.detect(output=7)
    with pytest.raises(rs.ReceiverSimError, match=r"^no shipped build 'nothing'; there are: .*demo"):
        rs.shipped("nothing")
    with pytest.raises(rs.ReceiverSimError, match=r"(?i)no such file"):
        rs.Receiver("nowhere.yaml")


def test_a_changed_receiver_has_the_changed_value() -> None:
    changed = rs.Receiver(rs.shipped("demo")).changed(detector__grid_leak="3.3 Mohm")
    assert changed.build.detector.grid_leak == pytest.approx(3.3e6)


QUESTIONS = [
    # method, what it is asked, the function of the api, what that gets
    ("check", (), {}, "check", {}),
    ("loop", (["40 m"],), {}, "loop", {"bands": ["40 m"]}),
    ("onset", (["40 m"],), {"modes": False}, "onset", {"bands": ["40 m"], "modes": False}),
    ("onset", (), {"band": "20 m"}, "onset", {"bands": ["20 m"], "modes": True}),
    ("verify", ("20 m",), {}, "verify", {"band": "20 m"}),
    ("detect", ("20 m",), {"output": 3, "beat_hz": 700.0}, "detect",
     {"band": "20 m", "output": 3, "beat_hz": 700.0}),
    ("listen", (["a station"],), {"seconds": 1.7, "band": "20 m", "output": 2, "path": [(0.0, 0.3)],
                                  "relative": 1.02, "tune": [(0.0, 50.0)], "whole": True}, "listen",
     {"signals": ["a station"], "seconds": 1.7, "band": "20 m", "output": 2, "path": [(0.0, 0.3)],
      "relative": 1.02, "tune": [(0.0, 50.0)], "place": "residential", "seed": 1, "whole": True}),
    ("audio", ("20 m",), {"rotation": 0.31}, "audio_in_depth", {"band": "20 m", "rotation": 0.31}),
    ("hum", ("20 m",), {"rotation": 0.32}, "hum_in_depth", {"band": "20 m", "rotation": 0.32}),
    ("supply", ("20 m",), {}, "supply_in_depth", {"band": "20 m"}),
    ("operating_points", ([0.2, 0.7],), {"band": "20 m"}, "operating_points",
     {"rotations": [0.2, 0.7], "band": "20 m"}),
    ("coils", (), {"year": 1939, "region": 1}, "coils", {"year": 1939, "region": 1}),
    ("tap", (0.45, ["20 m"]), {}, "find_taps", {"target": 0.45, "bands": ["20 m"]}),
    ("spread", (30, ["20 m"]), {"measured": ["mains"], "asked": ["rating"], "seed": 4, "cluster": "tcp://here:1",
                                "kept": "so-far.json"}, "spread_of_sets",
     {"sets": 30, "bands": ["20 m"], "measured": ["mains"], "asked": ["rating"], "seed": 4, "workers": 2,
      "time_limit_s": 60.0, "cluster": "tcp://here:1", "kept": Path("so-far.json")}),
    ("sheet", (), {}, "sheet", {}),
    ("faults", ("what was read",), {}, "faults", {"readings": "what was read"}),
    ("calibrate", ("what was read",), {}, "calibrate", {"readings": "what was read"}),
    ("swap", (["6SK7"],), {"socket": "audio"}, "swap_tubes", {"tubes": ["6SK7"], "socket": "audio"}),
    ("deck", ("hum",), {"band": "20 m", "rotation": 0.41}, "deck_text",
     {"study": "hum", "band": "20 m", "rotation": 0.41}),
]  # fmt: skip


@pytest.mark.parametrize(("method", "given", "named", "function", "due"), QUESTIONS)
def test_a_question_reaches_the_program_as_it_was_asked(  # type: ignore[no-untyped-def]
    receiver: rs.Receiver, monkeypatch: pytest.MonkeyPatch, method, given, named, function, due
) -> None:
    """The receiver's build and bench, and every argument under its own name."""
    asked = {}

    def answer(build, *readings, **arguments):  # type: ignore[no-untyped-def]
        asked.update(build=build, **arguments, **dict(zip(["readings"], readings, strict=False)))
        return ("an answer",)

    monkeypatch.setattr(api, function, answer)
    assert getattr(receiver, method)(*given, **named) == ("an answer",)
    assert asked.pop("build") is receiver.build
    assert asked.pop("bench", receiver.bench) is receiver.bench
    assert asked == due


def test_every_question_of_a_receiver_is_asked_above() -> None:
    """A new method gets its row."""
    methods = {n for n, v in vars(rs.Receiver).items() if callable(v) and not n.startswith("_")}
    assert methods - {"close", "changed"} == {row[0] for row in QUESTIONS}


def test_a_changed_receiver_keeps_its_workers_and_time_limit() -> None:
    changed = rs.Receiver(rs.shipped("demo"), workers=3, time_limit_s=17.0).changed(
        detector__grid_leak="1 Mohm"
    )
    with changed:
        assert (changed.bench.workers, changed.bench.time_limit_s) == (3, 17.0)


def test_rows_are_the_points_of_the_answers_arrays_one_by_one() -> None:
    curve = filled(Selectivity)
    table = list(rows(curve))
    for name in ("gain", "rotation", "bandwidth_hz", "peak_ohm"):
        assert [row[name] for row in table] == list(getattr(curve, name))
    assert {row["band"] for row in table} == {curve.band}


@dataclass(frozen=True)
class Inner:
    depth_m: float


@dataclass(frozen=True)
class Middle:
    width_m: float
    inner: Inner


@dataclass(frozen=True)
class Row:
    name: str
    middle: Middle
    other: Middle


@dataclass(frozen=True)
class Table:
    title: str
    rows: tuple[Row, ...]


def test_figures_within_results_bear_the_names_of_all_they_stand_in() -> None:
    found = Table("t", (Row("one", Middle(1.0, Inner(2.0)), Middle(3.0, Inner(4.0))),))
    assert list(rows(found)) == [
        {
            "title": "t", "name": "one", "middle.width_m": 1.0, "middle.inner.depth_m": 2.0,
            "other.width_m": 3.0, "other.inner.depth_m": 4.0,
        }
    ]  # fmt: skip


def test_importing_the_package_brings_no_library() -> None:
    """Not even numpy: the names are fetched when they are asked for."""
    heavy = {"numpy", "matplotlib", "PySpice", "pydantic", "scipy"}
    text = f"import receiver_sim, sys; print(sorted({{m.split('.')[0] for m in sys.modules}} & {heavy}))"
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_package_is_typed() -> None:
    assert (Path(rs.__file__).parent / "py.typed").exists()
    with pytest.raises(AttributeError, match="module 'receiver_sim' has no attribute 'nothing'"):
        _ = rs.nothing  # type: ignore[attr-defined]
