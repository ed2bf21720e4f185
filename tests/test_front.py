"""The front door: five lines from import to a picture, the command line's words in its errors, light to
import.
"""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import receiver_sim as rs
from receiver_sim.engine import Bench

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
