"""YAML with places: lines of keys, the narrow scalar forms, bounds on size, and unreadable files."""

import os
import time

import pytest

from receiver_sim.data import folder
from receiver_sim.schema.faults import Fault, FileFaults, dotted, nearest, show
from receiver_sim.schema.located_yaml import MAX_BYTES, locate, read_located

TEXT = b"""\
a: 1
b:
  c: two words
  d: [x, {e: 5}]
# comment
f: |
  long
  text
"""


def test_lines_and_texts():
    located = locate(TEXT, "t.yaml")
    assert located.data == {"a": 1, "b": {"c": "two words", "d": ["x", {"e": 5}]}, "f": "long\ntext\n"}
    assert located.line(("b", "c")) == 3
    assert located.line(("b", "d", 1, "e")) == 4
    assert located.line(("f",)) == 6
    assert located.line(("b", "nowhere", "at all")) == 2
    assert located.text(("b", "d", 1, "e")) == "5"
    assert located.text(("b",)) is None


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("12", 12),
        ("-3", -3),
        ("0", 0),
        ("1.5", 1.5),
        ("2.", 2.0),
        ("1.0e-3", 1e-3),
        ("null", None),
        ("~", None),
        ("", None),
        ("true", True),
        ("false", False),
        ("'12'", "12"),
        ('"true"', "true"),
        # not numbers or truth values here, though YAML 1.1 has some of them so
        ("6E5", "6E5"),
        ("010", "010"),
        ("0x1F", "0x1F"),
        ("12:30", "12:30"),
        ("1_000", "1_000"),
        ("yes", "yes"),
        ("on", "on"),
        ("2001-12-14", "2001-12-14"),
        ("=", "="),
    ],
)
def test_plain_scalars(written, value):
    data = locate(f"k: {written}\n".encode(), "t.yaml").data["k"]
    assert data == value
    assert type(data) is type(value)


def test_an_alias_stands_for_its_anchor():
    located = locate(b"a: &x {p: 1}\nb: *x\n", "t.yaml")
    assert located.data == {"a": {"p": 1}, "b": {"p": 1}}
    assert located.line(("b",)) == 2
    assert located.line(("b", "p")) == 1  # where the text stands


def test_a_byte_order_mark_is_no_part_of_the_first_key():
    assert locate(b"\xef\xbb\xbfa: 1\n", "t.yaml").data == {"a": 1}


def test_the_alias_bomb_is_refused_before_it_grows():
    bomb = b"a: &a [x, x, x, x, x, x, x, x, x, x]\n" + b"".join(
        b"%c: &%c [%s]\n" % (n + 1, n + 1, b", ".join([b"*%c" % n] * 10)) for n in range(ord("a"), ord("p"))
    )
    start = time.perf_counter()
    with pytest.raises(FileFaults):
        locate(bomb, "t.yaml")
    assert time.perf_counter() - start < 2.0  # 10**16 values would take for ever


def test_a_file_above_the_limit_is_refused_unread():
    with pytest.raises(FileFaults) as caught:
        locate(b"#" * (MAX_BYTES + 1), "big.yaml")
    assert str(caught.value) == (
        "big.yaml: expected a file of at most 1 MiB; this one is no file for a build: check the name"
    )


def test_many_brackets_do_not_exhaust_the_stack():
    with pytest.raises(FileFaults) as caught:
        locate(b"a: " + b"[" * 100_000, "deep.yaml")
    assert str(caught.value) == "deep.yaml:1: expected at most 20 levels; remove needless brackets"


def test_files_that_cannot_be_read(tmp_path):
    absent = tmp_path / "absent.yaml"
    with pytest.raises(FileFaults) as caught:
        read_located(absent)
    assert str(caught.value) == (
        f"{absent}: expected a readable YAML file that holds a build; there is no such file: check the name"
    )
    with pytest.raises(FileFaults) as caught:
        read_located(tmp_path)
    assert (
        str(caught.value) == f"{tmp_path}: expected a readable YAML file that holds a build; it is a folder"
    )
    with pytest.raises(FileFaults):
        read_located("nul\0name.yaml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_does_not_hang(tmp_path):
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    with pytest.raises(FileFaults) as caught:
        read_located(pipe)
    assert str(caught.value).startswith(f"{pipe}: expected a readable YAML file")


def test_faults_are_sorted_by_line_and_named_once():
    late, early = Fault("f", 9, "a", "x"), Fault("f", 2, "b", "y", value="v", near="c", cure="z")
    error = FileFaults([late, early, late])
    assert error.faults == (early, late)
    assert str(error) == "f:2: b: value 'v': expected y; nearest key 'c'; z\nf:9: a: expected x"


def test_messages_show_no_control_characters():
    assert show("a\x1b[31m\nb\u202e") == "a\\x1b[31m\\nb\\u202e"
    assert len(show("x" * 500)) == 60
    assert dotted(("a", 0, "b\n")) == "a[0].b\\n"


def test_nearest_disregards_case():
    assert nearest("GRID_LEEK", ["grid_leak", "grid_capacitor"]) == "grid_leak"
    assert nearest("zebra", ["grid_leak"]) is None


@pytest.mark.parametrize("path", sorted(folder("models").glob("*.yaml"))[::9], ids=lambda p: p.stem)
def test_libyaml_reads_a_shipped_card_as_pyyaml_does(path):
    assert read_located(path, shipped=True) == read_located(path)
