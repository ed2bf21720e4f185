"""Files written whole or not at all; links, devices, pipes, locked files and full disks."""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from receiver_sim import outputs
from receiver_sim.errors import OutputFailed, ReceiverSimError

posix = pytest.mark.skipif(os.name != "posix", reason="as on POSIX systems")
root = pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() != 0, reason="needs root")


def held(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_file_and_its_folders_are_made(tmp_path: Path) -> None:
    assert outputs.write(tmp_path / "new" / "folder" / "deck.cir", b"deck\n").read_bytes() == b"deck\n"
    assert held(tmp_path) == {"new/folder/deck.cir": b"deck\n"}


@posix
def test_permissions_are_the_users(tmp_path: Path) -> None:
    """A draft by tempfile would be its owner's only; a replaced file keeps what it had."""
    before = os.umask(0o027)
    try:
        path = outputs.write(tmp_path / "deck.cir", b"1")
        assert stat.S_IMODE(path.stat().st_mode) == 0o640
        path.chmod(0o604)
        outputs.write(path, b"2")
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o604


@posix
def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    target = tmp_path / "real" / "deck.cir"
    target.write_bytes(b"old")
    link = tmp_path / "link.cir"
    link.symlink_to(Path("real") / "deck.cir")
    (tmp_path / "chain.cir").symlink_to("link.cir")
    for name, text in (("link.cir", b"one"), ("chain.cir", b"two")):
        with target.open("rb") as reader:
            before = target.read_bytes()
            outputs.write(tmp_path / name, text)
            assert reader.read() == before  # replaced, not overwritten piece by piece
        assert target.read_bytes() == text and link.is_symlink()
    nowhere = tmp_path / "nowhere.cir"
    nowhere.symlink_to("real/fresh.cir")
    outputs.write(nowhere, b"new")
    assert nowhere.is_symlink() and (tmp_path / "real" / "fresh.cir").read_bytes() == b"new"
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(OutputFailed, match=r"loop could not be written: Too many levels of symbolic links$"):
        outputs.write(tmp_path / "loop", b"")
    assert sorted(os.listdir(tmp_path)) == ["chain.cir", "link.cir", "loop", "nowhere.cir", "real"]


@posix
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    seen: list[bytes] = []
    reader = threading.Thread(target=lambda: seen.append(pipe.read_bytes()))
    reader.start()
    content = bytes(range(256)) * 1000  # more than a pipe holds
    outputs.write(pipe, content)
    reader.join(timeout=20)
    assert seen == [content]
    assert stat.S_ISFIFO(os.lstat(pipe).st_mode)
    assert os.listdir(tmp_path) == ["pipe"]


@posix
@root
def test_a_device_is_written_to_and_stays_a_device(tmp_path: Path) -> None:
    """As root a plain file took the device's place."""
    for name, minor in (("null", 3), ("full", 7)):
        try:
            os.mknod(tmp_path / name, 0o666 | stat.S_IFCHR, os.makedev(1, minor))
        except OSError as error:
            pytest.skip(f"no device can be made here: {error}")
    try:
        outputs.write(tmp_path / "null", b"gone")
    except OutputFailed as error:
        if error.errno == 13:
            pytest.skip("this file system lets no device be opened")
        raise
    with pytest.raises(OutputFailed, match=r"full could not be written: No space left on device$"):
        outputs.write(tmp_path / "full", b"too much")
    for name, minor in (("null", 3), ("full", 7)):
        found = os.lstat(tmp_path / name)
        assert stat.S_ISCHR(found.st_mode) and os.minor(found.st_rdev) == minor
    assert sorted(os.listdir(tmp_path)) == ["full", "null"]


@posix
@pytest.mark.parametrize("name", ["/dev/stdout", "seen.txt", "/dev/fd/1"])
def test_the_file_that_takes_standard_output_is_not_replaced_under_it(tmp_path: Path, name: str) -> None:
    """`-o /dev/stdout > seen.txt` would part the file from what was printed before and after."""
    if not Path("/dev/stdout").exists():
        pytest.skip("no /dev/stdout here")
    code = (
        "import sys; from receiver_sim import outputs; print('before'); "
        f"outputs.write({name!r}, b'middle\\n'); print('after')"
    )
    with (tmp_path / "seen.txt").open("wb") as out:
        subprocess.run([sys.executable, "-c", code], stdout=out, cwd=tmp_path, check=True)
    assert held(tmp_path) == {"seen.txt": b"before\nmiddle\nafter\n"}
    piped = subprocess.run([sys.executable, "-c", code], stdout=subprocess.PIPE, cwd=tmp_path, check=True)
    assert piped.stdout == (b"before\nafter\n" if name == "seen.txt" else b"before\nmiddle\nafter\n")


@posix
def test_what_may_not_be_replaced(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputFailed, match=r"folder could not be written: Is a directory$"):
        outputs.write(tmp_path / "folder", b"")
    (tmp_path / "file").write_bytes(b"kept")
    with pytest.raises(OutputFailed, match=r"file/below could not be written: Not a directory$"):
        outputs.write(tmp_path / "file" / "below", b"")
    if os.getuid() != 0:  # root may write anything
        (tmp_path / "file").chmod(0o444)
        with pytest.raises(OutputFailed, match=r"file could not be written: Permission denied$"):
            outputs.write(tmp_path / "file", b"new")
    assert held(tmp_path) == {"file": b"kept"}


def test_the_error_is_one_of_ours_and_of_the_system() -> None:
    error = OutputFailed("a/b", OSError(28, "No space left on device"))
    assert isinstance(error, ReceiverSimError) and isinstance(error, OSError)
    assert (error.where, error.errno, str(error)) == (
        "a/b", 28, "a/b could not be written: No space left on device",
    )  # fmt: skip


def test_create_never_replaces(tmp_path: Path) -> None:
    path = outputs.create(tmp_path / "set.yaml", b"first")
    with pytest.raises(FileExistsError):
        outputs.create(path, b"second")
    assert held(tmp_path) == {"set.yaml": b"first"}
    if os.name == "posix":
        (tmp_path / "link.yaml").symlink_to("elsewhere.yaml")
        with pytest.raises(FileExistsError):
            outputs.create(tmp_path / "link.yaml", b"third")
        assert not (tmp_path / "elsewhere.yaml").exists()


# ---------------------------------------------------------------------------- a set of files


def publish(folder: Path, verb: str, contents: dict[str, bytes], kept: tuple[str, ...] = ()) -> list[str]:
    files = outputs.FileSet(folder, verb)
    names = [files.add(name, text).name for name, text in contents.items()]
    files.publish(json.dumps({"files": [*files.names, *kept]}).encode(), kept)
    return names


def test_a_run_takes_away_what_the_run_before_listed_and_nothing_else(tmp_path: Path) -> None:
    """Two runs into one folder mixed their plots."""
    publish(tmp_path, "onset", {"amplitude-40-m.png": b"1", "amplitude-80-m.png": b"2"})
    (tmp_path / "mine.png").write_bytes(b"my own")
    publish(tmp_path, "onset", {"amplitude-40-m.png": b"3"})
    found = held(tmp_path)
    assert json.loads(found.pop("onset.json")) == {"files": ["amplitude-40-m.png"]}
    assert found == {"amplitude-40-m.png": b"3", "mine.png": b"my own"}


def test_a_list_from_a_stranger_takes_nothing_away(tmp_path: Path) -> None:
    place = tmp_path / "results"
    place.mkdir()
    for path in (tmp_path / "above.png", place / "notes.txt", place / "x.png.bak"):
        path.write_bytes(b"precious")
    (place / "folder.png").mkdir()
    (place / "folder.png" / "in.png").write_bytes(b"precious")
    listed = [
        "../above.png",
        str(tmp_path / "above.png"),
        "notes.txt",
        "x.png.bak",
        "folder.png",
        "",
        7,
        None,
    ]
    for text in (json.dumps({"files": listed}), "[" * 100000, "\xff", '{"files": 3}', "[]"):
        (place / "onset.json").write_text(text, encoding="latin-1")
        publish(place, "onset", {})
        assert [p.read_bytes() for p in (tmp_path / "above.png", place / "notes.txt")] == [b"precious"] * 2
        assert (place / "x.png.bak").exists() and (place / "folder.png" / "in.png").exists()


def test_two_verbs_in_one_folder_keep_their_files(tmp_path: Path) -> None:
    assert publish(tmp_path, "check", {"loop-gain.png": b"check"}) == ["loop-gain.png"]
    assert publish(tmp_path, "loop", {"loop-gain.png": b"loop"}) == ["loop-loop-gain.png"]
    assert publish(tmp_path, "check", {"loop-gain.png": b"again"}) == ["loop-gain.png"]
    found = held(tmp_path)
    assert (found["loop-gain.png"], found["loop-loop-gain.png"]) == (b"again", b"loop")


def test_decks_kept_by_a_run_stay_with_it_and_go_with_it(tmp_path: Path) -> None:
    (tmp_path / "failed").mkdir()
    (tmp_path / "failed" / "a-1.cir").write_bytes(b"deck")
    publish(tmp_path, "check", {}, kept=("failed/a-1.cir",))
    publish(tmp_path, "check", {}, kept=("failed/a-1.cir",))
    assert set(held(tmp_path)) == {"check.json", "failed/a-1.cir"}
    publish(tmp_path, "check", {})
    assert sorted(os.listdir(tmp_path)) == ["check.json"]


def test_names_of_a_set(tmp_path: Path) -> None:
    files = outputs.FileSet(tmp_path, "check")
    files.add("a.png", b"")
    with pytest.raises(ValueError, match=r"^two files of one run bear the name 'a\.png'$"):
        files.add("a.png", b"")
    for name in ("../a.png", ".a.png", "a.json", "b/a.png", "a.png\n"):
        with pytest.raises(ValueError, match="can't be the name of a file of a run"):
            files.add(name, b"")


# ---------------------------------------------------------------------------- what fails half way


CALLS = ("open", "write", "fsync", "replace", "link", "fchmod")


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """Let the call of number `[0]` to the system fail while files are written; `[1]` counts them."""
    state = [0, 0]

    def made(name: str) -> object:
        real = getattr(os, name)

        def call(*args: object, **more: object) -> object:
            state[1] += 1
            if state[1] == state[0]:
                raise OSError(28, "No space left on device")
            return real(*args, **more)

        return call

    class Failing:
        def __getattr__(self, name: str) -> object:
            return made(name) if name in CALLS else getattr(os, name)

    monkeypatch.setattr(outputs, "os", Failing())
    yield state


@posix
def test_a_write_that_fails_at_any_call_leaves_the_old_file(tmp_path: Path, failing: list[int]) -> None:
    path = tmp_path / "deck.cir"
    for number in range(1, 20):
        path.write_bytes(b"old")
        failing[:] = [number, 0]
        try:
            outputs.write(path, b"new")
        except OutputFailed as error:
            assert str(error) == f"{path} could not be written: No space left on device"
            assert held(tmp_path) == {"deck.cir": b"old"}
        else:
            assert held(tmp_path) == {"deck.cir": b"new"}
            if failing[1] < number:
                break
    else:
        pytest.fail("the calls never came to an end")
    assert number >= 5  # open, write, fchmod, fsync, link, replace


@posix
def test_a_new_file_that_fails_at_any_call_leaves_nothing(tmp_path: Path, failing: list[int]) -> None:
    for number in range(1, 20):
        failing[:] = [number, 0]
        place = tmp_path / str(number)
        try:
            outputs.create(place / "below" / "set.yaml", b"text")
        except OutputFailed:
            assert os.listdir(tmp_path) == []
        else:
            assert held(place) == {"below/set.yaml": b"text"}
            shutil.rmtree(place)
            if failing[1] < number:
                break
    else:
        pytest.fail("the calls never came to an end")
    assert number >= 4


@posix
def test_a_set_that_fails_at_any_call_leaves_the_set_before(tmp_path: Path, failing: list[int]) -> None:
    """Not a plot of one run beside the document of another."""
    before = {"a.png": b"a1", "b.svg": b"b1"}
    after = {"a.png": b"a2", "c.png": b"c2"}
    failed = 0
    for number in range(1, 60):
        place = tmp_path / str(number)
        failing[:] = [0, 0]
        publish(place, "onset", before)
        old = held(place)
        failing[:] = [number, 0]
        try:
            publish(place, "onset", after)
        except OutputFailed:
            failed += 1
            assert held(place) == old, number
        else:
            assert {k: v for k, v in held(place).items() if k != "onset.json"} == after
            if failing[1] < number:
                break
    else:
        pytest.fail("the calls never came to an end")
    assert failed == 14  # of three files: open, write, fsync, replace, and fchmod of the two that were there
