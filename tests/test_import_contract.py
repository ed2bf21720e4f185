"""Every rule of the import contract can fail: the package is copied, breached, and the contract is asked."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

LAYERS = "layers: data flows one way"
# contract, file that is breached, the import put at its end, what the report says of it
BREACHES = [
    (LAYERS, "errors", "outputs", "receiver_sim.errors -> receiver_sim.outputs"),
    (LAYERS, "physics/tank", "schema.bands", "receiver_sim.physics.tank -> receiver_sim.schema"),
    (LAYERS, "schema/formers", "engine.deck", "receiver_sim.schema.formers -> receiver_sim.engine.deck"),
    (LAYERS, "engine/library", "circuit.roles", "receiver_sim.engine.library -> receiver_sim.circuit.roles"),
    (LAYERS, "circuit/roles", "results.onset", "receiver_sim.circuit.roles -> receiver_sim.results.onset"),
    (LAYERS, "results/onset", "measure.loaded", "receiver_sim.results.onset -> receiver_sim.measure.loaded"),
    (LAYERS, "measure/tank", "receiver", "receiver_sim.measure.tank -> receiver_sim.receiver"),
    (LAYERS, "receiver", "studies.hum", "receiver_sim.receiver -> receiver_sim.studies.hum"),
    (LAYERS, "studies/hum", "judge.verdicts", "receiver_sim.studies.hum -> receiver_sim.judge.verdicts"),
    (
        LAYERS,
        "judge/verdicts",
        "design.dropper",
        "receiver_sim.judge.verdicts -> receiver_sim.design.dropper",
    ),
    (LAYERS, "design/dropper", "views.tables", "receiver_sim.design.dropper -> receiver_sim.views.tables"),
    (LAYERS, "views/export", "builds", "receiver_sim.views.export -> receiver_sim.builds"),
    (LAYERS, "failing_stages", "builds", "receiver_sim.failing_stages -> receiver_sim.builds"),
    (LAYERS, "failing_stages", "working", "receiver_sim.failing_stages -> receiver_sim.working"),
    (LAYERS, "working", "api", "receiver_sim.working -> receiver_sim.api"),
    (LAYERS, "api/_hum", "front", "receiver_sim.api._hum -> receiver_sim.front"),
    (LAYERS, "front", "cli", "receiver_sim.front -> receiver_sim.cli"),
    (LAYERS, "new_room/__init__", "errors", "- receiver_sim.new_room"),
    (
        "the engine knows no receiver",
        "engine/library",
        "circuit.roles",
        "receiver_sim.engine.library -> receiver_sim.circuit.roles",
    ),
    ("only the engine imports PySpice", "builds", "PySpice", "receiver_sim.builds -> PySpice"),
    ("only views draw", "results/onset", "matplotlib", "receiver_sim.results.onset -> matplotlib"),
    ("views never simulate", "views/sheet", "engine", "receiver_sim.views.sheet -> receiver_sim.engine"),
    (
        "studies never import each other",
        "studies/noise",
        "studies.hum",
        "receiver_sim.studies.noise -> receiver_sim.studies.hum",
    ),
    (
        "verbs of the command line share what is common, no more",
        "cli/tap",
        "cli.wind",
        "receiver_sim.cli.tap -> receiver_sim.cli.wind",
    ),
    (
        "verbs behind it do likewise",
        "api/_tap",
        "api._loop",
        "receiver_sim.api._tap -> receiver_sim.api._loop",
    ),
]


def copied(to: Path) -> Path:
    """Copy what the contract looks at into a folder."""
    shutil.copytree(ROOT / "receiver_sim", to / "receiver_sim", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", to)
    return to


def run(folder: Path, script: str) -> str:
    """Run Python on a copy and return what it printed on either stream."""
    environment = {**os.environ, "PYTHONPATH": str(folder)}
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the contract says of a copy with all breaches in it: contract -> its part of the report."""
    folder = copied(tmp_path_factory.mktemp("breached"))
    for _, file, target, _ in BREACHES:
        path = folder / "receiver_sim" / f"{file}.py"
        path.parent.mkdir(exist_ok=True)
        name = target if target in ("PySpice", "matplotlib") else f"receiver_sim.{target}"
        before = path.read_text(encoding="utf-8") if path.exists() else ""
        path.write_text(f"{before}\nimport {name}\n", encoding="utf-8")
    said = run(folder, "from importlinter.cli import lint_imports_command as c; c(['--no-cache'])")
    _, mark, broken = said.partition("Broken contracts")
    assert mark, said
    parts = re.split(r"^(.+)\n-+\n", broken, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize(("contract", "file", "target", "said"), BREACHES)
def test_a_breach_is_found(report: dict[str, str], contract: str, file: str, target: str, said: str) -> None:
    assert said in report[contract], report[contract]


def test_every_rule_is_breached_once(report: dict[str, str]) -> None:
    settings = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    stated = re.findall(r'\[\[tool\.importlinter\.contracts\]\]\nname = "(.+)"', settings)
    assert set(stated) == {breach[0] for breach in BREACHES} == set(report)


HEAVY = (
    "import receiver_sim, sys\n"
    "print(*sorted(set(sys.modules) & {'matplotlib', 'PySpice', 'numpy', 'scipy', 'pydantic'}))"
)


@pytest.mark.parametrize("heavy", ["matplotlib", "PySpice"])
def test_importing_the_package_is_seen_to_bring_what_it_must_not(heavy: str, tmp_path: Path) -> None:
    folder = copied(tmp_path)
    assert run(folder, HEAVY).split() == []
    home = folder / "receiver_sim" / "__init__.py"
    home.write_text(home.read_text(encoding="utf-8") + f"\nimport {heavy}\n", encoding="utf-8")
    assert heavy in run(folder, HEAVY).split()
