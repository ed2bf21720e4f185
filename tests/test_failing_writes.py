"""Each verb that writes files, with each of its writes failing in turn; odd places as outputs; full disks.

What is computed is computed once a verb, on a set of one coil; the runs after it print and write it again.
Pictures are drawn once, too: nothing here looks into them.
"""

from __future__ import annotations

import functools
import os
import re
import shutil
import stat
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api, outputs
from receiver_sim.cli import common as cli_common
from receiver_sim.data import folder
from receiver_sim.outputs import FileSet
from receiver_sim.views.plots import saving
from tests.helpers.lending import cut, lending
from tests.test_cli import COMMAND, Answer, call
from tests.test_cli import DEMO as FULL_DEMO

pytestmark = pytest.mark.skipif(os.name != "posix", reason="as on POSIX systems")

_PLACE = tempfile.TemporaryDirectory(prefix="one-coil-")
DEMO = str(cut(FULL_DEMO, Path(_PLACE.name), 1))
SILENT = Path(_PLACE.name) / "silent.yaml"
"""The same with so little tap that it does not oscillate: no beat notes, which take runs over time."""
SILENT.write_text(re.sub(r"tap: [\d.]+ %", "tap: 0.5 %", Path(DEMO).read_text("utf-8")), "utf-8")
BAND = ("--band", "160 m")
LISTEN = ("listen", DEMO, *BAND, "--carrier", "30uV@700Hz", "--seconds", "100ms", "-o", "out/heard.wav")
VERBS: dict[str, tuple[str, ...]] = {
    "check": ("check", DEMO, "--out", "out"),
    "loop": ("loop", DEMO, *BAND, "--out", "out"),
    "audio": ("audio", DEMO, *BAND, "--out", "out"),
    "hum": ("hum", DEMO, *BAND, "--out", "out"),
    "supply": ("supply", DEMO, *BAND, "--out", "out"),
    "onset": ("onset", DEMO, *BAND, "--no-modes", "--out", "out"),
    "detect": ("detect", str(SILENT), *BAND, "--out", "out"),
    "coils": ("coils", DEMO, "--out", "out"),
    "swap": ("swap", DEMO, "--tubes", "6SK7", "--out", "out"),
    "listen": LISTEN,
    "deck": ("deck", DEMO, "-o", "out/deck.cir"),
    "tubes curves": ("tubes", "curves", "6SJ7", "--out", "out"),
    "tubes fit": ("tubes", "fit", "out/6J5.yaml", "--out", "out"),
}
COMPUTED = (
    (api, ("check", "loop", "provenance", "deck_text")),
    (api, ("audio_in_depth", "hum_in_depth", "supply_in_depth")),
    (api, ("onset", "detect", "listen")),
    (api, ("coils",)),
    (api, ("swap_tubes",)),
    (api, ("curves", "fitted_tubes")),
)


@pytest.fixture(scope="module")
def once() -> Iterator[None]:
    """Let everything that is computed or drawn be so at its first call only; keyed by verb and name."""
    with lending(), pytest.MonkeyPatch.context() as patch:
        known: dict[Any, Any] = {}

        def kept(real: Callable[..., Any]) -> Callable[..., Any]:
            @functools.wraps(real)
            def again(*args: Any, **more: Any) -> Any:
                key = (real, _NOW[0])
                if key not in known:
                    known[key] = real(*args, **more)
                return known[key]

            return again

        for module, names in COMPUTED:
            for name in names:
                patch.setattr(module, name, kept(getattr(module, name)))
        patch.setattr(cli_common, "page", kept(cli_common.page))
        real_all = saving.save_all
        drawn: dict[str, dict[str, bytes]] = {}

        def save_all(drawings: Any, place: FileSet, *more: Any, title: str) -> tuple[Path, ...]:
            if _NOW[0] not in drawn:
                real_all(drawings, place, *more, title=title)
                drawn[_NOW[0]] = dict(place._contents)
                return ()
            return tuple(place.add(name, content) for name, content in drawn[_NOW[0]].items())

        for module in ("receiver_sim.views.plots", "receiver_sim.views.plots.saving"):
            patch.setattr(f"{module}.save_all", save_all)
        patch.setattr("receiver_sim.views.envelope_plots.save_all", save_all)
        yield


_NOW = [""]


def run(verb: str) -> Answer:
    _NOW[0] = verb
    return call(*VERBS[verb])


def held(place: Path) -> dict[str, bytes]:
    return {str(p.relative_to(place)): p.read_bytes() for p in sorted(place.rglob("*")) if p.is_file()}


def spoilt(place: Path) -> dict[str, bytes]:
    """Make files of an earlier run of the files in a folder, such that they can be told from new ones."""
    for path in place.rglob("*"):
        if path.suffix in (".yaml", ".json"):
            path.write_bytes(path.read_bytes() + b"\n")
        elif path.is_file():
            path.write_bytes(b"of an earlier run")
    return held(place)


class Failing:
    """The module os, one of whose calls for writing fails: that of number `at`; `seen` counts them."""

    names = ("open", "write", "fsync", "replace", "fchmod")

    def __init__(self) -> None:
        self.at = self.seen = 0

    def __getattr__(self, name: str) -> Any:
        real = getattr(os, name)
        if name not in self.names:
            return real

        def called(*args: Any, **more: Any) -> Any:
            # the lock on a folder is no write
            self.seen += not (name == "open" and args[1] == os.O_RDONLY)
            if self.seen == self.at:
                self.at = 0
                raise OSError(28, "No space left on device")
            return real(*args, **more)

        return called


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Failing:
    state = Failing()
    monkeypatch.setattr(outputs, "os", state)
    return state


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "out").mkdir()
    shutil.copy(folder("models") / "6J5.yaml", tmp_path / "out" / "6J5.yaml")
    return tmp_path


def without_rungs(page: str) -> str:
    """Return a page without the line on how ngspice went about it, which only what is computed anew has."""
    return re.sub(r"\n\nAnalyses by how their operating points[^\n]*(\n[^\n]+)*", "", page)


def without_names(page: str) -> str:
    """Return a page without what it says of written files."""
    return page.split("\nwritten to out", maxsplit=1)[0].rstrip()


@pytest.mark.slow
@pytest.mark.parametrize("verb", VERBS)
def test_every_write_of_every_verb_may_fail(once: None, here: Path, failing: Failing, verb: str) -> None:
    """The page is printed all the same, the path is named, the files of the run before are as they were."""
    first = run(verb)
    assert first.code == 0, first.err
    failing.seen = 0  # decks of searches that took another way may have been kept and forgotten
    good = run(verb)
    assert good.out == without_rungs(first.out)
    total = failing.seen
    assert total >= 4
    before = spoilt(here / "out")
    # a set of many files: its first and last calls, and some of those between, which are alike
    numbers = range(1, total + 1)
    some = [n for n in numbers if total < 50 or n <= 10 or n > total - 12 or n % 7 == 0]
    for number in some:
        failing.seen, failing.at = 0, number
        answer = run(verb)
        assert answer.code == 4, (number, answer.err)
        told = re.fullmatch(
            r"receiver-sim: (\S+) could not be written: No space left on device", _words(answer)
        )
        assert told is not None, (number, answer.err)
        assert told[1].split("/")[0] == "out"
        if verb == "deck":  # there is no page but the netlist
            assert answer.out.rstrip().endswith(".end")
        elif verb != "tubes fit":  # its card and its plots are written one after the other
            assert answer.out.startswith(without_names(good.out))
            assert held(here / "out") == before, number
        assert all(not name.endswith((".part", ".old")) for name in os.listdir("out"))
        if verb == "tubes fit":
            api.load_card(here / "out" / "6J5.yaml")
            spoilt(here / "out")


def _words(answer: Answer) -> str:
    lines = [line for line in answer.err.splitlines() if not line.startswith(("note: ", "      "))]
    return " ".join(" ".join(lines).split())


# ---------------------------------------------------------------------------- links, pipes, devices


def test_links_stay_links(once: None, here: Path) -> None:
    (here / "real").mkdir()
    shutil.move(here / "out" / "6J5.yaml", here / "real" / "card.yaml")
    places = {"deck.cir": "deck", "heard.wav": "listen", "6J5.yaml": "tubes fit", "loop.json": "loop"}
    for name in places:
        target = here / "real" / ("card.yaml" if name == "6J5.yaml" else name)
        (here / "out" / name).symlink_to(Path("..") / "real" / target.name)
    for name, verb in places.items():
        assert run(verb).code == 0
        assert (here / "out" / name).is_symlink()
    assert (here / "real" / "deck.cir").read_bytes().rstrip().endswith(b".end")
    assert (here / "real" / "heard.wav").read_bytes()[:4] == b"RIFF"
    assert b'"verb": "loop"' in (here / "real" / "loop.json").read_bytes()
    assert api.load_card(here / "real" / "card.yaml").fit is not None


def test_new_does_not_follow_a_link_that_leads_nowhere(here: Path) -> None:
    (here / "mine.yaml").symlink_to("elsewhere.yaml")
    answer = call("new", "mine.yaml")
    assert answer.code == 2 and "exists already" in answer.err
    assert not (here / "elsewhere.yaml").exists()


@pytest.mark.parametrize(
    ("verb", "name"), [("deck", "deck.cir"), ("listen", "heard.wav"), ("loop", "loop.json")]
)
def test_pipes_are_written_to(once: None, here: Path, verb: str, name: str) -> None:
    pipe = here / "out" / name
    os.mkfifo(pipe)
    seen: list[bytes] = []
    reader = threading.Thread(target=lambda: seen.append(pipe.read_bytes()), daemon=True)
    reader.start()
    assert run(verb).code == 0
    reader.join(timeout=60)
    start = {"deck": b"receiver", "listen": b"RIFF", "loop": b"{"}[verb]
    assert len(seen) == 1 and seen[0].startswith(start)
    assert stat.S_ISFIFO(os.lstat(pipe).st_mode)


@pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() != 0, reason="only root makes devices")
@pytest.mark.parametrize(
    ("verb", "name"), [("deck", "deck.cir"), ("listen", "heard.wav"), ("loop", "loop.json")]
)
def test_devices_are_written_to(once: None, here: Path, verb: str, name: str) -> None:
    """As root `-o` on a device put a plain file in its place."""
    device = here / "out" / name
    for minor, code in ((3, 0), (7, 4)):  # null takes all, full nothing
        try:
            os.mknod(device, 0o666 | stat.S_IFCHR, os.makedev(1, minor))
            device.open("wb").close()
        except OSError as error:
            pytest.skip(f"no device can be used here: {error}")
        assert run(verb).code == code
        found = os.lstat(device)
        assert stat.S_ISCHR(found.st_mode) and os.minor(found.st_rdev) == minor
        device.unlink()


# ---------------------------------------------------------------------------- disks


DISKS = {
    "full": ("size=64k", 'dd if=/dev/zero of="$0/rest" bs=1k count=64 2>/dev/null; true; '),
    "read-only": ("size=1m", 'mount -o remount,ro "$0"; '),
}


# a set of files, a single one, a new one and one that is rewritten on either disk
@pytest.mark.parametrize(
    ("verb", "disk"),
    [
        ("loop", "full"),
        ("listen", "read-only"),
        *((verb, disk) for verb in ("deck", "new", "tubes fit") for disk in DISKS),
        *(
            pytest.param(*both, marks=pytest.mark.long)
            for both in (("loop", "read-only"), ("listen", "full"))
        ),
    ],
)
def test_full_and_read_only_disks(tmp_path: Path, disk: str, verb: str) -> None:
    """A file system of the test's own, in a name space of its own."""
    if shutil.which("unshare") is None:
        pytest.skip("no unshare on this system")
    flags = ["-m"] if os.getuid() == 0 else ["-r", "-m"]
    size, after = DISKS[disk]
    mounted = tmp_path / "disk"
    mounted.mkdir()
    card = folder("models") / "6J5.yaml"
    shell = (
        f'mount -t tmpfs -o {size} none "$0" && mkdir "$0/out" && cp "{card}" "$0/out/" && cd "$0" && '
        f'{{ {after}}} && cp "$0/out/6J5.yaml" ../before && "$@"; code=$?; '
        'ls -A "$0/out" >../names; cp "$0/out/6J5.yaml" ../after; exit $code'
    )
    inside = ["unshare", *flags, "sh", "-c", shell, str(mounted)]
    probe = subprocess.run([*inside, "true"], capture_output=True, text=True, check=False)
    if probe.returncode:
        pytest.skip(f"no file system of its own for a test here: {probe.stderr.strip()}")
    args = ("new", "out/mine.yaml") if verb == "new" else VERBS[verb]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))}
    done = subprocess.run(
        [*inside, *COMMAND, *args], capture_output=True, text=True, check=False, env=env, timeout=300
    )
    assert done.returncode == 4, done.stderr
    reason = {"full": "No space left on device", "read-only": "Read-only file system"}[disk]
    words = " ".join(done.stderr.split())
    assert re.search(rf"receiver-sim: out\S* could not be written: {reason}", words), done.stderr
    assert "Traceback" not in done.stderr
    pages = {"loop": "Selectivity", "listen": "r.m.s.", "deck": ".end", "new": "", "tubes fit": "6J5"}
    assert pages[verb] in done.stdout
    assert (tmp_path / "names").read_text().split() == ["6J5.yaml"]
    assert (tmp_path / "after").read_bytes() == (tmp_path / "before").read_bytes()
