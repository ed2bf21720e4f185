"""Every notebook runs from top to bottom in a fresh kernel; its own asserts hold the figures it states."""

import ast
import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
# A lesson needs neither files of this repository nor anything below the public functions.
PUBLIC = {"receiver_sim": {"api"}, "receiver_sim.views": {"plots"}}
OTHERS = {"numpy", "matplotlib.pyplot", "math", "dataclasses", "IPython.display", "ipywidgets"}


def code(notebook: nbformat.NotebookNode) -> list[str]:
    return [cell.source for cell in notebook.cells if cell.cell_type == "code"]


def test_there_is_a_first_lesson() -> None:
    assert [path.name for path in NOTEBOOKS if path.name.startswith("01")] == [
        "01_from_loop_gain_to_onset.ipynb"
    ]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_committed_without_outputs_and_for_any_python3_kernel(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.metadata.kernelspec.name == "python3"
    assert all(
        cell.outputs == [] and cell.execution_count is None for cell in notebook.cells if "outputs" in cell
    )


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_calls_the_public_functions_only(path: Path) -> None:
    for source in code(nbformat.read(path, as_version=4)):
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Import):
                assert {alias.name for alias in node.names} <= OTHERS
            elif isinstance(node, ast.ImportFrom):
                allowed = PUBLIC.get(node.module or "", set())
                assert node.module in OTHERS or {alias.name for alias in node.names} <= allowed
            elif isinstance(node, ast.Attribute):
                assert not node.attr.startswith("_"), node.attr


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_warns_before_the_first_figure(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    first_code = next(i for i, cell in enumerate(notebook.cells) if cell.cell_type == "code")
    before = " ".join(" ".join(cell.source.split()) for cell in notebook.cells[:first_code])
    assert "can kill" in before and "discharge" in before and "bleeder" in before


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_has_something_to_turn_to_hear_and_to_answer(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    sources = "\n".join(code(notebook))
    assert "ipywidgets.interact(" in sources
    assert "Audio(" in sources
    prose = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    assert any(word in prose for word in ("A question", "Exercise", "exercise"))
    assert any(word in prose + sources for word in ("Answer.", "Solution.", "Think first"))


def test_readme_lists_every_lesson() -> None:
    readme = (FOLDER.parent / "README.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `(\w+\.ipynb)` \|", readme, re.MULTILINE)
    assert listed == [path.name for path in NOTEBOOKS]


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_runs_from_top_to_bottom(path: Path, tmp_path: Path) -> None:
    """Run outside the repository: a lesson finds its build through the package. No cell may fail."""
    notebook = nbformat.read(path, as_version=4)
    asserts = [
        node
        for source in code(notebook)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Assert)
    ]
    assert len(asserts) >= 3, "a lesson proves what it states"
    # 60 s a cell: each takes one or two on a small machine
    client = NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}
    )
    client.execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    assert not [output for output in outputs if output.output_type == "error"]
    drawn = [output for output in outputs if "image/png" in output.get("data", {})]
    assert len(drawn) >= sum(source.count("plots.plot_") for source in code(notebook)) > 0, (
        "a plot is not shown"
    )
    # a warning in red on the projector is a fault, too
    assert not [output.text for output in outputs if output.get("name") == "stderr"]
