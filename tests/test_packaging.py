"""The wheel carries all it needs, imports stay light and one-way, no source names a machine's own folders."""

import ast
import importlib.metadata
import json
import os
import pkgutil
import re
import subprocess
import sys
import sysconfig
import venv
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

import receiver_sim

ROOT = Path(__file__).resolve().parent.parent
GPL3 = Path("/usr/share/common-licenses/GPL-3")  # Debian's own copy of the licence (package base-files)
# These may draw or simulate; every other part of the package must start without a plotting library.
HEAVY = {"engine", "studies", "views", "api"}
LIGHT = ["receiver_sim"] + [
    f"receiver_sim.{module.name}"
    for module in pkgutil.iter_modules(receiver_sim.__path__)
    if module.name not in HEAVY
]


def run(*command: str | Path, cwd: Path) -> str:
    """Run in a clean Python environment and return what it printed; its complaints are the failure's text."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "COV_"))}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def shipped(folder: str) -> set[str]:
    """Return the data files under a top-level folder or the package, relative to the source tree."""
    return {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel from this source tree, with the installed build back end, so without a network."""
    out = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out, ROOT, cwd=out)
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def fresh(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the wheel into a fresh virtual environment and return the environment's interpreter.

    The libraries it depends on are borrowed from the running environment by a path line, which does not bring
    along the source tree's editable installation; their list has a test of its own below.
    """
    home = tmp_path_factory.mktemp("fresh") / "env"
    venv.create(home, with_pip=False, symlinks=os.name != "nt")
    python = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps", "--no-index"]
    run(*pip, wheel, cwd=home)
    packages = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).strip()
    Path(packages, "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return python


def test_wheel_holds_every_module_card_and_template(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
    data = shipped("models") | shipped("netlists")
    assert held == shipped("receiver_sim") | {f"receiver_sim/_data/{name}" for name in data}


def test_wheel_names_its_licence_and_carries_it(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        (metadata,) = (name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        (licence,) = (name for name in archive.namelist() if name.endswith(".dist-info/licenses/LICENSE"))
        assert "License-Expression: GPL-3.0-or-later\n" in archive.read(metadata).decode("utf-8")
        assert archive.read(licence) == (ROOT / "LICENSE").read_bytes()


def test_licence_is_the_published_gpl3() -> None:
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert re.match(r"\s+GNU GENERAL PUBLIC LICENSE\n\s+Version 3, 29 June 2007\n", text)
    if GPL3.exists():
        assert text == GPL3.read_text(encoding="utf-8")


def test_wheel_in_a_fresh_environment_finds_its_cards_and_templates(fresh: Path, tmp_path: Path) -> None:
    script = (
        "import json, receiver_sim, receiver_sim.data as data\n"
        "files = {n: sorted(f.name for f in data.folder(n).iterdir()) for n in ('models', 'netlists')}\n"
        "print(json.dumps([receiver_sim.__file__, receiver_sim.__version__, files]))"
    )
    module, version, files = json.loads(run(fresh, "-c", script, cwd=tmp_path))
    assert Path(module).is_relative_to(fresh.parent.parent)
    assert version == importlib.metadata.version("receiver-sim") == receiver_sim.__version__
    for folder, names in files.items():
        assert names == sorted(path.name for path in (ROOT / folder).iterdir())


def test_every_module_of_the_wheel_can_be_imported(fresh: Path, tmp_path: Path) -> None:
    script = (
        "import importlib, pkgutil, receiver_sim\n"
        "for module in pkgutil.walk_packages(receiver_sim.__path__, 'receiver_sim.'):\n"
        "    if not module.name.endswith('__main__'):\n"
        "        print(importlib.import_module(module.name).__name__)"
    )
    names = run(fresh, "-c", script, cwd=tmp_path).split()
    assert {"receiver_sim.engine", "receiver_sim.physics", "receiver_sim.schema"} <= set(names)


@pytest.mark.parametrize("module", LIGHT)
def test_importing_brings_no_plotting_library_and_no_simulator(module: str, tmp_path: Path) -> None:
    script = f"import {module}, sys; print(*sorted(set(sys.modules) & {{'matplotlib', 'PySpice'}}))"
    assert run(sys.executable, "-c", script, cwd=tmp_path).split() == []


def test_import_contract() -> None:
    run(
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command as c; c(['--no-cache'])",
        cwd=ROOT,
    )


def imported_names() -> Iterator[tuple[str, str]]:
    """Yield (file, top-level name) for each absolute import in the package."""
    for path in sorted((ROOT / "receiver_sim").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names = [node.module or ""]
            else:
                continue
            for name in names:
                yield path.relative_to(ROOT).as_posix(), name.partition(".")[0]


def normal(distribution: str) -> str:
    """Return a distribution's name as the packaging standard (PEP 503) compares it."""
    return re.sub(r"[-_.]+", "-", distribution).lower()


def required_modules() -> set[str]:
    """Return the top-level import names that the declared dependencies themselves install."""
    requirements = importlib.metadata.requires("receiver-sim") or []
    names = {normal(re.split(r"[^\w.-]", line)[0]) for line in requirements if "extra ==" not in line}
    # pydantic requires exactly one version of its core, and its documentation imports from there.
    names |= {"pydantic-core"} if "pydantic" in names else set()
    files = [file for name in names for file in importlib.metadata.files(name) or []]
    return {file.parts[0].removesuffix(".py") for file in files if file.suffix == ".py"}


def test_every_import_is_a_declared_dependency() -> None:
    allowed = sys.stdlib_module_names | {"receiver_sim"} | required_modules()
    assert [f"{file}: {name}" for file, name in imported_names() if name not in allowed] == []


def test_no_path_of_one_machine_is_in_the_sources() -> None:
    # The character classes keep the pattern from finding itself here.
    pattern = re.compile(
        r"(?<![\w.-])/(?:(?:[w]ork|[r]oot|[m]nt|[U]sers)/|[o]pt/(?!homebrew|local)|[h]ome/(?!linuxbrew))"
    )
    folders = [".ci", "models", "netlists", "notebooks", "receiver_sim", "tests"]
    files = [path for folder in folders for path in (ROOT / folder).rglob("*")] + list(ROOT.glob("*.*"))
    found = []
    for path in files:
        if not path.is_file() or path.suffix in {".pyc", ".png", ".npz"}:
            continue
        text = path.read_text(
            encoding="utf-8", errors="replace"
        )  # some broken builds are not UTF-8 on purpose
        found += [f"{path.relative_to(ROOT)}: {hit.group()}" for hit in pattern.finditer(text)]
        if str(ROOT) in text:
            found.append(f"{path.relative_to(ROOT)}: names the folder it lies in")
    assert found == []
