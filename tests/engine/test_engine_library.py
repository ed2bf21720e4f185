"""Finding and accepting the ngspice shared library."""

import ctypes
import ctypes.util
import glob

import pytest

from receiver_sim.engine import Bench, Deck, EngineMissing, library


@pytest.fixture
def bare(monkeypatch):
    """A system on which nothing is found unless the test puts it there."""
    for name in ("NGSPICE_LIBRARY_PATH", "CONDA_PREFIX", "PROGRAMFILES", "SYSTEMDRIVE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(ctypes.util, "find_library", lambda name: None)
    monkeypatch.setattr(library.sys, "prefix", "")
    for name in ("_LINUX_FOLDERS", "_MAC_FOLDERS", "_WINDOWS_PATTERNS"):
        monkeypatch.setattr(library, name, ())
    monkeypatch.setenv("PATH", "")
    return monkeypatch


def test_found_without_environment_variable(monkeypatch):
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    loaded = ctypes.CDLL(library.find())
    assert loaded.ngSpice_Init and loaded.ngSpice_Command


def test_environment_variable_comes_first(bare, tmp_path):
    named = tmp_path / "mine.so"
    named.touch()
    bare.setenv("NGSPICE_LIBRARY_PATH", str(named))
    assert library.find() == str(named)


def test_wrong_environment_variable_is_told_not_passed_over(bare):
    bare.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so")
    with pytest.raises(EngineMissing) as caught:
        library.find()
    assert str(caught.value) == (
        "NGSPICE_LIBRARY_PATH is '/nowhere/libngspice.so', but there is no such file; correct it, or "
        "unset it to let the usual places be searched"
    )


def test_missing_names_the_package_of_each_system(bare):
    with pytest.raises(EngineMissing) as caught:
        library.find()
    message = str(caught.value)
    assert message.startswith("the ngspice shared library was not found; install it with: ")
    for told in (
        "Debian or Ubuntu: apt install libngspice0",
        "Fedora: dnf install libngspice",
        "Arch: pacman -S ngspice",
        "Homebrew: brew install libngspice",
        "Windows: the ngspice shared DLL",
        "NGSPICE_LIBRARY_PATH",
    ):
        assert told in message


@pytest.mark.parametrize(
    ("platform", "folders", "file"),
    [
        ("linux", "_LINUX_FOLDERS", "lib/riscv64-linux-gnu/libngspice.so.0"),
        ("linux", "_LINUX_FOLDERS", "lib/riscv64-linux-gnu/libngspice.so"),
        ("darwin", "_MAC_FOLDERS", "lib/riscv64-linux-gnu/libngspice.0.dylib"),
        ("darwin", "_MAC_FOLDERS", "lib/riscv64-linux-gnu/libngspice.dylib"),
    ],
)
def test_usual_folders(bare, tmp_path, platform, folders, file):
    path = tmp_path / file
    path.parent.mkdir(parents=True)
    path.touch()
    bare.setattr(library, folders, (f"{tmp_path}/lib/*-linux-gnu*",))
    assert library.find(platform) == str(path)


@pytest.mark.parametrize(
    ("platform", "file"),
    [
        ("linux", "lib/libngspice.so.0"),
        ("darwin", "lib/libngspice.dylib"),
        ("win32", "Library/bin/ngspice.dll"),
    ],
)
def test_conda_prefix(bare, tmp_path, platform, file):
    path = tmp_path / file
    path.parent.mkdir(parents=True)
    path.touch()
    bare.setenv("CONDA_PREFIX", str(tmp_path))
    assert library.find(platform) == str(path)


def test_windows_path_and_program_files(bare, tmp_path):
    (tmp_path / "ngspice.dll").touch()
    bare.setenv("PATH", str(tmp_path))
    assert library.find("win32") == str(tmp_path / "ngspice.dll")
    bare.undo()
    bare.setenv("PROGRAMFILES", "D:\\Programs")
    assert "D:\\Programs\\Spice64_dll\\dll-vs\\ngspice.dll" in list(library._patterns("win32"))


def test_loader_is_asked_last(bare):
    bare.setattr(ctypes.util, "find_library", lambda name: f"lib{name}.so.0")
    bare.setattr(glob, "glob", lambda pattern: [])
    assert library.find("linux") == "libngspice.so.0"


def test_old_or_silent_versions_are_refused():
    assert library.check_version(36, "x.so") == 36
    with pytest.raises(
        EngineMissing, match=r"^x\.so is ngspice 35; version 36 or newer is needed; install it"
    ):
        library.check_version(35, "x.so")
    with pytest.raises(EngineMissing, match=r"^x\.so does not say which ngspice it is; install it"):
        library.check_version(None, "x.so")


def test_file_that_is_no_library(monkeypatch, tmp_path):
    wrong = tmp_path / "libngspice.so.0"
    wrong.write_text("not a library")
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(wrong))
    with Bench(1) as bench, pytest.raises(EngineMissing) as caught, bench.session(Deck("t", "R1 a 0 1")):
        pass
    assert str(caught.value).startswith(f"{wrong} cannot be loaded: ")
    assert "libngspice0" in str(caught.value)
