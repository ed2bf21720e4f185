"""Where the program finds what it ships, and how runs take turns at one folder; nothing is simulated."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest

from receiver_sim import data, outputs
from receiver_sim.outputs import FileSet

fcntl = pytest.importorskip("fcntl")  # elsewhere runs do not wait for each other


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of an installed package, with nothing in it."""
    place = tmp_path / "site-packages" / "receiver_sim"
    place.mkdir(parents=True)
    monkeypatch.setattr(data, "_PACKAGE", place)
    return place


def found(name: str) -> Path:
    """Ask without what was found before."""
    return data.folder.__wrapped__(name)


@pytest.mark.parametrize("name", ["models", "netlists"])
def test_an_installed_program_takes_its_own_data_not_a_strangers_beside_it(package: Path, name: str) -> None:
    """Any package may leave a folder 'models' among those that are installed."""
    stranger, own = package.parent / name, package / "_data" / name
    stranger.mkdir()
    assert found(name) == stranger  # as in a source tree
    own.mkdir(parents=True)
    assert found(name) == own


def test_data_that_are_not_there_or_are_a_file_are_told(package: Path) -> None:
    (package.parent / "models").write_text("no folder\n", encoding="utf-8")
    with pytest.raises(FileNotFoundError) as missing:
        found("models")
    assert (
        str(missing.value) == "this installation of receiver_sim carries no 'models' folder; install it again"
    )


def publishing(folder: Path, done: threading.Event, words: str) -> threading.Thread:
    """Begin to publish a run into a folder; the event is set once it has."""

    def publish() -> None:
        files = FileSet(folder, "check")
        files.add("gain.png", words.encode())
        files.publish(json.dumps({"files": ["gain.png"], "run": words}).encode())
        done.set()

    thread = threading.Thread(target=publish, daemon=True)
    thread.start()
    return thread


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """Set as soon as somebody waits for the folder."""
    waited, pause = threading.Event(), threading.Event()

    def sleep(seconds: float) -> None:
        waited.set()
        pause.wait(seconds)

    monkeypatch.setattr(outputs.time, "sleep", sleep)
    return waited


def test_a_run_waits_until_another_has_published(tmp_path: Path, waits: threading.Event) -> None:
    """Else a folder were left with plots of one and the document of the other."""
    done = threading.Event()
    with outputs._alone(tmp_path):
        thread = publishing(tmp_path, done, "second")
        assert waits.wait(30.0), "it published beside another run"
        assert not done.is_set() and list(tmp_path.iterdir()) == []
    thread.join(30.0)
    assert done.is_set() and (tmp_path / "gain.png").read_bytes() == b"second"
    assert json.loads((tmp_path / "check.json").read_bytes())["run"] == "second"


def test_a_run_does_not_wait_for_ever(
    tmp_path: Path, waits: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever holds the folder past five seconds stands still."""
    clock = iter([0.0, 1.0, 4.9, 5.1])
    seen: list[float] = []
    done = threading.Event()
    with outputs._alone(tmp_path):
        monkeypatch.setattr(outputs.time, "monotonic", lambda: seen.append(next(clock)) or seen[-1])
        monkeypatch.setattr(outputs.time, "sleep", lambda _: None)
        files = FileSet(tmp_path, "check")
        files.publish(b"{}")
        done.set()
    assert seen == [0.0, 1.0, 4.9, 5.1] and (tmp_path / "check.json").exists()


def test_two_folders_do_not_wait_for_each_other(tmp_path: Path, waits: threading.Event) -> None:
    done = threading.Event()
    with outputs._alone(tmp_path / "one"):
        publishing(tmp_path / "other", done, "first").join(30.0)
    assert done.is_set() and not waits.is_set()


@pytest.mark.parametrize(
    ("name", "fits"),
    [
        ("gain.png", True), ("gain-40-m.svg", True), ("failed/a-1.cir", True), ("a_b.c.png", True),
        (".hidden.png", False), ("../gain.png", False), ("plots/gain.png", False), ("gain.json", False),
        ("failed/../a.cir", False), ("gain.png\n", False), ("", False), ("gain", False),
        ("failed/.a.cir", False),
    ],
)  # fmt: skip
def test_only_plain_names_are_files_of_a_run(tmp_path: Path, name: str, fits: bool) -> None:
    """What a document lists may be taken away by the next run: no name leads out of the folder."""
    (tmp_path / "check.json").write_text(json.dumps({"files": [name]}), encoding="utf-8")
    assert outputs._listed(tmp_path / "check.json") == ({name} if fits else set())
    files = FileSet(tmp_path, "check")
    if fits:
        assert files.add(name, b"") == tmp_path / name
        with pytest.raises(ValueError, match="two files of one run bear the name"):
            files.add(name, b"")
    else:
        with pytest.raises(ValueError, match="can't be the name of a file of a run"):
            files.add(name, b"")


def test_a_file_of_the_run_before_goes_unless_it_is_made_again_or_kept(tmp_path: Path) -> None:
    """And nothing that no document lists, nor a folder in the place of a file."""
    for name in ("old.png", "again.png", "kept.svg", "mine.png"):
        (tmp_path / name).write_bytes(b"before")
    (tmp_path / "folder.png").mkdir()
    (tmp_path / "failed").mkdir()
    (tmp_path / "failed" / "a.cir").write_bytes(b"* deck")
    listed = ["old.png", "again.png", "kept.svg", "folder.png", "failed/a.cir"]
    (tmp_path / "check.json").write_text(json.dumps({"files": listed}), encoding="utf-8")
    files = FileSet(tmp_path, "check")
    files.add("again.png", b"after")
    assert files.publish(b"{}", kept=("kept.svg",)) == tmp_path / "check.json"
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "again.png", "check.json", "folder.png", "kept.svg", "mine.png",
    ]  # fmt: skip
    assert (tmp_path / "again.png").read_bytes() == b"after"


def test_a_document_of_another_verb_keeps_its_files(tmp_path: Path) -> None:
    (tmp_path / "loop.json").write_text(json.dumps({"files": ["gain.png"]}), encoding="utf-8")
    (tmp_path / "gain.png").write_bytes(b"of loop")
    files = FileSet(tmp_path, "tubes curves")
    assert files.document == "tubes-curves.json"
    assert files.add("gain.png", b"of curves") == tmp_path / "tubes-curves-gain.png"
    files.publish(b"{}")
    assert (tmp_path / "gain.png").read_bytes() == b"of loop"


@pytest.mark.parametrize(
    "held", [b"[1]", b'{"files": "gain.png"}', b'{"files": [3, null]}', b"no json", b"\xff"]
)
def test_a_strangers_document_lists_nothing(tmp_path: Path, held: bytes) -> None:
    (tmp_path / "check.json").write_bytes(held)
    assert outputs._listed(tmp_path / "check.json") == set()


def test_what_can_not_be_published_leaves_everything_as_it_was(tmp_path: Path) -> None:
    """A folder stands where the document is to go: the plot that was there is back, and no draft remains."""
    (tmp_path / "gain.png").write_bytes(b"before")
    (tmp_path / "check.json").mkdir()
    files = FileSet(tmp_path, "check")
    files.add("gain.png", b"after")
    files.add("new.png", b"after")
    with pytest.raises(outputs.OutputFailed, match=r"check\.json could not be written"):
        files.publish(b"{}")
    assert (tmp_path / "gain.png").read_bytes() == b"before"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["check.json", "gain.png"]
