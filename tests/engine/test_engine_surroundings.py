"""What lies around a worker must not act on it: start-up files, variables, a user the system doesn't know."""

import os
import pwd
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import receiver_sim

SOURCES = Path(receiver_sim.__file__).parents[1]

DIVIDER = """
from receiver_sim.engine import Bench, Deck
with Bench(1) as bench, bench.session(Deck("t", "V1 a 0 4\\nR1 a b 1k\\nR2 b 0 3k\\n")) as session:
    print(session.op()["b"][0])
"""

STRANGER = 54321
"""A user id that no system hands out."""


def divider(*before: str, cwd: Path, **more: object) -> subprocess.CompletedProcess[str]:
    """Run a divider whose answer is 3 V in a Python of its own, after the words of a command."""
    env = {**os.environ, "PYTHONPATH": str(SOURCES), **more.pop("env", {})}  # type: ignore[dict-item]
    return subprocess.run(
        [*before, sys.executable, "-c", DIVIDER],
        capture_output=True, text=True, timeout=120, check=False, cwd=cwd, env=env, **more,  # type: ignore[call-overload]
    )  # fmt: skip


def answered(done: subprocess.CompletedProcess[str]) -> None:
    assert (done.returncode, done.stderr) == (0, "")
    assert float(done.stdout) == pytest.approx(3.0, rel=1e-6)


def start_up(folder: Path, name: str) -> Path:
    """Write a start-up file into a folder that leaves a mark and changes the divider's answer."""
    seen = folder / f"seen-{name.strip('.')}"
    (folder / name).write_text(f"* found\nshell touch {seen}\nset temp=90\nset tnom=-80\n")
    return seen


def spoilt(folder: Path) -> list[Path]:
    return [start_up(folder, name) for name in (".spiceinit", "spinit", "spice.rc")]


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="user ids as on POSIX systems")
def test_start_up_file_in_the_home_of_the_passwd_entry_is_not_obeyed(tmp_path: Path) -> None:
    """ngspice looks for it there whatever HOME says: a stranger's file ran a command and changed figures.

    The home is the real one to every program: the entry is changed for a name space of this test only.
    """
    if shutil.which("unshare") is None:
        pytest.skip("no unshare on this system")
    home = tmp_path / "home"
    home.mkdir()
    marks = spoilt(home)
    flags = ["-m"] if os.getuid() == 0 else ["-r", "-m"]
    me = pwd.getpwuid(os.getuid()).pw_name if os.getuid() == 0 else "root"
    entries = [line.split(":") for line in Path("/etc/passwd").read_text().splitlines()]
    copy = tmp_path / "passwd"
    copy.write_text(
        "".join(":".join([*e[:5], str(home) if e[0] == me else e[5], *e[6:]]) + "\n" for e in entries)
    )
    inside = ["unshare", *flags, "sh", "-c", 'mount --bind "$0" /etc/passwd && exec "$@"', str(copy)]
    ask = "import os, pwd; print(pwd.getpwuid(os.getuid()).pw_dir)"
    probe = subprocess.run([*inside, sys.executable, "-c", ask], capture_output=True, text=True, check=False)
    if probe.returncode:
        pytest.skip(f"no private name space for a test here: {probe.stderr.strip()}")
    assert probe.stdout.strip() == str(home)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    answered(divider(*inside, cwd=elsewhere, env={"HOME": str(elsewhere)}))
    assert [mark.name for mark in marks if mark.exists()] == []


@pytest.mark.parametrize("variable", ["SPICE_SCRIPTS", "SPICE_LIB_DIR", "HOME", "NGSPICE_INPUT_DIR"])
def test_variables_lead_ngspice_to_no_file(tmp_path: Path, variable: str) -> None:
    marks = spoilt(tmp_path)
    (tmp_path / "scripts").mkdir()
    marks += spoilt(tmp_path / "scripts")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    answered(divider(cwd=elsewhere, env={variable: str(tmp_path)}))
    assert [str(mark) for mark in marks if mark.exists()] == []


@pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() != 0, reason="only root can take another id")
def test_user_id_without_an_entry(tmp_path: Path) -> None:
    """A container run with a bare number: ngspice took the missing entry for one, signal 11."""
    with pytest.raises(KeyError):
        pwd.getpwuid(STRANGER)
    if shutil.which("setpriv") is None:
        pytest.skip("no setpriv on this system")
    may_read = "+dac_override,+dac_read_search"  # the folders of root may hold this very Python
    change = ["--reuid", str(STRANGER), "--regid", str(STRANGER), "--clear-groups"]
    other = ["setpriv", *change, "--inh-caps", may_read, "--ambient-caps", may_read]
    ask = "import os; print(os.getuid(), os.geteuid())"
    probe = subprocess.run([*other, sys.executable, "-c", ask], capture_output=True, text=True, check=False)
    if probe.returncode:
        pytest.skip(f"no change of the user id here: {probe.stderr.strip()}")
    assert probe.stdout.split() == [str(STRANGER)] * 2
    answered(divider(*other, cwd=tmp_path))
    answered(divider(*other, "env", "-u", "HOME", cwd=tmp_path))
