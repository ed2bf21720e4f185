"""What a verb has found stays when a later stage fails: printed and in the JSON, the failure named, exit 3.

A stage is made to fail by a deck that ngspice itself refuses: an element that asks for a model nobody wrote.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.design import dropper, hum_remedies, tap_finder
from receiver_sim.engine import Bench, Deck, EngineError
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import coil_verdicts, verdicts
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import Loaded
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import (
    audio_response,
    breakthrough,
    distortion,
    hum,
    hum_paths,
    loop_gain,
    noise,
    operating_point,
    reference_transient,
    regulator,
    screen_quiet,
    selectivity,
    signal_noise,
    stability,
)
from receiver_sim.views.sheet import as_text
from receiver_sim.views.tables import hum_table
from tests.helpers.documents import conforming
from tests.helpers.lending import cut, lending
from tests.test_cli import CABIN, DEMO, Answer, call

BROKEN = "qbroken b1 b2 b3 nobodys_model"


def spoil(monkeypatch: pytest.MonkeyPatch, study: Any, name: str = "run") -> None:
    """Make a study run a deck that ngspice refuses, instead of its own."""

    def run(*given: Any, **_also: Any) -> None:
        for on in given:
            if isinstance(on, Loaded):
                on.set("rnowhere", 1.0)
                on.volts()
        bench = next(one.bench for one in given if isinstance(one, (Receiver, Tuned)))
        with bench.session(Deck("a broken deck", f"r1 b1 0 1\nr2 b2 0 1\nr3 b3 0 1\n{BROKEN}")) as session:
            session.op()

    monkeypatch.setattr(study, name, run)


def document(answer: Answer) -> dict[str, Any]:
    """Return the JSON document of an answer, held against the shipped schema."""
    return conforming(answer.out, str(json.loads(answer.out)["verb"]))


@pytest.fixture(scope="module", autouse=True)
def workers() -> Iterator[None]:
    """All calls of this file hand their idle workers on to the next."""
    with lending():
        yield


@pytest.fixture(scope="module")
def short_cabin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The cabin with its first two coils."""
    return cut(CABIN, tmp_path_factory.mktemp("builds"), 2)


@pytest.fixture(scope="module")
def one_coil(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The cabin with its first coil, for what is no matter of bands."""
    return cut(CABIN, tmp_path_factory.mktemp("builds"), 1)


@pytest.fixture(scope="module")
def short_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with its first two coils."""
    return cut(DEMO, tmp_path_factory.mktemp("builds"), 2)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder as the working directory."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


CHECKED = [
    (operating_point, "operating point", "operating_points", []),
    (regulator, "regulator and mains", "regulator", None),
    (audio_response, "audio", "audio", None),
    (hum, "hum", "hum", None),
    (hum_paths, "hum by its paths", "hum_paths", None),
]


@pytest.mark.parametrize(("study", "stage", "key", "nothing"), CHECKED, ids=[row[1] for row in CHECKED])
def test_check_keeps_the_bands_when_a_later_stage_fails(
    here: Path,
    one_coil: Path,
    monkeypatch: pytest.MonkeyPatch,
    study: Any,
    stage: str,
    key: str,
    nothing: object,
) -> None:
    spoil(monkeypatch, study)
    answer = call("check", one_coil, "--no-plots", "--json")
    assert answer.code == 3
    result = document(answer)["result"]
    assert [band["onsets"][1]["status"] for band in result["bands"]] == ["oscillates"] * len(result["bands"])
    assert result[key] == nothing
    (failed,) = result["failed"]
    assert (failed["stage"], failed["status"]) == (stage, "failed")
    assert Path(failed["deck"]).read_text(encoding="ascii").splitlines()[4] == BROKEN
    assert Path(failed["deck"]).parent == Path("cabin-results/failed")
    # the other stages went on
    others = [row[2] for row in CHECKED if row[2] != key]
    assert all(result[other] for other in others)
    assert f"receiver-sim: {stage}: simulation failed" in " ".join(answer.err.split())
    assert json.loads(Path("cabin-results/check.json").read_text(encoding="utf-8"))["result"] == result


def test_the_page_of_check_keeps_the_bands_too(
    here: Path, one_coil: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoil(monkeypatch, hum)
    answer = call("check", one_coil, "--no-plots")
    assert answer.code == 3
    assert "Onset of oscillation" in answer.out and "What a meter should read" in answer.out
    assert " X  FAILED    hum: simulation failed" in answer.out
    assert "Hum\n" not in answer.out
    assert max(map(len, answer.out.splitlines())) <= 100


def at_fault(monkeypatch: pytest.MonkeyPatch, module: Any, name: str, *, calls: int = 1) -> None:
    """Make the program be at fault in the first so many calls of one of its functions."""
    right, count = getattr(module, name), iter(range(1, 1000))

    def wrong(*given: Any, **also: Any) -> Any:
        if next(count) <= calls:
            raise TypeError("a shape that nobody expected")
        return right(*given, **also)

    monkeypatch.setattr(module, name, wrong)


FAULTS = [
    (hum, "run", "hum", "What a meter should read"),
    (onset, "run", "onset on 75 m broadcast at ", "What a meter should read"),
    (verdicts, "judge_loudness", "verdicts on loudness", "Hum"),  # a rule that no drawn set is asked by
    (coil_verdicts, "judge_coils", "verdicts on coils", "Hum"),
]


@pytest.mark.parametrize(("module", "name", "stage", "kept"), FAULTS, ids=[row[2] for row in FAULTS])
def test_a_fault_of_the_program_in_one_stage_takes_nothing_else_along(
    here: Path,
    one_coil: Path,
    monkeypatch: pytest.MonkeyPatch,
    module: Any,
    name: str,
    stage: str,
    kept: str,
) -> None:
    """Guards against `check` that ended with 70 and no page where one of its stages was at fault."""
    monkeypatch.setattr("tempfile.tempdir", str(here))
    at_fault(monkeypatch, module, name)
    answer = call("check", one_coil, "--no-plots")
    assert answer.code == 70
    assert "Onset of oscillation" in answer.out and kept in answer.out
    page, told = (" ".join(text.split()) for text in (answer.out, answer.err))
    reason = "a fault of the program, not of your build: TypeError: a shape that nobody expected"
    assert f"X FAILED {stage}" in page and reason in page
    assert f"receiver-sim: {reason} (in {stage}" in told and "; please pass on the report in " in told
    (report,) = here.glob("receiver_sim-fault-*/report.txt")
    text = report.read_text(encoding="utf-8")
    assert "raise TypeError(" in text and f"check {one_coil}" in text
    (failed,) = failures_in(json.loads(Path("cabin-results/check.json").read_text(encoding="utf-8")))
    assert failed["stage"].startswith(stage) and failed["fault"] in text


def failures_in(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Return what failed by the document of `check`, in its bands and beside them."""
    result = document["result"]
    return [*(one for band in result["bands"] for one in band["failed"]), *result["failed"]]


def test_loop_keeps_the_onset_when_a_curve_fails(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Guards against the onset in the middle of the dial being overwritten by the failure of its curve."""
    for study, stage in ((selectivity, "selectivity on 40 m"), (loop_gain, "loop gain on 40 m")):
        spoil(monkeypatch, study, "measured")
        answer = call("loop", DEMO, "--band", "40 m", "--json")
        (band,) = document(answer)["result"]
        assert answer.code == 3
        assert [onset["status"] for onset in band["onsets"]] == ["oscillates"] * 3
        assert [one["stage"] for one in band["failed"]] == [stage]


SINGLE: list[tuple[str, Any, str, Callable[[dict[str, Any]], bool]]] = [
    ("audio", audio_response, "audio response", lambda r: r["response"] is None and bool(r["levels"])),
    ("audio", distortion, "distortion", lambda r: r["levels"] == [] and bool(r["response"])),
    ("audio", noise, "noise", lambda r: r["levels"][0]["limits"]["floor_v"] is None and bool(r["response"])),
    ("hum", hum, "hum against the hum pot", lambda r: r["hum"] is None and bool(r["remedies"])),
    ("hum", hum_paths, "hum by its paths", lambda r: r["paths"] is None and bool(r["remedies"])),
    ("supply", operating_point, "operating point", lambda r: not r["report"]["operating_points"]),
    ("supply", regulator, "regulator and mains", lambda r: r["report"]["regulator"] is None),
    ("supply", dropper, "dropper", lambda r: r["dropper"] is None and bool(r["drifts"])),
    ("supply", screen_quiet, "ripple and noise at the screen", lambda r: r["screen"] is None),
]


@pytest.mark.parametrize(("verb", "study", "stage", "holds"), SINGLE, ids=[row[2] for row in SINGLE])
def test_single_verbs_keep_what_other_stages_found(
    here: Path,
    monkeypatch: pytest.MonkeyPatch,
    verb: str,
    study: Any,
    stage: str,
    holds: Callable[[dict[str, Any]], bool],
) -> None:
    spoil(monkeypatch, study)
    answer = call(verb, DEMO, "--band", "40 m", "--json", "--out", "plots")
    assert answer.code == 3
    result = document(answer)["result"]
    assert [one["stage"] for one in result["failed"]] == [stage]
    assert holds(result)
    if stage in [next(row[2] for row in SINGLE if row[0] == one) for one in ("audio", "hum", "supply")]:
        page = call(verb, DEMO, "--band", "40 m")  # one stage a verb: a page shows them all by one section
        assert page.code == 3 and f" X  FAILED    {stage}: simulation failed" in page.out


def test_coils_keep_the_other_bands(here: Path, short_demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spoil(monkeypatch, breakthrough)
    answer = call("coils", short_demo, "--json")
    assert answer.code == 3
    result = document(answer)["result"]
    assert [one["stage"] for one in result["failed"]] == [
        f"breakthrough on {r['band']}" for r in result["ranges"]
    ]
    assert len(result["ranges"]) == len(result["sweeps"]) == 2
    assert call("coils", short_demo).out.count(" X  FAILED ") == 2


def test_calibrate_keeps_its_onsets_when_tap_and_hum_fail(
    here: Path, short_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Guards against a dash on the page and exit 0 where a stage had failed."""
    spoil(monkeypatch, hum)
    spoil(monkeypatch, tap_finder)
    read = here / "read.yaml"
    read.write_text(
        "receiver_sim_readings: 1\nvolts:\n  - {pin: V2 cathode, volts: 7.6 V}\n", encoding="utf-8"
    )
    answer = call("calibrate", short_demo, "--readings", read, "--json", "-o", "mine.yaml")
    assert answer.code == 3
    result = document(answer)["result"]
    stages = [f"{what} {when}" for what in ("tap", "hum") for when in ("as built", "as calibrated")]
    assert [one["stage"] for one in result["failed"]] == stages
    assert [result[f"{what}_after"] for what in ("tap", "hum_pot")] == [None, None]
    assert len(result["onsets"]) == 2 and all(one["after"] is not None for one in result["onsets"])
    assert Path("mine.yaml").is_file()  # what was found is written all the same
    told = " ".join(answer.err.split())
    assert all(f"receiver-sim: {stage}: simulation failed" in told for stage in stages)


def test_swap_keeps_the_bands_of_a_candidate_whose_noise_fails(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoil(monkeypatch, signal_noise)
    answer = call("swap", cut(DEMO, here, 1), "--tubes", "6SK7", "--json")
    assert answer.code == 3
    for one in document(answer)["result"]["detectors"]:
        assert one["failed"].startswith("simulation failed") and one["noise"] is None
        assert [band["onset"]["status"] for band in one["bands"]] == ["oscillates"] * len(one["bands"])
        assert one["ratings"] and one["detection"] is not None


def test_onset_keeps_its_report_when_the_reference_run_fails(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoil(monkeypatch, reference_transient)
    answer = call("onset", DEMO, "--band", "40 m", "--no-modes", "--verify", "--json")
    assert answer.code == 3
    result = document(answer)["result"]
    assert result["bands"][0]["oscillation"]["status"] == "oscillates"
    assert result["bands"][0]["verification"] is None
    assert [one["stage"] for one in result["failed"]] == ["reference run"]


def test_onset_keeps_its_amplitudes_when_the_modes_fail(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spoil(monkeypatch, stability, "linearised")
    answer = call("onset", DEMO, "--band", "40 m", "--json")
    assert answer.code == 3
    result = document(answer)["result"]
    assert result["bands"][0]["oscillation"]["status"] == "oscillates"
    assert result["bands"][0]["stability"] == []
    assert [one["stage"] for one in result["failed"]] == ["modes on 40 m"]
    page = call("onset", DEMO, "--band", "40 m")
    assert page.code == 3 and " X  FAILED    modes on 40 m: simulation failed" in page.out


def test_check_keeps_the_amplitudes_when_the_modes_fail(
    here: Path, short_cabin: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoil(monkeypatch, stability, "linearised")
    answer = call("check", short_cabin, "--no-plots", "--json")
    assert answer.code == 3
    result = document(answer)["result"]
    names = [band["band"] for band in result["bands"]]
    assert [one["oscillation"]["band"] for one in result["oscillation"]] == names
    assert all(one["oscillation"]["amplitudes"] is not None for one in result["oscillation"])
    assert [one["stage"] for one in result["failed"]] == [f"modes on {name}" for name in names]
    rules = {one["rule"] for one in result["verdicts"]}
    assert "backlash_max" in rules and "holds_still" not in rules


def test_a_remedy_that_fails_does_not_take_the_others_along(demo: Build) -> None:
    stages = Stages()

    def measure(what: str, changed: Build) -> list[float] | None:
        def work() -> list[float]:
            if "d.c." in what:
                raise EngineError("no solution")
            return [10.0 - 3.0 * (changed.heater.hum_pot_position == 0.4)]

        return stages.run(what, work)

    found = hum_remedies.run(demo, measure=measure, nulls=[0.4])
    assert found[0].change == "set the hum pot to 40 %" and found[0].gain_db == 3.0
    assert [one.stage for one in stages.failed] == ["remedy: heat with smooth d.c."]
    assert not any("d.c." in one.change for one in found)


def test_a_hum_pot_at_its_null_is_no_remedy(demo: Build) -> None:
    """Guards against advice that the build already follows."""
    set_so = changed_build(demo, {"heater.hum_pot_position": "40 %"})
    assert not any("hum pot" in text for text, _ in hum_remedies.changes(set_so, 0.4))
    assert any("hum pot" in text for text, _ in hum_remedies.changes(set_so, 0.45))


def test_without_a_hum_pot_none_is_spoken_of(here: Path, bench: Bench, demo: Build) -> None:
    """Guards against 'pot at 50 %, null at 0 %' where one side is grounded or the heaters are on d.c."""
    for change in ({"heater.wiring": "one_side"}, {"heater.supply": "dc"}):
        result = api.hum_study(changed_build(demo, change), bench=bench)
        assert not result.pot
        page = as_text(hum_table(result))
        assert "no hum pot to turn" in page and "null" not in page
    # the pot that would be fitted nulls where the fitted one does
    tried = api.hum_study(changed_build(demo, {"heater.wiring": "one_side"}), bench=bench).outputs[0]
    fitted = api.hum_study(demo, bench=bench).outputs[0]
    assert tried.best_position == pytest.approx(fitted.best_position, abs=0.01)
    assert tried.at_build_v > fitted.best_v


def test_a_build_without_hum_has_no_remedies(demo: Build) -> None:
    assert hum_remedies.run(demo, measure=lambda _what, _build: [None], nulls=[0.5]) == ()


# ---------------------------------------------------------------------------- decks that were run


@pytest.mark.parametrize("verb", ["loop", "audio", "hum", "supply", "coils", "check"])
def test_provenance_lists_the_decks_that_were_run(
    here: Path, short_cabin: Path, one_coil: Path, monkeypatch: pytest.MonkeyPatch, verb: str
) -> None:
    """Every deck that a session loaded, and no other; by title, then digest."""
    seen: set[tuple[str, str]] = set()
    true_session = Bench.session

    def session(self: Bench, deck: Deck, **how: Any) -> Any:
        seen.add((deck.title, deck.sha256))
        return true_session(self, deck, **how)

    monkeypatch.setattr(Bench, "session", session)
    build = short_cabin if verb in ("loop", "coils") else one_coil
    first = call(verb, build, "--json", *(["--no-plots"] if verb == "check" else []))
    decks = document(first)["provenance"]["decks"]
    assert [(one["title"], one["sha256"]) for one in decks] == sorted(seen)
    if verb in ("loop", "check"):
        again = call(verb, build, "--json", *(["--no-plots"] if verb == "check" else []))
        assert again.out == first.out


def test_a_shared_bench_does_not_mix_the_decks_of_two_calls(bench: Bench, demo: Build) -> None:
    first, second = (b.model_copy(update={"bands": b.bands[:1]}) for b in (api.shipped_build("cabin"), demo))
    cabin = api.check(first, bench=bench)
    alone = api.check(second, bench=bench)
    again = api.check(second, bench=bench)
    assert alone.provenance == again.provenance and alone.evaluations == again.evaluations
    assert not set(alone.provenance.decks) & set(cabin.provenance.decks)


def test_a_set_without_onset_is_looked_at_on_one_band(bench: Bench, demo: Build) -> None:
    """Guards against the coil of the first band with the dial of the last."""
    dead = changed_build(demo, {"regeneration.top": "10 Mohm"})
    setting = api.prepare(Receiver(dead, bench), None)
    assert setting.onset.onset is None
    assert setting.band.name == setting.onset.band == demo.bands[0].name


def test_an_onset_that_failed_is_no_setting(demo: Build) -> None:
    """Guards against a silent half way in the place of a search that failed."""
    with Bench(workers=1, time_limit_s=1e-6) as hasty, pytest.raises(EngineError, match="took longer than"):
        api.prepare(Receiver(demo, hasty), "40 m")
