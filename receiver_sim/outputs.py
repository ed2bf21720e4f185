"""Every file that the program leaves behind is written here: whole or not at all.

An output path is data. A file is replaced by a finished one, so that a reader finds the old content or the
new, never a part; a link is followed, and what it names is replaced; a device or a pipe is written to, never
replaced. The files of one run of a verb go to their folder together (`FileSet`).
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import secrets
import stat
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from receiver_sim.errors import OutputFailed

_PLAIN_NAME = re.compile(r"(failed/)?[A-Za-z0-9_-][A-Za-z0-9_.-]*\.(png|svg|cir)")
"""Names that a document may list as files of its run; nothing else is ever taken away."""

_PATIENCE_S = 5.0

_MOST_READ = 64_000_000
"""Bytes of the largest document that is looked into for such a list."""


def write(path: str | Path, content: bytes) -> Path:
    """Write `content` to `path` and return it; makes the folder if need be.

    A file that was there keeps its permissions. Raises OutputFailed; a file that was there is then as it was,
    and nothing is left behind.
    """
    place = Path(path)
    with _told(place):
        stream = _stream(place)
        if stream is None:
            draft = _Draft(place, content)
            draft.into_place()
            draft.settle()
            return place
        try:
            _write_all(stream, content)
        finally:
            os.close(stream)
    return place


def create(path: str | Path, content: bytes) -> Path:
    """Write `content` to a `path` where nothing is yet, and return it.

    Raises FileExistsError if anything is there, be it a link that leads nowhere; else as `write`.
    """
    place = Path(path)
    if os.path.lexists(place):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(place))
    with _told(place):
        draft = _Draft(place, content)
    try:
        draft.into_empty_place()
    except FileExistsError:
        raise
    except OSError as error:
        raise OutputFailed(place, error) from error
    return place


class FileSet:
    """The files of one run of a verb, which replace those of the run before: all of them or none.

    They are held in memory until `publish`. The document among them, `verb`.json, lists the others under
    'files'; those that the document found in the folder lists and this run doesn't make any more are taken
    away, and nothing else is. A file that the document of another verb lists stays: this run's gets the verb
    before its name.
    """

    def __init__(self, folder: str | Path, verb: str) -> None:
        self.folder = Path(folder)
        self.verb = verb.replace(" ", "-")
        self.document = f"{self.verb}.json"
        self._contents: dict[str, bytes] = {}
        self._before = _listed(self.folder / self.document)
        self._others: set[str] = set()
        with contextlib.suppress(OSError):  # no such folder yet
            for path in sorted(self.folder.glob("*.json")):
                self._others |= _listed(path) if path.name != self.document else set()

    def add(self, name: str, content: bytes) -> Path:
        """Add a file and return its path. Raises ValueError for a name that is taken or unfit."""
        if not _PLAIN_NAME.fullmatch(name):
            raise ValueError(f"'{name}' can't be the name of a file of a run")
        while name in self._others:
            name = f"{self.verb}-{name}"
        if name in self._contents:
            raise ValueError(f"two files of one run bear the name '{name}'")
        self._contents[name] = content
        return self.folder / name

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the files added so far."""
        return tuple(self._contents)

    def publish(self, document: bytes, kept: Sequence[str] = ()) -> Path:
        """Put the files and the document into the folder and return the document's path.

        kept: names that stay though they were not added here. Raises OutputFailed; all files are then as they
        were.
        """
        contents = {self.folder / name: content for name, content in self._contents.items()}
        contents[self.folder / self.document] = document
        drafts: list[_Draft] = []
        made = _missing(self.folder)
        try:
            with _alone(self.folder):
                streams = [path for path in contents if _is_stream(path)]
                for path, content in contents.items():
                    if path not in streams:
                        with _told(path):
                            drafts.append(_Draft(path, content))
                for draft in drafts:
                    with _told(draft.path):
                        draft.into_place()
                for path in streams:
                    write(path, contents[path])
                for name in self._before - set(self.names) - set(kept):
                    _take_away(self.folder, name)
        except BaseException:
            for draft in reversed(drafts):
                draft.undo()
            _give_back(made)
            raise
        for draft in drafts:
            draft.settle()
        return self.folder / self.document


def _listed(document: Path) -> set[str]:
    """Return the names that a document lists as files of its run; it is a file like any stranger's."""
    try:
        found = os.stat(document)
        if not stat.S_ISREG(found.st_mode) or found.st_size > _MOST_READ:
            return set()
        held: Any = json.loads(document.read_bytes())
    except (OSError, ValueError, RecursionError):
        return set()
    names = held.get("files") if isinstance(held, dict) else None
    if not isinstance(names, list):
        return set()
    return {name for name in names if isinstance(name, str) and _PLAIN_NAME.fullmatch(name)}


def _take_away(folder: Path, name: str) -> None:
    """Remove a file of an earlier run, and the folder 'failed' if it was the last in it."""
    path = folder / name
    with contextlib.suppress(OSError):
        if stat.S_ISREG(os.lstat(path).st_mode):
            path.unlink()
            if path.parent != folder:
                path.parent.rmdir()


class _Draft:
    """A finished file beside the place it is meant for; OSErrors pass through."""

    def __init__(self, path: Path, content: bytes) -> None:
        self.path = path
        self._target = Path(os.path.realpath(path))
        permissions = _permissions(self._target)
        self._replaces = permissions is not None
        self._placed = False
        self._made = _missing(self._target.parent)
        # in the same folder, as a rename between file systems is no rename; short, to fit where the name fits
        mark = f".receiver_sim-{os.getpid()}-{secrets.token_hex(6)}"
        self._file = self._target.with_name(f"{mark}.part")
        self._old = self._target.with_name(f"{mark}.old")
        try:
            self._target.parent.mkdir(parents=True, exist_ok=True)
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
            stream = os.open(self._file, flags, 0o666)
            try:
                _write_all(stream, content)
                if permissions is not None and hasattr(os, "fchmod"):
                    os.fchmod(stream, permissions)
                os.fsync(stream)  # some file systems tell only now that they are full
            finally:
                os.close(stream)
        except BaseException:
            self.undo()
            raise

    def into_place(self) -> None:
        """Replace what is there; until `settle` is called `undo` can bring it back."""
        try:
            if self._replaces:
                with contextlib.suppress(OSError):  # a file system without hard links
                    os.link(self._target, self._old)
            os.replace(self._file, self._target)
            self._placed = True
        except BaseException:
            self.undo()
            raise

    def into_empty_place(self) -> None:
        """Take the place; raises FileExistsError if something is there by now."""
        try:
            try:
                os.link(self._file, self._target)
            except FileExistsError:
                raise
            except OSError:  # a file system without hard links
                os.close(os.open(self._target, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
                os.replace(self._file, self._target)
                self._placed = True
        except BaseException:
            self.undo()
            raise
        with contextlib.suppress(OSError):
            self._file.unlink()

    def undo(self) -> None:
        """Leave everything as it was before."""
        with contextlib.suppress(OSError):
            if not self._placed:
                self._file.unlink()
            elif not self._replaces:
                self._target.unlink()
            elif self._old.exists():
                os.replace(self._old, self._target)
        self.settle()
        _give_back(self._made)

    def settle(self) -> None:
        """Forget what was replaced."""
        if self._replaces:
            with contextlib.suppress(OSError):
                self._old.unlink()


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system says into an error that names the output."""
    try:
        yield
    except OutputFailed:
        raise
    except OSError as error:
        raise OutputFailed(path, error) from error


def _permissions(target: Path) -> int | None:
    """Return the permissions of a file that is to be replaced, None if there is none."""
    try:
        mode = os.stat(target).st_mode
    except FileNotFoundError:
        return None
    if not os.access(target, os.W_OK):  # who made it read-only does not want it replaced
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    return stat.S_IMODE(mode)


def _is_stream(path: Path) -> bool:
    """Return whether what is at `path` (a link followed) is anything but a file."""
    try:
        return not stat.S_ISREG(os.stat(path).st_mode)
    except OSError:  # nothing there; what else may be wrong shows on writing
        return False


def _stream(path: Path) -> int | None:
    """Return a descriptor to write to if `path` is no file that can be replaced, else None."""
    try:
        found = os.stat(path)
    except FileNotFoundError:
        return None
    own = _own_stream(found)
    if own is not None:
        return own
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    flags = os.O_WRONLY | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)
    if not stat.S_ISREG(found.st_mode):
        return os.open(path, flags)
    try:  # the name of an open file, such as /dev/fd/3, need not lead to a file that still has a name
        named = os.path.samestat(found, os.stat(os.path.realpath(path)))
    except OSError:
        named = False
    return None if named else os.open(path, flags | os.O_TRUNC)


def _own_stream(found: os.stat_result) -> int | None:
    """Return a descriptor of our standard output or error if it is this very file, else None.

    Such as `/dev/stdout`, or the file that the shell has opened for it: what comes now goes behind what was
    printed so far.
    """
    for number, stream in ((1, sys.stdout), (2, sys.stderr)):
        with contextlib.suppress(OSError):  # closed
            if os.path.samestat(found, os.fstat(number)):
                if stream is not None:
                    stream.flush()
                return os.dup(number)
    return None


def _write_all(stream: int, content: bytes) -> None:
    rest = memoryview(content)
    while rest:
        rest = rest[os.write(stream, rest) :]


def _missing(folder: Path) -> list[Path]:
    """Return the folders that don't exist yet on the way to `folder`, the innermost first."""
    return [place for place in (folder, *folder.parents) if not os.path.lexists(place)]


def _give_back(folders: Sequence[Path]) -> None:
    """Take away folders that were made, unless something is in them."""
    for folder in folders:
        with contextlib.suppress(OSError):
            folder.rmdir()


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Make the folder and keep other runs from publishing into it meanwhile, where the system can."""
    with _told(folder):
        folder.mkdir(parents=True, exist_ok=True)
    try:
        import fcntl  # noqa: PLC0415 - not on every system
    except ImportError:
        yield
        return
    lock = None
    with contextlib.suppress(OSError):  # a file system without locks
        lock = os.open(folder, os.O_RDONLY)
        until = time.monotonic() + _PATIENCE_S
        while True:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:  # whoever holds it stands still
                    break
                time.sleep(0.05)
    try:
        yield
    finally:
        if lock is not None:
            os.close(lock)
