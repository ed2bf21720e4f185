"""`setup.sh` on systems that lack something.

Each branch runs against a stand-in system: a PATH that holds nothing but the tools the script may count on,
and programs that write down how they were called.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parent.parent / "setup.sh"
TOOLS = ["sh", "env", "dirname", "cat", "cksum", "grep"]

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX sh")

# Answers the script's questions from files: is it new enough, has it venv, does the loader have the library.
PYTHON = """#!/bin/sh
case "$*" in
  *version_info*) test ! -e {0}/old ;;
  *ensurepip*) test -e {0}/has-venv ;;
  --version) echo 'Python 3.9.2' ;;
  -) cat >/dev/null; test -e {0}/has-library ;;
  '-m venv --clear'*) echo "venv" >>{0}/calls; exit 1 ;;
  *) exit 1 ;;
esac
"""


class System:
    """A folder that is the whole PATH, and the calls its programs got."""

    def __init__(self, folder: Path, script: Path) -> None:
        self.folder, self.script = folder, script
        self.environment = {"PATH": str(folder), "HOME": str(folder)}
        for tool in TOOLS:
            (folder / tool).symlink_to(shutil.which(tool) or tool)
        self.program("python3", PYTHON.format(folder))
        self.program("uname", "#!/bin/sh\necho Linux\n")
        self.program("id", "#!/bin/sh\necho 0\n")

    def program(self, name: str, text: str = "") -> None:
        """Put a program on the PATH; without a text, one that writes down its call and succeeds."""
        path = self.folder / name
        path.write_text(text or f'#!/bin/sh\necho "{name} $*" >>{self.folder}/calls\n', encoding="utf-8")
        path.chmod(0o755)

    def state(self, *names: str) -> None:
        """Set facts: 'old', 'has-venv', 'has-library'."""
        for name in names:
            (self.folder / name).touch()

    def run(self, *arguments: str) -> tuple[int, str]:
        """Run the script there; return the exit code and all it said."""
        shell = os.path.realpath(self.folder / "sh")
        done = subprocess.run(
            [shell, str(self.script), *arguments],
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        return done.returncode, done.stdout

    @property
    def calls(self) -> list[str]:
        """What the programs were called with, in order."""
        path = self.folder / "calls"
        return path.read_text(encoding="utf-8").splitlines() if path.exists() else []


@pytest.fixture
def system(tmp_path: Path) -> System:
    checkout = tmp_path / "a checkout"  # with a blank, as folders have
    checkout.mkdir()
    shutil.copy(SCRIPT, checkout)
    (checkout / "pyproject.toml").touch()
    folder = tmp_path / "bin"
    folder.mkdir()
    return System(folder, checkout / "setup.sh")


def installs(system: System, package: str, fact: str) -> Callable[[], None]:
    """Make apt-get 'install' bring a fact about."""
    return lambda: system.program(
        "apt-get",
        f'#!/bin/sh\necho "apt-get $*" >>{system.folder}/calls\n'
        f'case "$*" in *install*{package}*) cat </dev/null >{system.folder}/{fact} ;; esac\n',
    )


def test_no_command_prints_the_usage_and_is_bad_input(system: System) -> None:
    code, text = system.run()
    assert code == 2
    assert text.startswith("usage: ./setup.sh COMMAND")


def test_unknown_command(system: System) -> None:
    code, text = system.run("tset")
    assert code == 2
    assert text.startswith("setup: there is no command 'tset'.\nusage: ./setup.sh COMMAND")


def test_demo_takes_no_arguments(system: System) -> None:
    assert system.run("demo", "--json") == (2, "setup: 'demo' takes no arguments, got '--json'.\n")


def test_old_python(system: System) -> None:
    system.state("old")
    assert system.run("demo") == (
        1,
        "setup: Python 3.9.2 is too old; receiver_sim needs Python 3.10 or newer.\n"
        "       If a newer one is installed, name it: PYTHON=python3.12 ./setup.sh demo\n"
        "       Debian 12, Ubuntu 22.04 and later releases have it as python3.\n",
    )


def test_no_python(system: System) -> None:
    (system.folder / "python3").unlink()
    assert system.run("install") == (
        1,
        "setup: no 'python3' on this system.\n"
        "       Debian or Ubuntu: apt-get install python3      macOS: brew install python\n"
        "       If it has another name, name it: PYTHON=/path/to/python3 ./setup.sh install\n",
    )


def without_python(system: System) -> None:
    """Take Python away; apt-get install brings it."""
    (system.folder / "python3").rename(system.folder / "python3-to-come")
    system.program(
        "apt-get",
        f'#!/bin/sh\necho "apt-get $*" >>{system.folder}/calls\n'
        f"cd {system.folder}\n"
        f'case "$*" in *install*python3*) {shutil.which("mv")} python3-to-come python3 ;; esac\n',
    )


def test_no_python_on_debian_is_installed_with_the_rest(system: System) -> None:
    system.state("has-venv", "has-library")
    without_python(system)
    _, text = system.run("demo")
    assert text.startswith("setup: installing python3 libngspice0 python3-venv with apt-get\n")
    assert system.calls[1].endswith(" python3 libngspice0 python3-venv")
    assert system.calls[2:] == ["venv"]


def test_the_python_that_came_is_too_old(system: System) -> None:
    system.state("has-venv", "has-library", "old")
    without_python(system)
    code, text = system.run("demo")
    assert code == 1
    assert "setup: Python 3.9.2 is too old; receiver_sim needs Python 3.10 or newer.\n" in text


def test_a_python_asked_for_by_name_is_not_replaced(system: System) -> None:
    system.program("apt-get")
    system.environment["PYTHON"] = "python3.99"
    code, text = system.run("demo")
    assert code == 1
    assert text.startswith("setup: no 'python3.99' on this system.\n")
    assert system.calls == []


def test_root_on_debian_installs_only_what_is_missing(system: System) -> None:
    system.state("has-venv")
    installs(system, "libngspice0", "has-library")()
    _, text = system.run("demo")
    assert text.startswith("setup: installing libngspice0 with apt-get\n")
    assert system.calls == [
        "apt-get update -q",
        "apt-get install -y -q --no-install-recommends -o DPkg::Lock::Timeout=120 libngspice0",
        "venv",
    ]


def test_tests_need_the_batch_program_too(system: System) -> None:
    system.program("apt-get")
    system.run("test")
    assert system.calls[1].endswith(" libngspice0 python3-venv ngspice")


def test_nothing_missing_calls_no_package_manager(system: System) -> None:
    system.state("has-venv", "has-library")
    system.program("apt-get")
    system.run("demo")
    assert system.calls == ["venv"]


def test_user_goes_through_sudo(system: System) -> None:
    system.program("id", "#!/bin/sh\necho 1000\n")
    system.program("sudo")
    system.program("apt-get")
    system.run("demo")
    assert [call.split(" -")[0] for call in system.calls] == [
        "sudo env DEBIAN_FRONTEND=noninteractive apt-get update",
        "sudo env DEBIAN_FRONTEND=noninteractive apt-get install",
    ]


def test_user_without_sudo_is_told_what_to_ask_for(system: System) -> None:
    system.program("id", "#!/bin/sh\necho 1000\n")
    system.program("apt-get")
    assert system.run("demo") == (
        1,
        "setup: missing: libngspice0 python3-venv; installing needs root, and there is no sudo.\n"
        "       Let an administrator run: apt-get update && apt-get install -y libngspice0 python3-venv\n"
        "       then run ./setup.sh demo again.\n",
    )
    assert system.calls == []


def test_installed_but_not_for_this_python(system: System) -> None:
    system.program("apt-get")
    code, text = system.run("demo")
    assert code == 1
    assert "setup: installed, but 'python3' still misses: libngspice0 python3-venv\n" in text
    assert "PYTHON=/usr/bin/python3 ./setup.sh demo\n" in text


def test_failing_apt_stops_with_its_cure(system: System) -> None:
    system.program("apt-get", "#!/bin/sh\nexit 100\n")
    code, text = system.run("demo")
    assert code == 1
    assert "setup: apt-get could not install: libngspice0 python3-venv\n" in text


def test_linux_without_apt(system: System) -> None:
    code, text = system.run("demo")
    assert code == 1
    assert text.startswith(
        "setup: missing: libngspice0 python3-venv (Debian's names), "
        "and there is no apt-get to install them with.\n"
    )
    assert "Fedora: libngspice, ngspice; Arch: ngspice" in text


def test_mac_with_homebrew(system: System) -> None:
    system.program("uname", "#!/bin/sh\necho Darwin\n")
    system.program("brew")
    system.run("test")
    assert system.calls == ["brew install libngspice python ngspice"]


def test_mac_without_homebrew(system: System) -> None:
    system.program("uname", "#!/bin/sh\necho Darwin\n")
    code, text = system.run("demo")
    assert code == 1
    assert "       Install Homebrew, then: brew install libngspice ngspice python\n" in text


def test_other_system(system: System) -> None:
    system.program("uname", "#!/bin/sh\necho MINGW64_NT\n")
    code, text = system.run("demo")
    assert code == 1
    assert "this script cannot install them on MINGW64_NT.\n       On Windows run it inside WSL" in text
