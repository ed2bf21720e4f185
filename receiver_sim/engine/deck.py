"""A deck: the text of one circuit, checked before it can reach ngspice.

A deck may be built from a stranger's file, and ngspice obeys more than circuit lines: control blocks,
comments that begin with `*#`, a first line `*ng_script`, includes, code models that open files. So the check
works by what is allowed, not by what is known to be bad: each logical line must begin with an element
letter or one of a few dot words, and hold only a small set of characters.
"""

import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from receiver_sim.engine import pivots
from receiver_sim.engine.errors import DeckRefused

ELEMENT_LETTERS = frozenset("rclkviefghbdxsqjt")
DOT_WORDS = frozenset(
    (".subckt", ".ends", ".model", ".param", ".options", ".option", ".save", ".ic", ".nodeset", ".temp")
)
MODEL_TYPES = frozenset(
    ("r", "c", "l", "d", "npn", "pnp", "njf", "pjf", "sw", "csw", "vswitch", "iswitch", "ltra")
)
# ngspice stores any `.options name=value` as a variable of its command interpreter, hence a list.
# fmt: off
OPTION_NAMES = frozenset((
    "reltol", "abstol", "vntol", "chgtol", "trtol", "pivtol", "pivrel", "gmin", "gminsteps", "srcsteps",
    "itl1", "itl2", "itl3", "itl4", "itl5", "itl6", "method", "maxord", "xmu", "temp", "tnom", "rshunt",
    "cshunt", "keepopinfo", "noopiter", "savecurrents", "trytocompact", "ramptime", "numdgt", "noinit",
    "interp", "seed", "sparse", "klu", "minbreak", "convstep", "convabsstep", "noopac", "noacct",
))
# fmt: on
ANALYSIS_WORDS = frozenset((".op", ".ac", ".dc", ".tran", ".noise", ".tf", ".four", ".print", ".save"))

# Fewest words of an element line. ngspice takes a shorter one without a word and sets the value to 0.
_FEWEST_WORDS = {
    **dict.fromkeys("rlcvikbdegfh", 4),
    **dict.fromkeys("qjs", 5),
    "t": 6,
    "x": 3,
}

_MAX_LINE = 2000
_MAX_TITLE = 200
_TITLE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 .,:;_+*/()=%#&@!?'\[\]-]*")
_ALLOWED = re.compile(r"[A-Za-z0-9 _.,+\-*/^(){}=<>!&|?:#@\[\]~']*")
_UNPRINTABLE = re.compile(r"[^ -~]")
_ELEMENT = re.compile(r"[a-z][a-z0-9_]+")
_NAME = re.compile(r"[a-z_][a-z0-9_]*", re.IGNORECASE)
_DOT_WORD_INSIDE = re.compile(r"(?:^|[\s,(){}=])\.[a-z]", re.IGNORECASE)
_FILE = re.compile(r"file\s*=|filesource", re.IGNORECASE)
_VECTOR = re.compile(r"[a-z]*\(?@?[a-z0-9_.#+\-]+(\[[a-z0-9_]+\])?(,[a-z0-9_.#+\-]+)?\)?", re.IGNORECASE)


_PLAIN = re.compile(r"[RCLVI][a-z0-9_]+(?: [a-z0-9_]+){2}(?: dc)? -?[0-9][-+0-9.e]*")
"""An element between two nodes with nothing but a number: all that is checked of other lines holds in it."""
_PLAIN_LENGTH = 200


def check_title(title: str) -> None:
    """Raise DeckRefused unless `title` is one plain line that ngspice can only read as a title."""
    if not title:
        raise DeckRefused("a deck needs a title")
    if len(title) > _MAX_TITLE:
        raise DeckRefused(f"it has {len(title)} characters; {_MAX_TITLE} are allowed", 0, title)
    if not _TITLE.fullmatch(title):
        raise DeckRefused(
            "it must be one line that begins with a letter or a digit and holds only plain letters, digits, "
            "blanks and .,:;_+*/()=%#&@!?'[]-",
            0,
            title,
        )


def _physical_lines(text: str) -> Iterable[tuple[int, str]]:
    """Yield number and text of each line after checking its characters; CR LF counts as one line end."""
    for number, raw in enumerate(text.split("\n"), start=1):
        line = raw.removesuffix("\r").replace("\t", " ")
        if not (line.isascii() and line.isprintable()):
            bad = _UNPRINTABLE.search(line)
            assert bad is not None
            raise DeckRefused(
                f"the character U+{ord(bad[0]):04X} is not printable ASCII; remove it or spell it out",
                number,
                line,
            )
        if len(line) > _MAX_LINE:
            raise DeckRefused(
                f"it has {len(line)} characters; {_MAX_LINE} are allowed, continue it on a line begun by '+'",
                number,
                line,
            )
        yield number, line.strip()


@lru_cache(maxsize=2048)
def _reason(check: Callable[[int, str], None], line: str) -> str | None:
    """Return why a check refuses a line, or None: the decks of drawn sets share most of their lines."""
    try:
        check(0, line)
    except DeckRefused as refused:
        return refused.reason
    return None


def _checked(check: Callable[[int, str], None], number: int, line: str) -> None:
    reason = _reason(check, line)
    if reason is not None:
        raise DeckRefused(reason, number, line)


def _check_comment(number: int, line: str) -> None:
    """Allow `*` alone or followed by a blank: ngspice runs what follows `*#`, and reads other marks too."""
    if line != "*" and not line.startswith("* "):
        raise DeckRefused("a comment must begin with '* ' (star, blank)", number, line)
    if line[1:].lstrip().startswith("#"):
        raise DeckRefused(
            "a comment must not begin with '#': ngspice runs such lines as commands", number, line
        )


def _check_characters(number: int, line: str) -> None:
    if _ALLOWED.fullmatch(line):
        if "//" in line:
            raise DeckRefused("'//' is not allowed: ngspice takes it for a comment", number, line)
        first = "+" if line.startswith("+") else line.split(maxsplit=1)[0]
        if _DOT_WORD_INSIDE.search(line[len(first) :]):
            raise DeckRefused("a word begun by a dot may stand only at the start of a line", number, line)
        return
    bad = next(c for c in line if not _ALLOWED.fullmatch(c))
    cure = {
        ";": "write comments on lines of their own, begun by '* '",
        "$": "write comments on lines of their own, begun by '* '",
        '"': "no quoted text is allowed in a deck",
        "`": "ngspice would run what stands between backquotes",
        "\\": "continue a line on the next one, begun by '+'",
    }.get(bad, "remove it")
    raise DeckRefused(f"the character '{bad}' is not allowed: {cure}", number, line)


def _logical_lines(text: str) -> list[tuple[int, str, bool]]:
    """Join continuation lines, drop comments and blank lines; each with the number of its first line and
    whether it is plain.
    """
    logical: list[tuple[int, str, bool]] = []
    for number, line in _physical_lines(text):
        if not line:
            continue
        if len(line) <= _PLAIN_LENGTH and _PLAIN.fullmatch(line):
            logical.append((number, line, True))
            continue
        if line.startswith("*"):
            _check_comment(number, line)
            continue
        _checked(_check_characters, number, line)
        if not line.startswith("+"):
            logical.append((number, line, False))
        elif logical:
            start, before, _ = logical[-1]
            logical[-1] = (start, f"{before} {line[1:].strip()}", False)
        else:
            raise DeckRefused("a line begun by '+' has nothing to continue", number, line)
    return logical


def _check_options(number: int, line: str) -> None:
    words = re.sub(r"\s*=\s*", "=", line).split()[1:]
    for word in words:
        name, equals, value = word.partition("=")
        if name.lower() not in OPTION_NAMES:
            raise DeckRefused(f"the option '{name}' is not one of those allowed in a deck", number, line)
        if name.lower() == "method":
            if value.lower() not in ("trap", "trapezoidal", "gear"):
                raise DeckRefused("the method must be trap or gear", number, line)
        elif equals and not re.fullmatch(r"[-+]?[0-9.]+(e[-+]?[0-9]+)?[a-z]*", value, re.IGNORECASE):
            raise DeckRefused(f"the option '{name}' needs a number, not '{value}'", number, line)


def _check_model(number: int, line: str) -> None:
    words = line.replace("(", " ").split()
    if len(words) < 3 or not _NAME.fullmatch(words[1]):
        raise DeckRefused("a model line needs a name and a type", number, line)
    if words[2].lower() not in MODEL_TYPES:
        raise DeckRefused(f"the model type '{words[2]}' is not one of those allowed in a deck", number, line)


def _check_dot(number: int, line: str, word: str) -> None:
    if word == ".end":
        raise DeckRefused("leave out .end; the engine adds it", number, line)
    if word not in DOT_WORDS:
        raise DeckRefused(f"'{word}' is not one of {', '.join(sorted(DOT_WORDS))}", number, line)
    if word in (".options", ".option"):
        _check_options(number, line)
    elif word == ".model":
        _check_model(number, line)


def _check_element(number: int, line: str, word: str) -> None:
    if word[0] not in ELEMENT_LETTERS or not _ELEMENT.fullmatch(word):
        raise DeckRefused(
            f"'{word}' is no element; its letter must be one of "
            f"{' '.join(sorted(ELEMENT_LETTERS)).upper()}, then letters, digits or '_'",
            number,
            line,
        )
    words = (re.sub(r"\s*=\s*", "=", line) if "=" in line else line).split()
    if len(words) < _FEWEST_WORDS[word[0]]:
        raise DeckRefused(
            f"'{word}' is not complete: it needs its nodes and then a value, a model or an expression",
            number,
            line,
        )


def _check_logical(number: int, line: str) -> None:
    word = line.split(maxsplit=1)[0].lower()
    if _FILE.search(line):
        raise DeckRefused("no element or model may read a file", number, line)
    if word.startswith("."):
        _check_dot(number, line, word)
    else:
        _check_element(number, line, word)


def check_text(text: str) -> tuple[str, ...]:
    """Return the logical lines of a deck's text, or raise DeckRefused naming line and reason."""
    logical = _logical_lines(text)
    opened: list[tuple[int, str]] = []
    for number, line, plain in logical:
        if plain:
            continue
        _checked(_check_logical, number, line)
        word = line.split(maxsplit=1)[0].lower()
        if word == ".subckt":
            opened.append((number, line))
        elif word == ".ends":
            if not opened:
                raise DeckRefused("there is no .subckt for it to end", number, line)
            opened.pop()
    if opened:
        raise DeckRefused("its .ends is missing", *opened[-1])
    if not logical:
        raise DeckRefused("a deck needs at least one element")
    return tuple(line for _, line, _ in logical)


@dataclass(frozen=True)
class Deck:
    """One circuit, ready for ngspice.

    `title`: one plain line. `text`: element, .model, .subckt, .options, .param, .ic, .nodeset, .save and
    .temp lines, without title and without .end; comments begin with '* '; '+' continues a line.
    Construction raises DeckRefused for anything else.
    """

    title: str
    text: str
    lines: tuple[str, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        check_title(self.title)
        object.__setattr__(self, "lines", check_text(self.text))

    @property
    def sha256(self) -> str:
        """Hexadecimal digest of `netlist()`, for results to name the deck they come from."""
        return hashlib.sha256(self.netlist().encode("ascii")).hexdigest()

    @property
    def body(self) -> str:
        """The deck's text with plain line ends and no blanks around lines, ending in a line end."""
        lines = [line.strip() for line in self.text.replace("\t", " ").split("\n")]
        return "\n".join(line for line in lines if line) + "\n"

    def netlist(self) -> str:
        """Return the full netlist: title, text, .end."""
        return f"{self.title}\n{self.body}.end\n"

    def export(self, analysis_lines: Sequence[str], prints: Sequence[str] = ()) -> str:
        """Return a netlist that stock ngspice runs in batch mode (`ngspice -b FILE`).

        `analysis_lines`: such as ".op" or ".ac lin 3 1e6 2e6"; each printed with all of `prints`, vectors
        such as "out", "l1#branch" or "vm(out)". Tables have six digits; for all of them leave `prints` empty
        and run `ngspice -b -r OUT.raw FILE`. Raises DeckRefused.
        """
        extra: list[str] = []
        for vector in prints:
            if not _VECTOR.fullmatch(vector):
                raise DeckRefused(f"'{vector}' is no vector that can be printed")
        for line in analysis_lines:
            word, _, rest = line.strip().partition(" ")
            if (
                word.lower() not in ANALYSIS_WORDS
                or not _ALLOWED.fullmatch(line)
                or _DOT_WORD_INSIDE.search(rest)
            ):
                words = ", ".join(sorted(ANALYSIS_WORDS))
                raise DeckRefused(f"'{line}' is no analysis; it must be one line begun by one of {words}")
            extra.append(line.strip())
            if prints and word.lower() in (".op", ".ac", ".dc", ".tran", ".noise"):
                extra.append(f".print {word[1:]} {' '.join(_printable(vector) for vector in prints)}")
        # One table for all columns of 16 characters each; ngspice splits one that just fits.
        width = [f".width out={16 * (len(prints) + 3)}"] if prints else []
        added = pivots.chosen_anew(self.lines)
        why = ["* Makes ngspice choose its pivots anew once the starting values let go."] if added else []
        tail = (*why, *added, *width, *extra, ".end")
        return f"{self.title}\n{self.body}" + "".join(f"{line}\n" for line in tail)


def _printable(vector: str) -> str:
    """Return a bare node name as v(node) and a branch as i(element): `.print` wants that form."""
    if "(" in vector or "@" in vector:
        return vector
    if vector.lower().endswith("#branch"):
        return f"i({vector[: -len('#branch')]})"
    return f"v({vector})"
