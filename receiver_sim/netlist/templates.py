"""Strict rendering of netlist templates: nothing but numbers and checked node names gets in, nothing is left
over.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
import jinja2.meta
import jinja2.sandbox

_NODE = re.compile(r"[a-z][a-z0-9_]{0,30}|0")


class TemplateFault(Exception):  # noqa: N818 - the project's word for what is wrong with data
    """A template and its parameters do not fit: a fault of this program, not of a build."""


def _checked(value: Any) -> Any:
    """Let only finite numbers and plain node names through to the deck."""
    if isinstance(value, bool):
        raise TemplateFault(f"a truth value cannot stand in a deck: {value!r}")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise TemplateFault(f"a deck takes finite numbers only, not {value!r}")
        return format(value, ".12g")
    if isinstance(value, str) and _NODE.fullmatch(value):
        return value
    raise TemplateFault(f"neither a number nor a node name: {value!r}")


@cache
def _environment(folder: Path) -> jinja2.Environment:
    return jinja2.sandbox.ImmutableSandboxedEnvironment(
        loader=jinja2.FileSystemLoader(folder),
        undefined=jinja2.StrictUndefined,
        finalize=_checked,
        autoescape=False,
        trim_blocks=False,
        keep_trailing_newline=False,
    )


@cache
def parameters(folder: Path, name: str) -> frozenset[str]:
    """Return the names a template uses."""
    environment = _environment(folder)
    if environment.loader is None:
        raise TemplateFault("templates need a folder")
    source = environment.loader.get_source(environment, name)[0]
    return frozenset(jinja2.meta.find_undeclared_variables(environment.parse(source)))


def render(folder: Path, name: str, values: Mapping[str, Any]) -> str:
    """Fill template `name` of `folder` with `values` (SI numbers, node names, None, lists of mappings of
    these).

    Raises TemplateFault when the template needs a name that is not given, when a given name is not used, or
    when a value is neither a finite number nor a plain node name.
    """
    wanted = parameters(folder, name)
    missing, unused = sorted(wanted - values.keys()), sorted(values.keys() - wanted)
    if missing or unused:
        raise TemplateFault(f"{name}: missing parameters {missing}, unused parameters {unused}")
    try:
        return _environment(folder).get_template(name).render(values)
    except jinja2.UndefinedError as error:
        raise TemplateFault(f"{name}: {error.message}") from error
