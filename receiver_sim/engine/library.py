"""Where the ngspice shared library lies on this system, without any setting by the user."""

import ctypes.util
import glob
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from receiver_sim.engine.errors import EngineMissing

MINIMUM_VERSION = 36
"""Oldest ngspice this project works with."""

NAMED_BY = "NGSPICE_LIBRARY_PATH"
"""Environment variable that names the library; the only one of ngspice's that is obeyed."""

HOW_TO_INSTALL = (
    "install it with: Debian or Ubuntu: apt install libngspice0; Fedora: dnf install libngspice; "
    "Arch: pacman -S ngspice; macOS with Homebrew: brew install libngspice; "
    "Windows: the ngspice shared DLL (the '_dll_64' archive of the ngspice project) unpacked to "
    "C:\\Program Files\\Spice64_dll; or name the file in NGSPICE_LIBRARY_PATH"
)

_LINUX_FOLDERS = (
    "/usr/lib/*-linux-gnu*",  # Debian and Ubuntu multiarch
    "/usr/lib64",  # Fedora
    "/usr/lib",  # Arch
    "/usr/local/lib",
    "/usr/local/lib64",
    "/lib/*-linux-gnu*",
    "/home/linuxbrew/.linuxbrew/lib",
)
_MAC_FOLDERS = (
    "/opt/homebrew/lib",  # Homebrew on Apple silicon
    "/opt/homebrew/opt/libngspice/lib",
    "/usr/local/lib",  # Homebrew on Intel
    "/usr/local/opt/libngspice/lib",
    "/opt/local/lib",  # MacPorts
)
_WINDOWS_PATTERNS = (
    "{ProgramFiles}\\Spice64_dll\\dll-vs\\ngspice.dll",
    "{ProgramFiles}\\Spice64\\bin\\ngspice.dll",
    "{ProgramFiles}\\ngspice*\\bin\\ngspice.dll",
    "{SystemDrive}\\Spice64_dll\\dll-vs\\ngspice.dll",
    "{SystemDrive}\\Spice64\\bin\\ngspice.dll",
)


def _patterns(platform: str) -> Iterator[str]:
    """Yield glob patterns of the usual places, best first."""
    prefixes = [p for p in (os.environ.get("CONDA_PREFIX"), sys.prefix) if p]
    if platform == "win32":
        names = ("ngspice.dll", "libngspice-0.dll", "ngspice-0.dll")
        for prefix in prefixes:
            yield from (os.path.join(prefix, "Library", "bin", name) for name in names)
        drive = {
            "ProgramFiles": os.environ.get("PROGRAMFILES", "C:\\Program Files"),
            "SystemDrive": os.environ.get("SYSTEMDRIVE", "C:"),
        }
        yield from (pattern.format(**drive) for pattern in _WINDOWS_PATTERNS)
        for folder in os.environ.get("PATH", "").split(os.pathsep):
            yield from (os.path.join(folder, name) for name in names if folder)
        return
    folders, endings = (
        (_MAC_FOLDERS, ("libngspice.0.dylib", "libngspice.dylib"))
        if platform == "darwin"
        else (_LINUX_FOLDERS, ("libngspice.so.0", "libngspice.so"))
    )
    for folder in (*(os.path.join(prefix, "lib") for prefix in prefixes), *folders):
        for ending in endings:
            yield os.path.join(folder, ending)


def find(platform: str = sys.platform) -> str:
    """Return what to hand to the dynamic loader: a path, or a bare name that the loader knows.

    `NGSPICE_LIBRARY_PATH` comes first; if it is set, nothing else is tried, so that a mistake in it shows.
    Raises EngineMissing, whose message names the package to install.
    """
    named = os.environ.get(NAMED_BY)
    if named:
        path = Path(named).expanduser()
        if path.is_file():
            return str(path.resolve())
        raise EngineMissing(
            f"NGSPICE_LIBRARY_PATH is '{named}', but there is no such file; correct it, or unset it to let "
            "the usual places be searched"
        )
    for pattern in _patterns(platform):
        for path_text in sorted(glob.glob(pattern)):
            if os.path.isfile(path_text):
                return path_text
    known = ctypes.util.find_library("ngspice")
    if known:
        return known
    raise EngineMissing(f"the ngspice shared library was not found; {HOW_TO_INSTALL}")


def check_version(version: int | None, path: str) -> int:
    """Return `version` if it is new enough, else raise EngineMissing."""
    if version is None:
        raise EngineMissing(f"{path} does not say which ngspice it is; {HOW_TO_INSTALL}")
    if version < MINIMUM_VERSION:
        raise EngineMissing(
            f"{path} is ngspice {version}; version {MINIMUM_VERSION} or newer is needed; {HOW_TO_INSTALL}"
        )
    return version
