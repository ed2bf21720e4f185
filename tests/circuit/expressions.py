"""Behavioural sources as ngspice sees them: parsed, differentiated by its rules, bounded by intervals.

ngspice differentiates the expression of a B source by itself and evaluates value and derivatives at every
iterate of Newton's method; where a part overflows it ends the run ('out of range'). The rules here are those
of its manual's chapter on arbitrary sources and of what it prints when a rule is broken: the derivative of a
quotient is (f'g - f g')/g^2, that of min(a, b) the one of the smaller.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

_TOKEN = re.compile(
    r"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)|(?P<name>[a-z_][a-z0-9_]*)|(?P<mark>[-+*/^(),]))",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Node:
    """A part of an expression: kind ("number", "var", "+", "-", "*", "/" or a function's name) and what it
    works on."""

    kind: str
    parts: tuple[Node, ...] = ()
    value: float = 0.0
    name: str = ""


def number(value: float) -> Node:
    """Return a constant."""
    return Node("number", value=value)


class _Parser:
    def __init__(self, text: str) -> None:
        self._tokens: list[str] = []
        place = 0
        text = text.strip()
        while place < len(text):
            found = _TOKEN.match(text, place)
            if found is None:
                raise ValueError(f"cannot read {text[place:]!r}")
            self._tokens.append(found.group().strip().lower())
            place = found.end()
        self._tokens.append("")
        self._at = 0

    def _next(self) -> str:
        self._at += 1
        return self._tokens[self._at - 1]

    def _seen(self, *marks: str) -> str | None:
        return self._next() if self._tokens[self._at] in marks else None

    def _expect(self, mark: str) -> None:
        if self._next() != mark:
            raise ValueError(f"expected {mark!r} before {self._tokens[self._at - 1 :]}")

    def whole(self) -> Node:
        tree = self._sum()
        self._expect("")
        return tree

    def _sum(self) -> Node:
        left = self._product()
        while mark := self._seen("+", "-"):
            left = Node(mark, (left, self._product()))
        return left

    def _product(self) -> Node:
        left = self._sign()
        while mark := self._seen("*", "/"):
            left = Node(mark, (left, self._sign()))
        return left

    def _sign(self) -> Node:
        if self._seen("-"):
            return Node("-", (number(0.0), self._sign()))
        self._seen("+")
        base = self._atom()
        return Node("pwr", (base, self._sign())) if self._seen("^") else base

    def _atom(self) -> Node:
        if self._seen("("):
            inner = self._sum()
            self._expect(")")
            return inner
        token = self._next()
        if token[:1].isdigit() or token[:1] == ".":
            return number(float(token))
        if not self._seen("("):
            return Node("var", name=token)  # time
        if token in ("v", "i"):
            names = [self._next()]
            while self._seen(","):
                names.append(self._next())
            self._expect(")")
            return Node("var", name=",".join(names))
        parts = [self._sum()]
        while self._seen(","):
            parts.append(self._sum())
        self._expect(")")
        return Node(token, tuple(parts))


def parse(text: str) -> Node:
    """Return the tree of an expression; ValueError for what is none."""
    return _Parser(text).whole()


def variables(tree: Node) -> set[str]:
    """Return the names of the volts that an expression reads."""
    if tree.kind == "var":
        return {tree.name}
    return set().union(*(variables(part) for part in tree.parts)) if tree.parts else set()


def derivative(tree: Node, name: str) -> Node:
    """Return the derivative to one of the volts, as ngspice forms it."""
    if tree.kind == "number" or name not in variables(tree):
        return number(0.0)
    if tree.kind == "var":
        return number(1.0)
    inner = [derivative(part, name) for part in tree.parts]
    rules: dict[str, Callable[[], Node]] = {
        # either may be the one that counts
        **dict.fromkeys(("min", "max"), lambda: Node("either", tuple(inner))),
        **dict.fromkeys("+-", lambda: Node(tree.kind, tuple(inner))),
        "*": lambda: _sum_of(_times(inner[0], tree.parts[1]), _times(tree.parts[0], inner[1])),
        "/": lambda: _of_quotient(*tree.parts, *inner),
    }
    return rules.get(tree.kind, lambda: _times(_outer(tree), inner[0]))()


def _of_quotient(f: Node, g: Node, df: Node, dg: Node) -> Node:
    return Node("/", (Node("-", (_times(df, g), _times(f, dg))), Node("pwr", (g, number(2.0)))))


def _outer(tree: Node) -> Node:
    """Return the derivative of a function to its argument."""
    f = tree.parts[0]
    if tree.kind == "pwr":
        exponent = tree.parts[1]
        if exponent.kind != "number":
            raise ValueError("a power with a variable exponent")
        return _times(exponent, Node("pwr", (f, number(exponent.value - 1.0))))
    rules: dict[str, Callable[[], Node]] = {
        "exp": lambda: tree,
        "ln": lambda: Node("/", (number(1.0), f)),
        "sqrt": lambda: Node("/", (number(1.0), _times(number(2.0), tree))),
        "uramp": lambda: Node("step", (f,)),
    }
    return rules[tree.kind]()


def _times(a: Node, b: Node) -> Node:
    """Return a product, ngspice's simplifications made: 0 x = 0, 1 x = x."""
    if number(0.0) in (a, b):
        return number(0.0)
    return b if a == number(1.0) else a if b == number(1.0) else Node("*", (a, b))


def _sum_of(a: Node, b: Node) -> Node:
    return b if a == number(0.0) else a if b == number(0.0) else Node("+", (a, b))


Interval = tuple[float, float]
OVERFLOW = 1e250
"""Bound of what may be met on the way: far enough below 1.8e308 for one more product in the matrix."""


class Unbounded(ValueError):  # noqa: N818 - says what happened
    """A part of an expression that overflows, divides by zero or leaves its domain."""


def bounds(tree: Node, box: Callable[[str], Interval]) -> Interval:
    """Return bounds of an expression over all volts within `box`. Raises Unbounded."""
    low, high = _bounds(tree, box)
    if not (-OVERFLOW < low <= high < OVERFLOW):
        raise Unbounded(f"{text(tree)} reaches {low:.3g} to {high:.3g}")
    return low, high


def _bounds(tree: Node, box: Callable[[str], Interval]) -> Interval:
    if tree.kind == "number":
        return tree.value, tree.value
    if tree.kind == "var":
        return box(tree.name)
    inner = [bounds(part, box) for part in tree.parts]
    (a, b) = inner[0]
    if tree.kind in ("+", "-", "*", "/", "min", "max", "either"):
        (c, d) = inner[1]
        if tree.kind == "*" and tree.parts[0] == tree.parts[1]:
            return (0.0 if a <= 0.0 <= b else min(a * a, b * b)), max(a * a, b * b)
        if tree.kind == "/" and c <= 0.0 <= d:
            raise Unbounded(f"{text(tree)} divides by {c:.3g} to {d:.3g}")
        ends = {
            "+": lambda: (a + c, b + d),
            "-": lambda: (a - d, b - c),
            "*": lambda: _spread(a * c, a * d, b * c, b * d),
            "/": lambda: _spread(a / c, a / d, b / c, b / d),
            "min": lambda: (min(a, c), min(b, d)),
            "max": lambda: (max(a, c), max(b, d)),
            "either": lambda: (min(a, c), max(b, d)),
        }
        return ends[tree.kind]()
    if tree.kind == "pwr":
        exponent = inner[1][0]
        if a < 0.0 or (a == 0.0 and exponent < 0.0):
            raise Unbounded(f"{text(tree)} takes a power of {a:.3g}")
        try:
            return a**exponent, b**exponent
        except OverflowError:
            raise Unbounded(f"{text(tree)} overflows") from None
    if tree.kind in ("ln", "sqrt") and (a < 0.0 or (tree.kind == "ln" and a == 0.0)):
        raise Unbounded(f"{text(tree)} takes the {tree.kind} of {a:.3g}")
    if tree.kind == "exp" and b > 100.0:
        raise Unbounded(f"{text(tree)} takes exp of {b:.3g}")
    functions: dict[str, Callable[[float], float]] = {
        "ln": math.log,
        "sqrt": math.sqrt,
        "exp": math.exp,
        "uramp": lambda x: max(x, 0.0),
        "step": lambda x: float(x > 0.0),
    }
    return functions[tree.kind](a), functions[tree.kind](b)


def _spread(*values: float) -> Interval:
    return min(values), max(values)


def text(tree: Node) -> str:
    """Return an expression as text, long ones shortened."""
    if tree.kind == "number":
        return f"{tree.value:g}"
    if tree.kind == "var":
        return f"V({tree.name})"
    inner = [text(part) for part in tree.parts]
    whole = f"({inner[0]}{tree.kind}{inner[1]})" if tree.kind in "+-*/" else f"{tree.kind}({','.join(inner)})"
    return whole if len(whole) < 160 else whole[:150] + "..."


@dataclass(frozen=True)
class Source:
    """A behavioural source of a deck: name, the two nodes it stands between, its expression and tree."""

    name: str
    nodes: tuple[str, str]
    kind: str
    expression: str

    @property
    def tree(self) -> Node:
        """The expression's tree."""
        return parse(self.expression)


def logical_lines(deck: str) -> Iterator[str]:
    """Yield the lines of a deck, continuations joined."""
    joined = ""
    for line in [*deck.splitlines(), ""]:
        if line.startswith("+"):
            joined += line[1:]
            continue
        if joined and not joined.startswith("*"):
            yield joined
        joined = line


def behavioural(deck: str) -> list[Source]:
    """Return the behavioural sources of a deck, those of its subcircuits among them, each expression once."""
    found: dict[str, Source] = {}
    for line in logical_lines(deck):
        if line[:1].lower() == "b":
            name, plus, minus, rest = line.split(None, 3)
            kind, _, expression = rest.partition("=")
            if "pwl(" not in expression:  # a function of time alone
                shape = re.sub(r"\d+", "#", expression)
                found.setdefault(shape, Source(name, (plus, minus), kind.strip().lower(), expression))
    return list(found.values())


def held(deck: str) -> set[str]:
    """Return the nodes that an independent voltage source to ground holds, whatever the iterate."""
    nodes = set()
    for line in logical_lines(deck):
        words = line.split()
        if words and words[0][:1].lower() == "v" and len(words) > 3 and words[2] == "0":
            nodes.add(words[1].lower())
    return nodes
