"""The command line as a user meets it: exit codes, messages, JSON, cautions, terminals; ngspice is real.

What is common to all verbs runs once a build and verb (fixture `answers`) and is seen from several sides.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import re
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from receiver_sim import api
from receiver_sim.cli import main
from receiver_sim.data import folder
from receiver_sim.engine import Bench
from receiver_sim.results import cautions, json_schema
from tests.conftest import BUILDS
from tests.helpers import stock
from tests.helpers.documents import conforming, validator
from tests.helpers.lending import cut, lending

DEMO, CABIN = str(BUILDS / "demo.yaml"), str(BUILDS / "cabin.yaml")
SIMULATING = ("check", "loop", "audio", "hum", "supply")
WIDTH = 100
COMMAND = [sys.executable, "-m", "receiver_sim.cli"]
ONE = ("--workers", "1")
"""For what runs in a process of its own: a second worker takes longer to start than it saves."""


@dataclass(frozen=True)
class Answer:
    """What a call printed and its exit code."""

    code: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """The printed page without line breaks, marks of comments and double blanks."""
        return re.sub(r"\s+(?:[*!] )*", " ", self.out)


def call(*args: str | Path) -> Answer:
    """Run a verb in this process; any exception but an orderly exit is a failure of the test."""
    out, err = io.StringIO(), io.StringIO()
    code: Any = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(a) for a in args], prog_name="receiver-sim")
        except SystemExit as end:
            code = end.code
    answer = Answer(0 if code is None else code, out.getvalue(), err.getvalue())
    assert "Traceback" not in answer.out + answer.err
    return answer


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder as the working directory."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def edited(place: Path, old: str, new: str, name: str = "edited.yaml") -> Path:
    """Write the demo with one piece of its text replaced."""
    text = Path(DEMO).read_text(encoding="utf-8")
    assert old in text
    path = place / name
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


@contextlib.contextmanager
def inside(folder: Path) -> Iterator[None]:
    """Work in a folder for a while."""
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


@pytest.fixture(scope="module", autouse=True)
def workers() -> Iterator[None]:
    """All calls of this file hand their idle workers on to the next."""
    with lending():
        yield


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which `answers` were asked for."""
    return tmp_path_factory.mktemp("answers")


@pytest.fixture(scope="module")
def answers(place: Path) -> dict[tuple[str, str], Answer]:
    """Answers of all verbs as tables, on both builds with few of their bands; plots of one check alone."""
    found = {}
    for name, build in (("demo", cut(DEMO, place, 2)), ("cabin", cut(CABIN, place, 1))):
        plots = () if name == "demo" else ("--no-plots",)
        with inside(place):
            found[name, "check"] = call("check", build, *plots)
        for verb in (*SIMULATING[1:], "deck"):
            found[name, verb] = call(verb, build)
        found[name, "new"] = call("new", place / f"new-{name}.yaml")
    return found


# ---------------------------------------------------------------------------- pages


def test_all_verbs_succeed_on_both_builds(answers: dict[tuple[str, str], Answer]) -> None:
    assert {key: (a.code, a.err) for key, a in answers.items()} == dict.fromkeys(answers, (0, ""))


def test_no_line_is_wider_than_a_page(answers: dict[tuple[str, str], Answer]) -> None:
    for (build, verb), answer in answers.items():
        page = answer.out
        if verb == "deck":  # lines of ngspice are no page; the cautions above them are
            page = page.split("\n.options")[0]
        if verb == "new":  # a path is as long as it is
            page = page.split("\n", 1)[1]
        wide = [line for line in page.splitlines() if len(line) > WIDTH]
        assert wide == [], f"{verb} {build}"


def test_cautions_stand_once_wherever_volts_are_printed(answers: dict[tuple[str, str], Answer]) -> None:
    for (build, verb), answer in answers.items():
        wanted = [*cautions.PLATE_SUPPLY, *(cautions.RADIATION if verb in ("check", "loop") else ())]
        assert [answer.words.count(text) for text in wanted] == [1] * len(wanted), f"{verb} {build}"


def test_cautions_come_before_the_first_figure(answers: dict[tuple[str, str], Answer]) -> None:
    for (build, verb), answer in answers.items():
        if verb != "new":  # prints no figure
            place = answer.out.index("Plate supplies kill")
            assert place < min(
                answer.out.find(w) for w in (" V\n", "Volts", ".options", "screen") if w in answer.out
            )
            assert place < 200, f"{verb} {build}"


def test_check_writes_plots_and_the_document(answers: dict[tuple[str, str], Answer], place: Path) -> None:
    answer, results = answers["demo", "check"], place / "demo-results"
    written = {path.name for path in results.iterdir()}
    bands = ["160-m", "80-m"]
    stems = {
        "strip",
        "loop-gain",
        "control",
        "audio",
        "hum",
        "selectivity",
        "resonance",
        *(f"nyquist-{band}" for band in bands),
    }
    assert written == {"check.json", *(f"{s}.png" for s in stems), *(f"{s}.svg" for s in stems)}
    assert all((results / f"{s}.png").read_bytes().startswith(b"\x89PNG\r\n") for s in stems)
    assert all("<svg" in (results / f"{s}.svg").read_text(encoding="utf-8") for s in stems)
    document = json.loads((results / "check.json").read_text(encoding="utf-8"))
    validator("check").validate(document)
    listed = answer.out[answer.out.index("written to demo-results: check.json") :]
    assert {word.strip(",") for word in listed.split()} >= stems
    assert document["result"]["title"] in answer.out


def test_check_leaves_no_workers_behind(here: Path) -> None:
    done = subprocess.Popen([*COMMAND, "loop", DEMO, "--band", "40 m"], stdout=subprocess.PIPE)
    assert done.communicate(timeout=120)[0]
    tasks = Path("/proc")
    if not tasks.is_dir():
        pytest.skip("no /proc on this system")
    parents = {}
    for entry in tasks.glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            parents[entry.parent.name] = entry.read_text().rsplit(")", 1)[1].split()[1]
    assert str(done.pid) not in parents.values()


# ---------------------------------------------------------------------------- JSON


# `live` serves until it is ended: tests/live
@pytest.mark.parametrize("verb", sorted(set(json_schema.VERBS) - {"live"}))
def test_json_is_one_document_that_the_shipped_schema_describes(verb: str, here: Path) -> None:
    own = here / "6J5.yaml"
    shutil.copy(folder("models") / "6J5.yaml", own)  # 'tubes fit' writes into the card
    one_band, two_bands = cut(DEMO, here, 1), cut(CABIN, here, 2)
    readings = here / "readings.yaml"
    readings.write_text(
        "receiver_sim_readings: 1\nvolts:\n  - {pin: plate supply, volts: 185 V}\n"
        "onset:\n  - {band: 160 m, at: 42 %}\n"
    )
    calls = {
        "check": ["check", two_bands, "--no-plots"],
        "coils": ["coils", one_band],
        "detect": ["detect", DEMO, "--band", "40 m"],
        "listen": [
            *("listen", DEMO, "--band", "40 m", "--carrier", "30uV@700Hz", "--seconds", "200ms"),
            *("-o", "heard.wav"),
        ],
        "guide": ["guide", "safety"],
        "faults": ["faults", one_band, "--readings", readings],
        "calibrate": ["calibrate", one_band, "--readings", readings],
        "loop": ["loop", DEMO, "--band", "30 m"],
        "page": ["page", one_band, "--no-sound", "--no-faults"],
        "onset": ["onset", DEMO, "--band", "40 m", "--no-modes"],
        "new": ["new", "fresh.yaml"],
        "tap": ["tap", DEMO, "--onset", "45%", "--band", "40 m"],
        "wind": [
            "wind",
            "--band",
            "7.0-7.3MHz",
            "--former",
            "32mm",
            "--gauge",
            "24",
            "--capacitor",
            "10-150pF",
        ],
        "spread": ["spread", one_band, "-n", "20"],
        "swap": ["swap", one_band, "--tubes", "6SK7"],
        "tubes list": ["tubes", "list"],
        "tubes show": ["tubes", "show", "6SJ7"],
        "tubes fit": ["tubes", "fit", str(own)],
    }
    if verb.startswith("tubes"):
        calls.setdefault(verb, [*verb.split(), "6J5"])
    answer = call(*calls.get(verb, [verb, DEMO]), "--json")
    assert (answer.code, answer.err) == (0, "")
    document = conforming(answer.out, verb)  # fails on anything printed before or after it
    if verb == "check":
        assert document == json.loads((here / "cabin-results" / "check.json").read_text(encoding="utf-8"))
    assert document["cautions"][: len(cautions.PLATE_SUPPLY)] == list(cautions.PLATE_SUPPLY)
    # the schema is no rubber stamp: another verb's name does not go with this result
    other = "hum" if verb != "hum" else "audio"
    assert not validator(other).is_valid({**document, "verb": other})
    assert not validator(verb).is_valid({**document, "verb": other})


def test_the_shipped_schema_is_a_schema_with_a_branch_for_each_verb() -> None:
    schema = json.loads(json_schema.PATH.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert [one["properties"]["verb"]["const"] for one in schema["oneOf"]] == list(json_schema.VERBS)


def test_every_verb_takes_json_and_has_its_schema() -> None:
    def leaves(command: Any, name: str) -> Iterator[tuple[str, Any]]:
        for sub, below in getattr(command, "commands", {}).items():
            yield from leaves(below, f"{name} {sub}".strip())
        if not hasattr(command, "commands"):
            yield name, command

    verbs = dict(leaves(main, ""))
    lacking = [
        name for name, verb in verbs.items() if "--json" not in [o for p in verb.params for o in p.opts]
    ]
    assert lacking == []
    # a verb with a second form ('tubes fit --check') has a schema for each
    assert {name.split(" --")[0] for name in json_schema.VERBS} == set(verbs)


def test_figures_do_not_depend_on_the_number_of_workers(here: Path) -> None:
    build = cut(DEMO, here, 2)
    one, three = (
        json.loads(call("check", build, "--no-plots", "--json", "--workers", n).out)["result"]
        for n in ("1", "3")
    )
    assert one == three


# ---------------------------------------------------------------------------- exit codes


def test_strict_fails_on_a_bad_verdict_only(here: Path) -> None:
    unsafe = edited(here, "  bleeder: 82 kohm\n", "")
    lenient, strict = call("supply", unsafe), call("supply", unsafe, "--strict")
    assert (lenient.code, strict.code) == (0, 1)
    assert lenient.out == strict.out
    assert "X  BAD       supply: no bleeder" in strict.out
    assert call("check", cut(str(unsafe), here, 1), "--strict", "--no-plots").code == 1
    # the demo has a doubtful verdict or none, but no bad one
    assert call("supply", DEMO, "--strict").code == 0


BAD_INPUT = [
    (["check", "nowhere.yaml"], "nowhere.yaml: expected a readable YAML file that holds a build"),
    (["check", "."], "it is a folder"),
    (["loop", "binary.yaml"], "expected text in UTF-8"),
    (["hum", "empty.yaml"], "the file is empty"),
    (["supply", "list.yaml"], "list.yaml:1: "),
    (["check", DEMO, "--out", "binary.yaml"], "is a file"),
    (["check", DEMO, "--out", "binary.yaml/below"], "is a file; name a folder with --out"),
    (
        ["loop", DEMO, "--band", "11 m"],
        "no band '11 m' in this build; its bands: 160 m, 80 m, 40 m, 30 m, 20 m",
    ),
    (["audio", DEMO, "--band", ""], "no band '' in this build"),
    (["audio", DEMO, "--at", "140%"], "--at '140%': expected a setting of the control from 0% to 100%"),
    (["hum", DEMO, "--at", "-3 %"], "--at '-3 %': expected a setting of the control"),
    (["hum", DEMO, "--at", "45"], "it has no unit"),
    (["audio", DEMO, "--at", "45 V"], "--at '45 V': expected a setting of the control from 0% to 100%"),
    (["audio", DEMO, "--at", ""], "--at '': expected a setting"),
    (["deck", DEMO, "--dial", "7100"], "--dial '7100': expected a frequency from 10kHz to 300MHz"),
    (["deck", DEMO, "--dial", "7.1 mHz"], "did you mean '7.1 MHz'"),
    (["deck", DEMO, "--dial", "40 m"], "--dial '40 m': expected a frequency"),
    (["deck", DEMO, "--study", "noise"], "'noise' is not one of"),
    (["deck", DEMO, "--band", "no"], "no band 'no' in this build"),
    (["check", DEMO, "--time-limit", "5"], "--time-limit '5': expected a time from 1us to 1000min"),
    (["check", DEMO, "--workers", "0"], "--workers"),
    (["check"], "Missing argument 'BUILD'"),
    (["chekc", DEMO], "No such command"),
    (["new", "binary.yaml"], "binary.yaml exists already and is left as it is; give another name"),
    (["new", "."], "exists already"),
    (["new", "no-folder/set.yaml"], "no-folder/set.yaml: No such file or directory"),
]


@pytest.mark.parametrize(
    ("args", "fragment"), BAD_INPUT, ids=[" ".join(a).replace(str(BUILDS), "") for a, _ in BAD_INPUT]
)
def test_bad_input_is_told_and_nothing_is_written(here: Path, args: list[str], fragment: str) -> None:
    (here / "binary.yaml").write_bytes(bytes(random.Random(7).randrange(256) for _ in range(400)))
    (here / "empty.yaml").write_bytes(b"")
    (here / "list.yaml").write_text("- one\n- two\n")
    before = {path: path.read_bytes() for path in here.iterdir()}
    answer = call(*args)
    assert answer.code == 2
    assert answer.out == ""
    assert fragment in answer.err
    assert {path: path.read_bytes() for path in here.iterdir()} == before


def test_every_fault_of_a_build_is_told_with_its_line(here: Path) -> None:
    path = edited(here, "  volts: 190 V\n  resistance: 560 ohm", "  volts: 190\n  resistence: 560 ohm")
    answer = call("check", path)
    assert answer.code == 2
    lines = answer.err.splitlines()
    # a value without unit and a key that does not exist
    assert [line.split(": ")[1] for line in lines] == ["supply.volts", "supply.resistence"]
    text = path.read_text(encoding="utf-8").splitlines()
    for line, key in zip(lines, ("volts: 190", "resistence"), strict=True):
        number = int(re.match(rf"{re.escape(str(path))}:(\d+): ", line)[1])  # type: ignore[index]
        assert key in text[number - 1]
    assert any("nearest key 'resistance'" in line for line in lines)


def test_a_tube_in_the_wrong_socket(here: Path) -> None:
    answer = call("loop", edited(here, "tube: 6SJ7", "tube: 6J5"))
    assert answer.code == 2
    assert "detector.tube: value '6J5': expected a pentode or screen-grid tube" in answer.err


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="permissions do not bind this user")
def test_unreadable_and_unwritable(here: Path) -> None:
    secret = edited(here, "", "")
    secret.chmod(0)
    assert "ermission" in call("check", secret).err
    (here / "locked").mkdir(mode=0o500)
    answer = call("loop", DEMO, "--band", "40 m", "--out", "locked/results")
    assert answer.code == 4 and "no permission to write" in answer.err and "Selectivity" in answer.out


@pytest.mark.parametrize("verb", SIMULATING)
def test_a_failing_simulation_keeps_its_deck_and_names_it(here: Path, verb: str) -> None:
    """ngspice is given a tenth of a millisecond; a first load takes some 20 ms."""
    given = [DEMO, "--band", "40 m"] if verb != "check" else [cut(DEMO, here, 1), "--no-plots"]
    answer = call(verb, *given, "--time-limit", "100us")
    assert answer.code == 3
    assert "took longer than the limit of 0.0001 s" in " ".join(answer.err.split())
    (first, *_) = re.findall(r"the deck is kept in (\S+\.cir)", " ".join(answer.err.split()))
    deck = Path(first)
    assert deck.read_text(encoding="ascii").rstrip().endswith(".end")
    assert "Plate supplies" not in answer.err
    if verb == "check":
        assert deck.parent == Path("demo-results/failed")


def test_a_loop_gain_brings_no_scipy(here: Path) -> None:
    """Half a second of a cold start; the demo's coils are told by their figures and need none of it."""
    probe = (
        "import sys\nfrom receiver_sim.cli import main\n"
        f"try: main(['loop', {str(DEMO)!r}, '--band', '40 m', '--json'])\n"
        "except SystemExit as end: assert end.code == 0\n"
        "sys.exit(' '.join(m for m in ('scipy', 'matplotlib', 'pint') if m in sys.modules) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_help_loads_nothing_slow() -> None:
    """The structure behind the start-up time, which tests/benchmarks measures."""
    probe = (
        "import sys\nfrom receiver_sim.cli import main\n"
        "for args in (['--help'], ['check', '--help'], ['--version']):\n"
        "    try: main(args)\n    except SystemExit as end: assert end.code == 0\n"
        "heavy = {'numpy', 'scipy', 'matplotlib', 'pydantic', 'PySpice', 'rich', 'yaml', 'pint', 'jinja2'}\n"
        "sys.exit(' '.join(sorted(heavy & set(sys.modules))) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert all(len(line) <= WIDTH for line in done.stdout.splitlines())
    assert "Plate supplies kill" in done.stdout
    # a sentence cut off with dots helps nobody
    assert "..." not in done.stdout.split("Commands:")[1].split("Usage:")[0]


# ---------------------------------------------------------------------------- new


def test_new_writes_a_build_that_works_and_never_overwrites(here: Path) -> None:
    answer = call("new", "mine.yaml")
    assert answer.code == 0
    assert "receiver-sim check mine.yaml" in answer.out
    text = (here / "mine.yaml").read_bytes()
    # a set that works: with --strict no verdict is bad
    assert call("check", "mine.yaml", "--no-plots", "--strict").code == 0
    (here / "mine.yaml").write_bytes(b"# my own\n" + text)
    assert call("new", "mine.yaml").code == 2
    assert (here / "mine.yaml").read_bytes() == b"# my own\n" + text


# ---------------------------------------------------------------------------- decks in stock ngspice


def batch(place: Path, *args: str) -> tuple[list[str], list[list[float]]]:
    """Export a deck, run it with the ngspice program and return the headings and rows of what it printed."""
    path = place / "exported.cir"
    assert call("deck", *args, "-o", path).code == 0
    said = stock.said_of(path)
    heads: list[str] = []
    rows = []
    for line in said.splitlines():
        words = line.split()
        if words[:1] == ["Index"]:
            heads = words[1:]
        elif heads and words and re.fullmatch(r"\d+", words[0]) and len(words) == len(heads) + 1:
            rows.append([float(word) for word in words[1:]])
    assert rows, said
    return heads, rows


needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="the ngspice program is not installed"
)

# Batch ngspice prints six digits or more; the solver's own tolerance in the decks is 1e-6.
PRINTED = 5e-6


@needs_ngspice
@pytest.mark.parametrize("build", [DEMO, CABIN], ids=["demo", "cabin"])
def test_exported_bias_gives_the_meter_readings(here: Path, bench: Bench, build: str) -> None:
    found = api.supply(api.load_build(build), bench=bench).operating_points
    names = {"v(plate)": "detector plate", "v(scr)": "detector screen", "v(bplus)": "plate supply"}
    for point in (found[0], found[-1]):
        at = f"{100 * point.setting.rotation:.6f}%"
        heads, rows = batch(here, build, "--study", "bias", "--at", at)
        seen = dict(zip(heads, rows[0], strict=True))
        for vector, name in names.items():
            # the studies come to the setting from the one before it: within the solver's tolerance
            assert seen[vector] == pytest.approx(point.volts[name], rel=1e-5), name


@needs_ngspice
@pytest.mark.parametrize("build", [DEMO, CABIN], ids=["demo", "cabin"])
def test_exported_audio_gives_the_response(here: Path, bench: Bench, build: str) -> None:
    found = api.audio(api.load_build(build), rotation=0.37, bench=bench)
    _, rows = batch(here, build, "--study", "audio", "--at", "37%")
    assert len(rows) == len(found.outputs[0].frequency_hz)
    for index, output in enumerate(found.outputs):
        assert [row[0] for row in rows] == pytest.approx(list(output.frequency_hz), rel=PRINTED)
        assert [row[1 + index] for row in rows] == pytest.approx(list(output.gain), rel=1e-5)


@needs_ngspice
@pytest.mark.parametrize("build", [DEMO, CABIN], ids=["demo", "cabin"])
def test_exported_hum_gives_the_hum_of_the_heater(here: Path, bench: Bench, build: str) -> None:
    loaded = api.load_build(build)
    found = api.hum_study(loaded, rotation=0.37, bench=bench)
    _, rows = batch(here, build, "--study", "hum", "--at", "37%")
    volts = loaded.heater.volts
    for index, output in enumerate(found.outputs):
        mains = (output.at_build_v**2 - output.ripple_v**2) ** 0.5
        # six printed digits of each, and the difference of squares where ripple and heater hum are alike
        assert rows[0][1 + index] == pytest.approx(mains, rel=1e-4, abs=1e-9 * volts)


@needs_ngspice
@pytest.mark.parametrize("build", [DEMO, CABIN], ids=["demo", "cabin"])
def test_exported_loop_gives_the_loop_gain(here: Path, build: str) -> None:
    """README's T = (V - 1)/V of the printed V, against the probe of the studies in the shared library."""
    import numpy as np

    from receiver_sim.circuit.assemble import receiver_circuit
    from receiver_sim.measure.loaded import loaded as on_bench
    from receiver_sim.measure.loop_gain import Probe
    from receiver_sim.physics.return_ratio import zero_phase

    loaded = api.load_build(build)
    band = loaded.bands[1]
    dial = api.dial_frequencies(band)[1]
    cards = api.cards_for(loaded)
    _, rows = batch(here, build, "--band", band.name, "--at", "37%")
    volts = np.array([complex(row[1], row[2]) for row in rows])
    frequency, gain = zero_phase(np.array([row[0] for row in rows]), ratio=(volts - 1) / volts)
    circuit = receiver_circuit(loaded, cards, band=band, dial_hz=dial, rotation=0.37)
    with api.Bench(workers=1) as bench, on_bench(bench, circuit) as on:
        probe = Probe(on, band=band, dial_hz=dial)
        probe.tune(circuit.dialled(dial)["ctune"])
        run = on.session.ac(*probe.ends, 3, vectors=probe.vectors)
        sample = probe.read(run, circuit.control.share(0.37), reach=np.inf)
    assert sample is not None
    # six digits of V; 1 - 1/V keeps five of them where V is some tenths
    assert gain == pytest.approx(sample.gain, rel=5e-5)
    assert frequency == pytest.approx(sample.frequency, rel=1e-6)


# ---------------------------------------------------------------------------- odd input


def mutations() -> Iterator[bytes]:
    """Yield the demo with bytes of it changed, cut, doubled or joined by words that YAML or ngspice know."""
    dice = random.Random(20)
    text = Path(DEMO).read_bytes()
    spice = [
        b"\n.control\nshell id\n.endc\n",
        b"{{ 7*7 }}",
        b"!!python/object/apply:os.getcwd []",
        b"&a [*a]",
        b"\x00",
    ]
    odd = [
        b"1e999",
        b"-0 V",
        b"nan",
        b".inf",
        b"~",
        b"'",
        b"\t",
        b"\xe2\x98\x83",
        b"9" * 400,
        b"<<: *x",
        b"? ",
        *spice,
    ]
    for _ in range(60):
        at = dice.randrange(len(text))
        end = min(len(text), at + dice.randrange(40))
        kind = dice.randrange(3)
        if kind == 0:
            yield text[:at] + dice.choice(odd) + text[end:]
        elif kind == 1:
            yield text[:at] + text[end:]
        else:
            yield text[:end] + text[at:]


def test_mangled_builds_give_a_message_or_a_deck(here: Path) -> None:
    codes = []
    for number, text in enumerate(mutations()):
        path = here / f"odd-{number}.yaml"
        path.write_bytes(text)
        answer = call("deck", path)  # raises on anything but an orderly end
        codes.append(answer.code)
        assert answer.code in (0, 2)
        if answer.code == 2:
            assert answer.out == "" and answer.err.startswith((str(path), "receiver-sim: ", "note: "))
        else:
            assert not re.search(r"(?im)^\s*(\.control|shell\b)", answer.out)
    # both ends are met, or the mutations are no test
    assert {0, 2} == set(codes)


# ---------------------------------------------------------------------------- terminals and pipes


def environment(**extra: str) -> dict[str, str]:
    clean = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR", "PYTHONIOENCODING")}
    return {**clean, **extra}


def test_a_pipe_gets_plain_text_and_no_progress() -> None:
    done = subprocess.run(
        [*COMMAND, "loop", DEMO, "--band", "40 m", *ONE],
        capture_output=True,
        env=environment(TERM="xterm-256color"),
        check=True,
    )
    assert b"\x1b" not in done.stdout
    assert done.stderr == b""


def test_a_plain_ascii_locale_gets_ascii(here: Path) -> None:
    """LANG=C without Python's help: what the encoding lacks becomes a question mark, not a traceback."""
    path = edited(here, "title: Loft bench two-valve set", "title: Küchenradio ☃")
    ascii_only = environment(LC_ALL="C", LANG="C", PYTHONCOERCECLOCALE="0", PYTHONUTF8="0")
    for verb in ("supply", "deck"):
        done = subprocess.run([*COMMAND, verb, str(path)], capture_output=True, env=ascii_only, check=False)
        assert done.returncode == 0, done.stderr
        done.stdout.decode("ascii")
    faulty = edited(here, "name: magnetic headset", "name: 'Kopfhörer ☃'\n    Größe: 3", name="faulty.yaml")
    done = subprocess.run([*COMMAND, "supply", str(faulty)], capture_output=True, env=ascii_only, check=False)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr and b"phones[0]" in done.stderr


def test_a_reader_that_stops_early_sees_no_traceback() -> None:
    reader = subprocess.Popen([*COMMAND, "loop", DEMO, *ONE], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert reader.stdout is not None and reader.stderr is not None
    reader.stdout.close()
    complaint = reader.stderr.read()
    reader.stderr.close()
    reader.wait(timeout=120)
    assert b"Traceback" not in complaint and b"BUILD" not in complaint


def terminal(*args: str | Path, **extra: str) -> bytes:
    """Run under a terminal of 100 columns and return all that it was sent."""
    pty = pytest.importorskip("pty")
    import fcntl
    import struct
    import termios

    try:
        leader, follower = pty.openpty()
    except OSError as error:  # a bare root without /dev/pts
        pytest.skip(f"this system gives no pseudo-terminal: {error}")
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 100, 0, 0))
    program = subprocess.Popen(
        [*COMMAND, *args], stdout=follower, stderr=follower, env=environment(TERM="xterm-256color", **extra)
    )
    os.close(follower)
    seen = b""
    end = time.monotonic() + 120
    while time.monotonic() < end:
        if select.select([leader], [], [], 1.0)[0]:
            try:
                piece = os.read(leader, 65536)
            except OSError:  # Linux says so when the other end is closed
                break
            if not piece:
                break
            seen += piece
    os.close(leader)
    assert program.wait(timeout=10) == 0
    return seen


COLOUR = re.compile(rb"\x1b\[[0-9;]*3[0-7][0-9;]*m")


def test_a_terminal_gets_progress_and_colour_unless_refused(here: Path) -> None:
    seen = terminal("loop", cut(DEMO, here, 2), *ONE)
    assert b"onset" in seen and b"6/6" in seen and b"2/2" in seen
    assert COLOUR.search(seen)
    plain = terminal("loop", DEMO, "--band", "40 m", *ONE, NO_COLOR="1")
    assert not COLOUR.search(plain)
    # --json keeps a terminal free of bars too, so that a copied page is one document
    document = terminal("loop", DEMO, "--band", "40 m", "--json", *ONE)
    assert b"\x1b" not in document
    assert json.loads(document)["verb"] == "loop"
