"""Marks of failed stages, names of bands and outputs, tubes that no socket takes, answers in a line."""

from __future__ import annotations

import enum
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import builds
from receiver_sim.engine import EngineError, EngineMissing
from receiver_sim.engine.errors import EngineFailed
from receiver_sim.errors import NoAnswer, NoOnset, UnknownName, WrongValue
from receiver_sim.failing_stages import Job, Stages
from receiver_sim.receiver import cards_for
from receiver_sim.results.answer import Answers, summary
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.schema import Build, BuildFaults


class Lined:
    """A bench that runs one after the other."""

    def map(self, work: Callable[..., Any], items: Sequence[Any], progress: Any = None) -> list[Any]:
        found = []
        for number, item in enumerate(items, start=1):
            found.append(work(self, item))
            if progress is not None:
                progress(number, len(items))
        return found


def fails(error: Exception) -> Callable[..., Any]:
    def work(*_: Any) -> Any:
        raise error

    return work


def test_a_stage_that_fails_is_marked_with_its_reason_and_its_deck() -> None:
    """What ngspice could not do leaves a deck, a question without an answer none; a fault of the program
    leaves the trace that leads to it."""
    stages = Stages()
    kept = EngineFailed("it did not converge", Path("kept.cir"), ())
    assert stages.run("hum", fails(kept)) is None
    assert stages.run("onset", fails(NoAnswer("no resonance within the dial"))) is None
    assert stages.run("audio", fails(ZeroDivisionError("float division by zero"))) is None
    assert stages.run("noise", lambda: 7) == 7
    hum, onset, audio = stages.failed
    assert hum == FailedStage("hum", str(kept), "kept.cir", Status.FAILED, None)
    assert onset == FailedStage("onset", "no resonance within the dial", None, Status.FAILED, None)
    assert audio.reason == (
        "a fault of the program, not of your build: ZeroDivisionError: float division by zero"
    )
    assert (audio.stage, audio.deck, audio.status) == ("audio", None, Status.FAILED)
    assert audio.fault is not None and audio.fault.endswith("ZeroDivisionError: float division by zero\n")
    assert "in work" in audio.fault


@pytest.mark.parametrize(
    "error",
    [EngineMissing("no ngspice"), NoOnset("none"), WrongValue("too large"), UnknownName("who?")],
    ids=lambda one: type(one).__name__,
)
def test_what_is_no_failure_of_a_stage_passes_through(error: Exception) -> None:
    """What meets every stage alike, what is no failure, and what the user can put right."""
    stages = Stages()
    with pytest.raises(type(error)):
        stages.run("any", fails(error))
    assert stages.failed == ()


def test_stages_side_by_side_keep_their_order_and_what_failed_within_them() -> None:
    """First what failed within a job, then the job itself, then those of the next."""
    stages, told = Stages(), []
    stages.add([FailedStage("before", "so", None)])

    def inner(_: Any, within: Stages) -> int:
        within.run("a part of it", fails(NoAnswer("none")))
        return 3

    def both(_: Any, within: Stages) -> int:
        within.run("another part", fails(NoAnswer("none")))
        raise EngineError("all of it")

    jobs: list[Job[Any]] = [Job("one", inner), Job("two", both), Job("three", lambda *_: 5)]
    stages.side_by_side(Lined(), jobs, lambda done, total: told.append((done, total)))  # type: ignore[arg-type]
    assert [job.found for job in jobs] == [3, None, 5]
    assert [one.stage for one in stages.failed] == ["before", "a part of it", "another part", "two"]
    assert told == [(1, 3), (2, 3), (3, 3)]
    found = stages.map(Lined(), lambda _, n: 1 / n, [("half", 2), ("none", 0)])  # type: ignore[arg-type]
    assert found == [0.5, None] and stages.failed[-1].stage == "none" and len(stages.failed) == 5


def test_an_output_is_named_by_its_number_or_its_name(demo: Build) -> None:
    """Counted from nought; neither one below it, nor one beyond the last, nor a truth value is one."""
    two = demo.model_copy(
        update={"phones": (demo.phones[0], demo.phones[0].model_copy(update={"name": "line"}))}
    )
    assert [builds.output_index(two, which) for which in (0, 1, "line", demo.phones[0].name)] == [0, 1, 1, 0]
    for which in (-1, 2, True, "lines"):
        with pytest.raises(UnknownName) as caught:
            builds.output_index(two, which)
        assert str(caught.value) == (
            f"no output {which!r} in this build; its outputs: 0 '{demo.phones[0].name}', 1 'line'"
        )


def test_bands_are_all_or_those_that_are_named(demo: Build) -> None:
    assert builds.bands_named(demo, None) == list(demo.bands)
    assert [one.name for one in builds.bands_named(demo, ["40m"])] == ["40 m"]
    assert builds.bands_named(demo, []) == []
    with pytest.raises(UnknownName) as caught:
        builds.band_named(demo, "41 m")
    names = ", ".join(one.name for one in demo.bands)
    assert str(caught.value) == f"no band '41 m' in this build; its bands: {names}"
    assert builds.band_named(demo, None) is demo.bands[0]


def test_a_build_that_is_none_of_those_that_come_along(demo: Build) -> None:
    names = builds.shipped_builds()
    assert list(names) == sorted(names) and {"demo", "one_tube"} <= set(names)
    with pytest.raises(UnknownName) as caught:
        builds.shipped_build("dmo")
    assert str(caught.value) == f"no build 'dmo' comes with the program; there are: {', '.join(names)}"


def test_a_dial_is_looked_at_at_both_ends_and_its_geometric_middle(demo: Build) -> None:
    """4 to 9 MHz: 6 MHz, as far from either end by its ratio."""
    band = demo.bands[0].model_copy(update={"from_": 4e6, "to": 9e6})
    assert builds.dial_frequencies(band) == pytest.approx((4e6, 6e6, 9e6))


def faults(build: Build) -> list[tuple[str, str, str | None]]:
    with pytest.raises(BuildFaults) as caught:
        cards_for(build)
    return [(one.key, one.expected, one.cure) for one in caught.value.faults]


def test_a_tube_that_does_not_suit_its_socket_is_refused_in_words() -> None:
    """A triode has no screen to feed or to set; a pentode's screen must be fed; an r.f. stage takes no
    triode."""
    tapped = builds.shipped_build("throttle")
    triode = tapped.model_copy(update={"detector": tapped.detector.model_copy(update={"tube": "6J5"})})
    assert faults(triode) == [
        ("detector.tube", "a pentode or screen-grid tube, since 'detector.screen' feeds a screen",
         "take 'detector.screen' out"),
    ]  # fmt: skip
    bare = tapped.model_copy(update={"detector": tapped.detector.model_copy(update={"screen": None})})
    assert faults(bare) == [
        ("detector.tube", "a triode, or a feed for the screen, since the control does not set its volts",
         "add the key 'screen' with its resistor under 'detector'"),
    ]  # fmt: skip
    stage = builds.shipped_build("rf_stage")
    assert stage.rf_stage is not None and stage.audio is not None
    low = stage.model_copy(update={"rf_stage": stage.rf_stage.model_copy(update={"tube": "6J5"})})
    ((key, expected, cure),) = faults(low)
    assert (key, expected) == ("rf_stage.tube", "a pentode or screen-grid tube")
    assert cure is not None and cure.endswith(": take a tube with a screen")
    bare_audio = stage.model_copy(update={"audio": stage.audio.model_copy(update={"tube": "6SJ7"})})
    assert faults(bare_audio) == [
        ("audio.tube", "a triode, or a pentode with the key 'screen' (or 'connection: triode') beside it",
         None),
    ]  # fmt: skip


class Kind(enum.Enum):
    SOFT = "soft"


@dataclass(frozen=True)
class One:
    kind: Kind
    word: str
    hidden: bool
    volts: float
    rows: tuple[int, ...] = ()
    nothing: None = None


def test_an_answer_is_told_by_its_plain_fields_in_a_line() -> None:
    """Words as they are, figures and truth by their names, a table by how many; what is empty not at all."""
    assert summary(One(Kind.SOFT, "40 m", True, 12.3456789, (1, 2, 3))) == (
        "soft, 40 m, hidden True, volts 12.3457, 3 rows"
    )
    assert summary(One(Kind.SOFT, "40 m", False, 1.0)) == "soft, 40 m, hidden False, volts 1"
    long = summary(One(Kind.SOFT, "w" * 90, True, 1.0))
    assert long == f"soft, {'w' * 65}…" and len(long) == 72
    fitting = summary(One(Kind.SOFT, "w" * 44, True, 1.0))
    assert len(fitting) == 72 and fitting.endswith("volts 1")
    cut = summary(One(Kind.SOFT, "w" * 51, True, 1.0))
    assert cut == f"soft, {'w' * 51}, hidden True…"
    assert summary("a word") == "a word"


def test_several_answers_are_told_with_their_number() -> None:
    pair = Answers([One(Kind.SOFT, "a", True, 1.0), "b"])
    assert repr(pair) == "<2 answers: soft, a, hidden True, volts 1; b>"
