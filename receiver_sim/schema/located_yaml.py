"""YAML from a stranger to plain data with the line of every key; duplicate keys, tags and bombs are faults.

Built on PyYAML's event stream rather than its composer: depth and size are bounded before anything is built,
and an explicit tag can be distinguished from an implied one. Plain scalars become null, booleans and numbers
by the narrow forms of YAML 1.2 (no 'yes', no sexagesimal or octal numbers, and '6E5' stays
the name of a tube).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from receiver_sim.schema.faults import Fault, FileFaults, KeyPath, dotted

MAX_BYTES = 1 << 20
MAX_DEPTH = 20
MAX_NODES = 20_000  # after aliases are expanded

_INT = re.compile(r"[-+]?(?:0|[1-9][0-9]{0,17})")
_FLOAT = re.compile(r"[-+]?[0-9]+\.[0-9]*(?:[eE][-+]?[0-9]{1,3})?")
_WORDS: dict[str, Any] = {"": None, "~": None, "null": None, "true": True, "false": False}
_SWALLOWED = re.compile(r"[ \t]*(#[0-9]{1,3}\b[^\n]{0,20})")
_SPECIAL = {".inf": "inf", "+.inf": "inf", "-.inf": "-inf", ".nan": "nan"}


@dataclass(frozen=True)
class Located:
    """Plain data of one file with the place of each key.

    `file` is the name that messages show; `lines` maps key paths to lines (from 1), `texts` to scalars as
    written; `faults` are those that did not stop the reading (duplicate keys, tags): raise them with your
    own; `whole` is all of its text.
    """

    file: str
    data: Any
    sha256: str
    lines: Mapping[KeyPath, int]
    texts: Mapping[KeyPath, str]
    faults: tuple[Fault, ...] = ()
    whole: str = ""

    def line(self, path: Sequence[str | int]) -> int:
        """Return the line of a key path, or that of its nearest parent that is in the file."""
        key = tuple(path)
        while key and key not in self.lines:
            key = key[:-1]
        return self.lines.get(key, 1)

    def text(self, path: Sequence[str | int]) -> str | None:
        """Return the scalar at a key path as it is written, or None for a mapping, a list or nothing."""
        return self.texts.get(tuple(path))

    def fault(
        self, path: Sequence[str | int], expected: str, *, missing: bool = False, near: str | None = None,
        cure: str | None = None,
    ) -> Fault:  # fmt: skip
        """Return a Fault at a key path, with its line and value filled in."""
        value = None if missing else self.text(path)
        return Fault(self.file, self.line(path), dotted(path), expected, value, missing, near, cure)


@dataclass
class _Node:
    kind: str  # scalar, mapping, list
    line: int
    value: Any = None
    text: str = ""
    keys: list[_Node] = field(default_factory=list)
    children: list[_Node] = field(default_factory=list)
    size: int = 1
    depth: int = 1


def read_located(
    path: str | Path, *, faults: type[FileFaults] = FileFaults, what: str = "a build", shipped: bool = False
) -> Located:
    """Read the YAML file at `path`, whose top must be a mapping.

    shipped: a file of this package, which is in order: read by libyaml where PyYAML has it, in a fifteenth of
    the time; what is wrong with a file is said in PyYAML's own words. Raises `faults` (a FileFaults class)
    for a file that cannot be read or is no YAML of ours; `what` names the kind of file in messages.
    """
    name, place = str(path), Path(path)
    whole = f"a readable YAML file that holds {what}"
    try:
        if not place.is_file():
            cure = "it is a folder" if place.is_dir() else "there is no such file: check the name"
            raise faults([Fault(name, 0, "", whole, cure=cure)])
        with place.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise faults([Fault(name, 0, "", whole, cure=f"it could not be read: {reason}")]) from None
    return locate(raw, name, faults=faults, what=what, shipped=shipped)


def locate(
    raw: bytes,
    file: str,
    *,
    faults: type[FileFaults] = FileFaults,
    what: str = "a build",
    shipped: bool = False,
) -> Located:
    """Turn the bytes of a YAML file into `Located`; `file` is the name for messages; shipped: as in
    `read_located`. Raises `faults`.
    """

    def stop(line: int, expected: str, cure: str) -> FileFaults:
        return faults([Fault(file, line, "", expected, cure=cure)])

    if len(raw) > MAX_BYTES:
        raise stop(0, "a file of at most 1 MiB", f"this one is no file for {what}: check the name")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise stop(line, "text in UTF-8", "save the file as UTF-8 in your editor") from None
    try:
        node, found = _Reader(file, stop).read(text, _QUICK if shipped else yaml.SafeLoader)
    except yaml.reader.ReaderError as error:
        code = error.character if isinstance(error.character, int) else ord(error.character)
        line = text[: error.position].count("\n") + 1
        raise stop(line, "printable text", f"remove the control character U+{code:04X}") from None
    except yaml.MarkedYAMLError as error:
        raise _syntax(error, text, stop) from None
    if node is None or node.kind != "mapping":
        got = "the file is empty" if node is None or (node.value is None and node.kind == "scalar") else (
            "the file holds a list" if node.kind == "list" else "the file holds a single value")  # fmt: skip
        raise stop(1, f"'key: value' lines that make up {what}", got)
    lines: dict[KeyPath, int] = {}
    texts: dict[KeyPath, str] = {}
    data = _plain(node, (), lines, texts, found, file)
    return Located(file, data, hashlib.sha256(raw).hexdigest(), lines, texts, tuple(found), text)


@lru_cache(maxsize=16)
def located_text(text: str, file: str, faults: type[FileFaults] = FileFaults) -> Located:
    """Return `locate` of a text, kept for whoever asks next: what is changed is read, checked and shown."""
    return locate(text.encode("utf-8", "surrogatepass"), file, faults=faults)


def _syntax(error: yaml.MarkedYAMLError, text: str, stop: Any) -> FileFaults:
    mark = error.problem_mark or error.context_mark
    line = mark.line + 1 if mark else 1
    lines = text.splitlines()
    here = lines[line - 1] if 0 < line <= len(lines) else ""
    if "\\t" in (error.problem or "") or "\t" in here[: len(here) - len(here.lstrip())]:
        fault: FileFaults = stop(line, "spaces for indentation", "replace the tab by spaces")
        return fault
    if error.context == "while scanning a quoted scalar" and error.context_mark:
        quote: FileFaults = stop(
            error.context_mark.line + 1, "a closing quote", "close the quote that opens here"
        )
        return quote
    said = error.problem or error.context
    cure = f"the reader says: {said}; check indentation, colons and quotes up to here"
    fault = stop(line, "well-formed YAML", cure)
    return fault


_QUICK: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Reader:
    """Builds a bounded tree of nodes from PyYAML's events."""

    def __init__(self, file: str, stop: Any) -> None:
        self.file = file
        self.stop = stop
        self.faults: list[Fault] = []
        self.anchors: dict[str, _Node] = {}
        self.open: list[tuple[_Node, str | None, list[_Node]]] = []
        self.total = 0
        self.top: _Node | None = None

    def read(self, text: str, loader: Any) -> tuple[_Node | None, list[Fault]]:
        documents = 0
        for event in yaml.parse(text, Loader=loader):
            line = event.start_mark.line + 1 if event.start_mark else 1
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise self.stop(line, "one YAML document", "remove the second '---'")
            elif isinstance(event, yaml.ScalarEvent):
                self._tag(event, line, event.value)
                quoted = bool(event.style)  # libyaml says "" of a plain one
                value = event.value if quoted else _resolve(event.value)
                if not quoted and not event.value:
                    self._comment(text, event, line)
                self._add(_Node("scalar", line, value, event.value), event.anchor)
            elif isinstance(event, yaml.MappingStartEvent | yaml.SequenceStartEvent):
                self._tag(event, line, None)
                kind = "mapping" if isinstance(event, yaml.MappingStartEvent) else "list"
                self.open.append((_Node(kind, line), event.anchor, []))
                if len(self.open) > MAX_DEPTH:
                    raise self.stop(line, f"at most {MAX_DEPTH} levels", "remove needless brackets")
            elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
                self._close()
            elif isinstance(event, yaml.AliasEvent):
                target = self.anchors.get(event.anchor or "")
                if target is None:
                    raise self.stop(line, f"an anchor '&{event.anchor}' above", "write the value out")
                self._add(target, None, line)
        return self.top, self.faults

    def _comment(self, text: str, event: yaml.ScalarEvent, line: int) -> None:
        """Report a value such as '#24' that the reader has taken for a comment."""
        found = _SWALLOWED.match(text, event.end_mark.index) if event.end_mark else None
        if found is not None:
            shown = found[1].strip()
            cure = f"a '#' begins a comment: put it in quotes, as '{shown}'"
            self.faults.append(Fault(self.file, line, "", "a value", shown, cure=cure))

    def _tag(self, event: Any, line: int, value: str | None) -> None:
        if event.tag is not None and event.tag != "!":  # '!' marks a plain string and is harmless
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            fault = Fault(self.file, line, "", "a plain value", value, cure=f"remove the tag '{tag}'")
            self.faults.append(fault)

    def _close(self) -> None:
        node, anchor, parts = self.open.pop()
        if node.kind == "mapping":
            node.keys, node.children = parts[0::2], parts[1::2]
        else:
            node.children = parts
        node.size = 1 + sum(part.size for part in parts)
        node.depth = 1 + max((part.depth for part in parts), default=0)
        self._add(node, anchor, count=1)

    def _add(
        self, node: _Node, anchor: str | None, line: int | None = None, count: int | None = None
    ) -> None:
        self.total += node.size if count is None else count
        line = line or node.line
        if self.total > MAX_NODES:
            raise self.stop(
                line, f"at most {MAX_NODES} values", "write it without nested anchors and aliases"
            )
        if len(self.open) + node.depth > MAX_DEPTH:
            raise self.stop(
                line, f"at most {MAX_DEPTH} levels", "write it without nested anchors and aliases"
            )
        if anchor is not None:
            self.anchors[anchor] = node
        if self.open:
            self.open[-1][2].append(node)
        else:
            self.top = node


def _resolve(text: str) -> Any:
    """Return the value of an unquoted scalar."""
    if text in _WORDS:
        return _WORDS[text]
    if _INT.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        return float(text)
    return float(_SPECIAL[text]) if text in _SPECIAL else text


def _plain(
    node: _Node,
    path: KeyPath,
    lines: dict[KeyPath, int],
    texts: dict[KeyPath, str],
    found: list[Fault],
    file: str,
) -> Any:
    """Return the data of a node; fills in the places of all keys below it and appends faults of its keys."""
    lines.setdefault(path, node.line)
    if node.kind == "scalar":
        texts[path] = node.text
        return node.value
    if node.kind == "list":
        return [_plain(child, (*path, i), lines, texts, found, file) for i, child in enumerate(node.children)]
    data: dict[str, Any] = {}
    for key, child in zip(node.keys, node.children, strict=True):
        if key.kind != "scalar":
            found.append(
                Fault(file, key.line, dotted(path), "a word before the colon", cure="write a plain key")
            )
            continue
        step = (*path, key.text)
        if key.text in data:
            first = lines[step]
            cure = f"remove this line or that on line {first}"
            found.append(Fault(file, key.line, dotted(step), "each key once", child.text or None, cure=cure))
            continue
        lines[step] = key.line
        data[key.text] = _plain(child, step, lines, texts, found, file)
    return data
