"""Names under which a changed build may be saved, on either side of each limit."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim.errors import WrongValue
from receiver_sim.live.saving import place_of, save


@pytest.mark.parametrize(
    "name",
    ["a.yaml", "a.yml", "my set-2_b.yaml", "1.5 V.yaml", "A.yaml", "x" * 80 + ".yaml", "a_.yaml", "a-.yaml"],
)
def test_a_plain_name_lies_in_the_folder_of_the_build(name: str, tmp_path: Path) -> None:
    assert place_of(tmp_path, name) == tmp_path / name


@pytest.mark.parametrize(
    "name",
    ["", ".yaml", "a", "a.json", "a.YAML", "a.yaml.sh", "-a.yaml", "_a.yaml", " a.yaml", "a .yaml",
     "a/b.yaml",
     "a\\b.yaml", "a:b.yaml", "../a.yaml", "a..b.yaml", "a.yaml\n", "a\n.yaml", "a\x00.yaml", "\u00e4.yaml",
     "~a.yaml", "x" * 81 + ".yaml", "a.yaml "],
)  # fmt: skip
def test_any_other_name_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(WrongValue) as raised:
        place_of(tmp_path, name)
    assert str(raised.value) == ("expected a plain file name such as 'my-set.yaml': letters, digits, - and _")


def test_no_folder_and_no_link_out_of_the_folder_is_written_to(tmp_path: Path) -> None:
    """A link within the folder is a file of it."""
    folder = tmp_path / "sets"
    folder.mkdir()
    outside, inside = tmp_path / "outside.yaml", folder / "inside.yaml"
    outside.write_text("theirs", encoding="utf-8")
    inside.write_text("mine", encoding="utf-8")
    (folder / "out.yaml").symlink_to(outside)
    (folder / "gone.yaml").symlink_to(tmp_path / "not there.yaml")
    (folder / "in.yaml").symlink_to(inside)
    (folder / "a.yaml").mkdir()
    for name in ("out.yaml", "gone.yaml", "a.yaml"):
        for replace in (False, True):
            with pytest.raises(WrongValue) as raised:
                save(folder, name, "t", replace=replace)
            assert str(raised.value) == f"'{name}' is no file of the build's folder: give another name"
    assert outside.read_text(encoding="utf-8") == "theirs" and not (tmp_path / "not there.yaml").exists()
    assert place_of(folder, "in.yaml") == folder / "in.yaml"


def test_what_is_there_stays_unless_it_is_to_be_replaced(tmp_path: Path) -> None:
    text = "title: \u00b5V and \u03a9\n"
    assert save(tmp_path, "a.yaml", text, replace=False) == tmp_path / "a.yaml"
    with pytest.raises(FileExistsError):
        save(tmp_path, "a.yaml", "other", replace=False)
    assert (tmp_path / "a.yaml").read_bytes() == text.encode("utf-8")
    save(tmp_path, "a.yaml", "other", replace=True)
    assert (tmp_path / "a.yaml").read_text(encoding="utf-8") == "other"
