"""A fit goes into its card and leaves the rest alone, whatever another tool did to the card before."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
import yaml

from receiver_sim import api
from receiver_sim.data import folder
from receiver_sim.design import tube_fit
from receiver_sim.results.card_text import with_fit
from receiver_sim.results.tubes import FitResult
from receiver_sim.schema.card import FIT_MARK, CardFaults, card_for, load_card
from tests.test_cli import call

SHIPPED = (folder("models") / "6C5.yaml").read_text(encoding="utf-8")
POINTS = SHIPPED.partition(FIT_MARK)[0]


@pytest.fixture(scope="module")
def result() -> FitResult:
    return tube_fit.fit_card(card_for("6C5"))


def _card(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "card.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def _keys(text: str) -> list[str]:
    """Return the top keys as any YAML tool sees them, doubled ones twice."""
    node = yaml.compose(text, Loader=yaml.SafeLoader)
    assert isinstance(node, yaml.MappingNode)
    return [key.value for key, _ in node.value]


COMMENTLESS = yaml.safe_dump(yaml.safe_load(SHIPPED), sort_keys=False)
SORTED = yaml.safe_dump(yaml.safe_load(SHIPPED))  # the fit in the middle, other keys below it
FORMS = {
    "as shipped": SHIPPED,
    "never fitted": POINTS,
    "mark dropped": SHIPPED.replace(FIT_MARK + "\n", ""),
    "comments dropped": COMMENTLESS,
    "keys sorted": SORTED,
    "own comments": SHIPPED.replace("fit:\n", "fit:  # mine\n") + "# measured at home\n",
    "quoted key": COMMENTLESS.replace("\nfit:", '\n"fit":'),
    "explicit key": COMMENTLESS.replace("\nfit:\n", "\n? fit\n:\n"),
    "indented": "".join(f"  {line}\n" for line in COMMENTLESS.splitlines()),
    "document marks": f"%YAML 1.2\n---\n{COMMENTLESS}...\n# the end\n",
    "byte order mark": "\ufeff" + SORTED,
    "no last newline": COMMENTLESS.rstrip("\n"),
    "one line": json.dumps(yaml.safe_load(SHIPPED)),
    "one line, never fitted": json.dumps(yaml.safe_load(POINTS), indent=1),
}


@pytest.mark.parametrize("form", FORMS)
def test_a_card_has_one_fit_and_keeps_the_rest(form: str, tmp_path: Path, result: FitResult) -> None:
    """Guards against a second 'fit:' in a card whose 'made by' comment another tool had dropped."""
    before = yaml.safe_load(FORMS[form].removeprefix("\ufeff"))
    text = with_fit(FORMS[form], result)
    assert _keys(text).count("fit") == 1
    card = load_card(_card(tmp_path, text))
    assert card.fit is not None and card.fit.points == result.points
    assert card.fit.parameters["mu_plate"].value == result.law.mu_plate
    after = yaml.safe_load(text.removeprefix("\ufeff"))
    before.pop("fit", None)
    assert {**before, "fit": after["fit"]} == after
    assert with_fit(text, result) == text, "a second fit must change nothing"


def test_lines_and_comments_of_others_stay_byte_for_byte(result: FitResult) -> None:
    ours = "# bought 1951\r\n" + SORTED.replace("\n", "\r\n") + "# measured at home\r\n"
    text = with_fit(ours, result)
    assert text.count("\r\n") == text.count("\n")
    kept = [line for line in ours.splitlines() if line in text.splitlines()]
    start = ours.splitlines().index("fit:")
    gone = {line for line in ours.splitlines()[start:] if line.startswith((" ", "fit:"))}
    assert [line for line in ours.splitlines() if line not in kept and line not in gone] == []
    assert text.index("# bought 1951") == 0 and "# measured at home" in text


def test_a_fit_that_is_no_fit_is_told_with_its_place(tmp_path: Path) -> None:
    """Guards against an IndexError for a word of the fit that is none of its choices."""
    path = _card(tmp_path, SHIPPED.replace("held_by: points", "held_by: choke", 1))
    line = path.read_text(encoding="utf-8").splitlines().index("  parameters:") + 2
    answer = call("tubes", "fit", path)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        f"{path}:{line}: fit.parameters.perveance.held_by: value 'choke': expected 'points', 'prior', "
        "'both' or 'fixed'; choose one of them, or remove the key 'fit' and let 'receiver-sim tubes fit' "
        "write the fit again\n"
    )


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("    perveance:", "    perveanse:", "fit.parameters.perveanse: expected a parameter of the law"),
        ("plate: [", "plate: [1, ", "fit.range.plate: expected at most 2 entries"),
        ("- {point: 0,", "- {point: 0.5,", "point: value '0.5': expected a whole number"),
        ('"8": k', '"11": k', "pins.11: value 'k': expected a key of the form"),
        (
            "plate: 250 V",
            "plate: -250 V",
            "points[0].plate: value '-250 V': expected a voltage from 0.1 V to",
        ),
        ("  correlation:\n", "  correlation:\n    - [1.0]\n", "fit.correlation: expected "),
        ("date:", "beam: perhaps\ndate:", "beam: value 'perhaps': expected 'true' or 'false'"),
        ("date:", "units: 7\ndate:", "units: value '7': expected a number of at most 4"),
    ],
)
def test_malformed_cards_are_told_with_their_place(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in SHIPPED
    with pytest.raises(CardFaults) as caught:
        load_card(_card(tmp_path, SHIPPED.replace(old, new, 1)))
    assert message in str(caught.value)


def test_a_fit_of_another_law_is_written_anew(tmp_path: Path) -> None:
    """What an older release wrote may name other parameters; fitting is the way out of it."""
    path = _card(tmp_path, SHIPPED.replace("    perveance:", "    amplification:", 1))
    api.fit_tube(path)
    # as `check_fit`: what another machine's linear algebra may change
    assert load_card(path).law().mu_plate == pytest.approx(card_for("6C5").law().mu_plate, rel=1e-4)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("grid: -3 V, plate_current: 4.0 mA", "grid: -400 V, plate_current: 4.0 mA"),  # divided by no current
        ("grid: -3 V, plate_current: 4.0 mA", "grid: -3 V, plate_current: 4000 mA"),
        ("grid: -3 V, plate_current: 4.0 mA", "cathode_resistor: 1 Mohm, plate_current: 4.0 mA"),
    ],
)
def test_a_point_that_no_tube_can_have_is_refused(tmp_path: Path, old: str, new: str) -> None:
    text = (folder("models") / "24A.yaml").read_text(encoding="utf-8")
    assert old in text
    text = text.replace(old, new, 1)
    path = _card(tmp_path, text)
    answer = call("tubes", "fit", path)
    assert answer.code == 2 and "Traceback" not in answer.err
    assert answer.err.startswith("receiver-sim: 24A: ") and "point" in answer.err
    assert path.read_text(encoding="utf-8") == text


def test_a_chart_that_comes_to_no_rest_is_refused(tmp_path: Path) -> None:
    """Guards against a row of a chart that took a minute of search and ended as a fault of the program."""
    text = (folder("models") / "6SJ7.yaml").read_text(encoding="utf-8")
    row = "supply: 300 V, plate_resistor: 0.5 Mohm, next_grid: 0.5 Mohm"
    swaps = (("grid: -8.5 V", "grid: -400 V"), (row, row.replace("0.5 Mohm", "0.005 Mohm", 1)))
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new, 1)
    started = time.process_time()
    with pytest.raises(tube_fit.FitRefused) as caught:
        tube_fit.fitted(_card(tmp_path, text))
    assert str(caught.value) == (
        "6SJ7: no rest found for a stage on 300 V; check the rows under 'stages' and the points"
    )
    assert time.process_time() - started < 25.0  # 5 s here; 58 s before


def test_none_of_several_cards_is_written_if_one_is_refused(tmp_path: Path) -> None:
    first = _card(tmp_path, POINTS)
    second = tmp_path / "second.yaml"
    second.write_text(POINTS.replace("kind: triode", "kind: diode"), encoding="utf-8")
    answer = call("tubes", "fit", first, second)
    assert answer.code == 2 and "expected 'pentode', 'tetrode' or 'triode'" in answer.err
    assert first.read_text(encoding="utf-8") == POINTS


@pytest.mark.skipif(os.name != "posix", reason="limits of a process")
def test_a_full_disk_leaves_the_card_as_it_was(tmp_path: Path) -> None:
    """A limit on the size of files stands for the full disk: today's card must not be cut short."""
    path = _card(tmp_path, SHIPPED)

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))

    done = subprocess.run(
        [sys.executable, "-m", "receiver_sim.cli", "tubes", "fit", str(path)],
        check=False, capture_output=True, text=True, preexec_fn=limited,
    )  # fmt: skip
    assert done.returncode == 4 and "Traceback" not in done.stderr
    assert "card.yaml could not be written" in " ".join(done.stderr.split()) and "6C5" in done.stdout
    assert path.read_text(encoding="utf-8") == SHIPPED
    assert [p.name for p in tmp_path.iterdir()] == ["card.yaml"]
