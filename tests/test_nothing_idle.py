"""What only tests use stands in tests: every function, class and constant of the package has a use in it."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import receiver_sim

PACKAGE = Path(receiver_sim.__file__).parent
OPEN = {"front.py", "__init__.py"}
"""Doors of the package, which others use."""


def words(tree: ast.AST) -> Counter[str]:
    """Names that a module uses: what it reads, imports, takes from an object, or holds as a word."""
    found: Counter[str] = Counter()
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found[node.id] += 1
        elif isinstance(node, ast.Attribute):
            found[node.attr] += 1
        elif isinstance(node, ast.ImportFrom):
            found.update(one.name for one in node.names if one.asname)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and len(node.value) < 2000:
            found.update(node.value.split())
    return found


def defined(tree: ast.Module) -> Iterable[tuple[str, ast.AST]]:
    """Functions, classes and constants of a module, and public methods of its classes, with what they hold.

    What a decorator takes (a verb, a form of a block, a check of pydantic) is used by that.
    """
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            yield node.targets[0].id, node
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.decorator_list:
            yield node.name, node
        if isinstance(node, ast.ClassDef):
            for one in node.body:
                if isinstance(one, ast.FunctionDef) and not one.name.startswith("_"):
                    yield one.name, one


def idle(sources: dict[str, str]) -> list[str]:
    """Names that nothing but their own definition uses."""
    trees = {name: ast.parse(text) for name, text in sources.items()}
    used: Counter[str] = Counter()
    for tree in trees.values():
        used.update(words(tree))
    return [
        f"{path}: {name}"
        for path, tree in trees.items()
        if Path(path).name not in OPEN
        for name, node in defined(tree)
        if not name.startswith("__")
        and used[name] <= 9
        and used[name] <= words(node)[name]  # counted only where it can be so
    ]


BY_OTHERS = {
    "_send_char",  # PySpice calls it and the next by these names
    "_send_init_data",
    "make_context",  # click calls it and the next by these names
    "invoke",
    "pid",  # for whoever must find or end a worker
    "to_dataframe",  # for a user of Python
    "cathode_transconductance",  # for the lessons
}


def test_nothing_of_the_package_is_there_for_tests_alone() -> None:
    sources = {str(p.relative_to(PACKAGE)): p.read_text(encoding="utf-8") for p in PACKAGE.rglob("*.py")}
    assert [one for one in idle(sources) if one.split(": ")[1] not in BY_OTHERS] == []


def test_what_nothing_uses_is_caught() -> None:
    used = "LIMIT = 3\ndef one():\n    return two(LIMIT)\ndef two(x):\n    return x\n"
    door = "from used import one\none()\n"
    assert idle({"used.py": used, "door.py": door}) == []
    lonely = used + "def three(n):\n    return three(n - 1)\nLEFT = 2\n"
    assert idle({"used.py": lonely, "door.py": door}) == ["used.py: three", "used.py: LEFT"]
