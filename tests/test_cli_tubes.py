"""The verbs `swap` and `tubes curves` as a user meets them: pages, files, bad input."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from receiver_sim.data import folder
from receiver_sim.results import cautions
from receiver_sim.schema.card import card_types
from tests.helpers.lending import cut, lending
from tests.test_cli import DEMO, WIDTH, Answer, call

TYPES = ", ".join(card_types())


@pytest.fixture(scope="module", autouse=True)
def workers() -> Iterator[None]:
    """All calls of this file hand their idle workers on to the next."""
    with lending():
        yield


@pytest.fixture(scope="module")
def two_coils(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with its first two coils."""
    return cut(DEMO, tmp_path_factory.mktemp("builds"), 2)


@pytest.fixture(scope="module")
def swapped(two_coils: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Answer, Path]:
    place = tmp_path_factory.mktemp("swap") / "results"
    return call("swap", two_coils, "--tubes", "6SK7,57,24A", "--out", place), place


@pytest.fixture(scope="module")
def curved(tmp_path_factory: pytest.TempPathFactory) -> tuple[Answer, Path]:
    place = tmp_path_factory.mktemp("curves") / "results"
    return call("tubes", "curves", "6SJ7", "--out", place), place


def test_pages_are_whole(two_coils: Path, swapped: tuple[Answer, Path], curved: tuple[Answer, Path]) -> None:
    audio = call("swap", two_coils, "--socket", "audio", "--tubes", "6J5")
    for answer in (swapped[0], curved[0], audio):
        assert (answer.code, answer.err) == (0, "")
        assert [line for line in answer.out.splitlines() if len(line) > WIDTH] == []
        assert [answer.words.count(text) for text in cautions.PLATE_SUPPLY] == [1] * len(
            cautions.PLATE_SUPPLY
        )
        assert answer.out.isascii()
    assert swapped[0].words.count(cautions.RADIATION[0]) == 1


def test_swap_says_what_a_constructor_asks(swapped: tuple[Answer, Path]) -> None:
    words = swapped[0].words
    for text in (
        "Candidates, best first",
        "oscillates on all 2 bands",
        "What brings it to the onset of the 6SJ7",
        "2.5 V, 1 A: the line has 6.3 V; a winding of its own, or 3.8 ohm in series (3.8 W)",
        "another socket: small 6-pin socket: 1 heater, 2 p, 3 g2, 4 g3, 5 k, 6 heater, cap g1",
        "plugs in; heater 6.3 V, 0.3 A: as the tube in place",
        "detection of weak AM is square-law",
    ):
        assert text in words


def test_swap_writes_plot_and_document(swapped: tuple[Answer, Path]) -> None:
    answer, place = swapped
    assert {p.name for p in place.iterdir()} == {"swap.json", "swap-detector.png", "swap-detector.svg"}
    result = json.loads((place / "swap.json").read_text(encoding="utf-8"))["result"]
    assert {c["tube"] for c in result["detectors"]} == {"6SJ7", "6SK7", "57", "24A"}
    assert result["reference"] == "6SJ7"
    assert answer.words.rstrip().endswith("swap.json plots, as PNG and SVG: swap-detector")


def test_swap_gives_the_same_whatever_the_workers(two_coils: Path) -> None:
    one, two = (
        json.loads(call("swap", two_coils, "--tubes", "6SK7", "--workers", n, "--json").out)["result"]
        for n in ("1", "2")
    )
    assert one == two


def test_curves_mark_what_is_extrapolated(curved: tuple[Answer, Path]) -> None:
    answer, place = curved
    lines = answer.out.splitlines()
    (at_20,) = [line for line in lines if line.startswith("    20 ")]
    assert at_20.endswith("* extrapolated")
    stems = ("6sj7-plate", "6sj7-transfer", "6sj7-screen", "6sj7-gm")
    plots = {f"{s}.{kind}" for s in stems for kind in ("png", "svg")}
    assert {p.name for p in place.iterdir()} == {*plots, "tubes-curves.json"}


def test_fit_of_an_own_card_draws_its_residuals(tmp_path: Path) -> None:
    own = tmp_path / "own.yaml"
    shutil.copy(folder("models") / "6J5.yaml", own)
    answer = call("tubes", "fit", own, "--out", tmp_path / "plots")
    assert (answer.code, answer.err) == (0, "")
    written = {p.name for p in (tmp_path / "plots").iterdir()}
    assert written == {"6j5-residuals.png", "6j5-residuals.svg", "tubes-fit.json"}
    curves = call("tubes", "curves", own)
    assert (curves.code, curves.err) == (0, "")


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (
            ["swap", DEMO, "--tubes", "6SJ7,"],
            "--tubes '6SJ7,': expected types with commas between, such as 6SJ7,6K7",
        ),
        (
            ["swap", DEMO, "--tubes", "6SJ"],
            f"--tubes: no card for tube '6SJ'; nearest is '6SJ7'; types: {TYPES}",
        ),
        (
            ["swap", DEMO, "--tubes", "76"],
            "--tubes: 76 has no screen to control in this set; name a pentode or a tetrode",
        ),
        (
            ["swap", DEMO, "--socket", "rf"],
            "--socket rf: this set has no r.f. stage: there is no tube in that socket to swap",
        ),
        (["tubes", "curves", "6J5", "--triode"], "the 6J5 is a triode as it is; leave --triode out"),
        (
            ["tubes", "curves", "6SJ7", "--plate", "100"],
            "--plate '100': expected plate volts from 1V to 1kV, such as 100V; it has no unit; add the unit: "
            "write it as '100 V'",
        ),
        (["tubes", "curves", "6SJ"], f"no card for tube '6SJ'; nearest is '6SJ7'; types: {TYPES}"),
        (["tubes", "fit", "--check", "--out", "x", "6J5"], "--out goes with a fit, not with --check"),
    ],
)
def test_bad_input(args: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = call(*args)
    assert (answer.code, answer.out, answer.err) == (2, "", f"receiver-sim: {message}\n")
    assert list(tmp_path.iterdir()) == []


def test_a_card_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = call("tubes", "curves", "nothing.yaml")
    assert (answer.code, answer.err) == (
        2,
        "nothing.yaml: expected a readable YAML file that holds a tube card; there is no such file: check "
        "the name\n",
    )


def test_a_card_without_a_fit_is_told_what_to_run(tmp_path: Path) -> None:
    text = (folder("models") / "6J5.yaml").read_text(encoding="utf-8")
    own = tmp_path / "own.yaml"
    own.write_text(text.split("# --- made by")[0], encoding="utf-8")
    answer = call("tubes", "curves", own)
    assert answer.code == 2
    assert answer.err == ("receiver-sim: the card of 6J5 holds no fit; run 'receiver-sim tubes fit 6J5'\n")
