"""`new`: a short build that works, by the usual answers or by those given at a terminal."""

import itertools
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.errors import WrongValue
from receiver_sim.judge.heater_verdicts import judge_heaters
from receiver_sim.judge.verdicts import judge_safety
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver, cards_for
from receiver_sim.results.bands import Grade
from receiver_sim.schema import BuildFaults, load_build, shipped_tubes
from receiver_sim.schema import first_build as first
from receiver_sim.schema.card import card_for
from tests.test_cli import call

BANDS = tuple(first.named_bands())


def test_the_usual_build_is_short_and_states_the_cautions(tmp_path: Path) -> None:
    path = tmp_path / "set.yaml"
    assert call("new", path).code == 0
    lines = path.read_text().splitlines()
    assert len(lines) <= 50
    head = "\n".join(lines[:4])
    for word in ("KILL", "unplug", "discharge", "measure", "bleeder", "transmits"):
        assert word in head
    assert load_build(path).title == "My first set of two tubes"


def _offered() -> list[first.Answers]:
    found = []
    for supply in first.SUPPLIES:
        for detector, audio in itertools.product(first.DETECTORS[supply], first.AUDIO[supply]):
            found += [
                first.Answers(supply, detector, audio, phones, ("40 m",))
                for phones in first.phones_for(audio)
            ]
    return found


def test_every_combination_of_offered_answers_is_a_sound_build() -> None:
    offered = _offered()
    assert len(offered) > 150
    for answers in offered:
        _, build = first.built(answers)
        cards_for(build)  # kinds of tube fit their sockets
        assert build.detector.tube == answers.detector
        assert (build.audio is None) == (answers.audio == "none")
        assert [band.name for band in build.bands] == ["40 m"]
        # the dial reaches both ends of each band; else the build warns of it
        assert not [w for w in build.warnings if w.startswith("band ") or "usual for" in w], answers


def test_no_offered_set_is_dangerous_and_every_heater_has_its_volts() -> None:
    """By the judgements of `check`: bleeder, drain and heaters; also with a tube of other heater volts."""
    other = [
        first.Answers(supply, detector, audio, "high_impedance", ("40 m",))
        for supply, detector, audio in (
            ("mains", "6SJ7", "56"), ("mains", "57", "6C5"), ("bench", "6SJ7", "12AU7"),
            ("battery", "1T4", "30"),
        )
    ]  # fmt: skip
    # phones change neither heaters nor what bleeds the supply: their kinds are tried with the usual tubes
    usual = {(first.DETECTORS[s][0], first.AUDIO[s][0]) for s in first.SUPPLIES}
    offered = [
        one for one in _offered()
        if one.phones == "high_impedance" or (one.detector, one.audio) in usual
    ]  # fmt: skip
    assert len(offered) > 50
    for answers in (*offered, *other):
        _, build = first.built(answers)
        found = [*judge_safety(build), *judge_heaters(build, cards_for(build))]
        bad = [v for v in found if v.grade is Grade.BAD and v.rule != "capacitor_rating"]
        assert bad == [], (answers, bad)


@pytest.mark.parametrize("phones", [kind for kind in first.PHONES if kind != "high_impedance"])
def test_a_transformer_shows_the_tube_a_load_of_some_kilohms(phones: str) -> None:
    """Z/n^2 of phones behind turns n: a small output tube wants 4 to 6 kohm (common practice, no source)."""
    _, build = first.built(first.Answers("mains", "6SJ7", "6AK6", phones, ("40 m",)))
    assert build.audio is not None and build.audio.output.kind == "transformer"
    (winding,) = build.audio.output.secondaries
    assert 4e3 < build.phones[0].resistance / winding.ratio**2 < 6e3


def test_from_python_the_same_answers_give_the_same_build() -> None:
    """Names of tubes and bands are read as at the terminal; what is not said is what is usual."""
    asked = first.Answers("mains", "6K7", "6C5", "32_ohm", ("25 m broadcast",))
    build = api.new_build(detector="6k7", phones="32_ohm", bands=["25m broadcast"])
    assert build.sha256 == first.built(asked)[1].sha256
    assert api.new_build(supply="battery").detector.tube == "1T4"
    assert api.new_build(audio="none").audio is None


def test_from_python_what_does_not_serve_is_refused() -> None:
    with pytest.raises(WrongValue) as caught:
        api.new_build(supply="coal")
    assert str(caught.value) == "supply: expected one of mains, bench, battery"
    with pytest.raises(WrongValue) as caught:
        api.new_build(audio="none", phones="8_ohm")  # no transformer without an audio stage
    assert str(caught.value) == "phones: expected one of high_impedance"
    with pytest.raises(BuildFaults):
        api.new_build(detector="no such tube")


@pytest.mark.parametrize("supply", ["mains", "battery"])  # a bench supply takes what the mains take
def test_any_tube_with_a_card_serves_or_is_refused_in_words(supply: str) -> None:
    """Each card in either socket: a build that loads, or words that name tubes which would serve."""
    usual = first.usual(supply)
    served = 0
    for name in shipped_tubes():
        direct = card_for(name).heater.direct
        if direct != (supply == "battery"):
            with pytest.raises(WrongValue, match=r"expected a tube with a (heated|filament)"):
                first.checked_tube(name, socket="audio", supply=supply)
            continue
        assert first.checked_tube(name.lower(), socket="detector", supply=supply) == name
        cards_for(first.built(first.Answers(supply, name, name, usual.phones, ("40 m",)))[1])
        served += 1
    assert served >= 15


def test_every_band_with_every_detector_oscillates(bench) -> None:
    """Onset lies on the control for each offered detector, on each band from 160 to 10 m (some of them)."""
    bands = ("160 m", "80 m", "49 m broadcast", "20 m", "10 m")
    for supply, tubes in first.DETECTORS.items():
        for tube in tubes:
            answers = first.Answers(supply, tube, first.AUDIO[supply][0], "high_impedance", bands)
            _, build = first.built(answers)
            cards = cards_for(build)
            found = bench.map(
                lambda b, band, build=build, cards=cards: onset.run(Receiver(build, b).at(band)),
                build.bands,
            )
            for one in found:
                assert one.onset is not None, (supply, tube, one.band, one.status)
                assert 0.05 < one.onset.rotation < 0.9, (supply, tube, one.band, one.onset.rotation)


def test_every_named_band_is_reached() -> None:
    chosen = [BANDS[i : i + 10] for i in range(0, len(BANDS), 10)]
    for names in chosen:
        _, build = first.built(first.Answers("mains", "6SJ7", "6C5", "high_impedance", names))
        assert [band.name for band in build.bands] == list(names)
        assert not [w for w in build.warnings if w.startswith("band ")]


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("", "expected the name of a band such as '40 m', or a span such as '7.0-7.2MHz'"),
        ("40 m, 40m", "expected each band once"),
        ("49 m brodcast", "did you mean '49 m broadcast'?"),
        ("41 x", "or a span such as"),
        ("7.2-7.0MHz", "'7.2-7.0MHz': expected the lower end of the band first"),
        ("7.0-7.2 parsec", "expected a frequency from 10 kHz to 300 MHz"),
        ("1-10MHz", "expected an upper end of at most 1.8 times the lower one"),
        ("40 m\nsupply: 1", "expected one of 160 m"),
        (",".join(f"{n}-{n}.1MHz" for n in range(3, 14)), "expected at most ten bands"),
    ],
)
def test_a_bad_answer_for_the_bands_is_refused(answer: str, words: str) -> None:
    with pytest.raises(WrongValue) as told:
        first.checked_bands(answer)
    assert words in str(told.value)


def test_a_span_of_ones_own_is_a_band() -> None:
    assert first.checked_bands("7.0-7.2MHz, 800 kHz - 1.2 MHz") == ("7 MHz to 7.2 MHz", "800 kHz to 1.2 MHz")
    answers = first.Answers("mains", "6SJ7", "6C5", "8_ohm", first.checked_bands("7.0-7.2MHz"))
    (band,) = first.built(answers)[1].bands
    assert (band.from_, band.to) == (7.0e6, 7.2e6)


@pytest.mark.parametrize("name", ["6ZZ9", "", "x: {y: 1}", '6J7"\nsupply: 1', "../card"])
def test_no_tube_name_gets_past_the_checks_of_the_build(name: str) -> None:
    with pytest.raises(BuildFaults) as told:
        first.checked_tube(name, socket="detector", supply="mains")
    assert {fault.key for fault in told.value.faults} == {"detector.tube"}


def test_without_a_terminal_nothing_is_asked_and_nothing_written(tmp_path: Path) -> None:
    answer = call("new", tmp_path / "set.yaml", "--ask")
    assert answer.code == 2
    assert "--ask needs a terminal to ask at; without it, 'new' writes the usual set" in answer.err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("options", [("--all", "--ask"), ("--ask", "--json")])
def test_options_that_contradict_each_other(tmp_path: Path, options: tuple[str, ...]) -> None:
    answer = call("new", tmp_path / "set.yaml", *options)
    assert answer.code == 2 and "do not go together" in answer.err


def _at_a_terminal(place: Path, answers: str) -> str:
    """Run `new --ask` at a terminal, the answers typed ahead, and return what it showed."""
    ours, theirs = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-m", "receiver_sim.cli", "new", "set.yaml", "--ask"],
        cwd=place, stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "PYTHONPATH": str(Path(first.__file__).parents[2])},
    )  # fmt: skip
    os.close(theirs)
    os.write(ours, answers.encode())
    shown = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # how Linux ends a terminal that nobody holds any more
            break
        if not piece:
            break
        shown += piece
    os.close(ours)
    assert run.wait(60) == 0, shown.decode()
    return shown.decode()


def test_enter_at_every_question_gives_the_usual_build(tmp_path: Path) -> None:
    shown = _at_a_terminal(tmp_path, "\n" * 5)
    assert (tmp_path / "set.yaml").read_text() == first.text(first.usual())
    assert "[6SJ7]" in shown and "[80 m, 40 m]" in shown and "Plate supplies kill" in shown


def test_a_bad_answer_is_asked_again_in_the_words_of_the_checks(tmp_path: Path) -> None:
    typed = ("solar", "battery", "6ZZ9", "6SJ7", "1l4", "none", "8_ohm", "high_impedance", "41 x", "40m", "")
    shown = " ".join(_at_a_terminal(tmp_path, "\n".join(typed)).split())
    assert "'solar' is not one of" in shown
    assert "'6ZZ9': expected a tube with a card on hand" in shown
    assert "6SJ7 has a heated cathode; with the supply 'battery', expected a tube with a filament" in shown
    assert "'8_ohm' is not 'high_impedance'" in shown or "'8_ohm' is not one of" in shown
    assert "'41 x': expected one of 160 m" in shown
    build = load_build(tmp_path / "set.yaml")
    assert build.supply.kind == "battery" and build.detector.tube == "1L4" and build.audio is None
    assert [band.name for band in build.bands] == ["40 m"]
