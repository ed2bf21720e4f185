"""What a line printed by ngspice means: a note, a warning or a failure.

ngspice marks neither by stream nor by prefix reliably: progress of the operating-point search goes to
stderr, fatal errors may carry no word 'error', and a resistor without a value draws only a warning.
The patterns were collected from ngspice 39; lines seen in newer versions only are marked so.
"""

import enum
import re
from collections.abc import Iterable
from dataclasses import dataclass


class Kind(enum.Enum):
    """Class of one line."""

    NOTE = "note"
    WARNING = "warning"
    FAILURE = "failure"


@dataclass(frozen=True)
class Message:
    """One line of ngspice: its stream ("stdout" or "stderr"), its text and its class."""

    stream: str
    text: str
    kind: Kind


# Lines of every run, recognised first because most lines are of this sort.
_ROUTINE = (
    "Doing analysis at TEMP",
    "No. of Data Rows",
    "Circuit: ",
    "Note:",
    " Reference value",
    "Reference value",
    "Initial Transient Solution",
    "Using SPARSE",  # ngspice 42 and newer, from memory
    "Using KLU",  # likewise
    # ngspice 44 without its start-up file, as the library alone is packaged; not needed by us (seen)
    "Warning: can't find the initialization file",
)

# Steps of the search for an operating point: a failed step is followed by the next method,
# and if all of them fail ngspice says so in a line that is a failure by itself.
_STEPPING = re.compile(
    r"(gmin\s+step|gmin\s+increment|source\s+step|supplies\s+reduced|trying\s+gmin"
    r"|one\s+successful\s+source\s+step)",
    re.IGNORECASE,
)

# What ngspice prints before a step's outcome, on the same line.
_STEP_PREFIX = re.compile(r"^((trying\s+gmin\s*=\s*\S+|supplies\s+reduced\s+to\s*\S+)\s*)+", re.IGNORECASE)

# A row of a table of node voltages; a node may have any name.
_TABLE_ROW = re.compile(
    r"^\S+\s+[-+]?[0-9.]+(e[-+]?\d+)?(\s+[-+]?[0-9.]+(e[-+]?\d+)?)?(\s+\*)?\s*$", re.IGNORECASE
)

_FAILURE = re.compile(
    r"\berrors?\b|\bfatal\b|\baborted\b|singular\s+matrix|\bno\s+such\b|\bunknown\b|can'?t\s+find"
    r"|cannot\s+find|could\s+not\s+find|\bnot\s+found\b|time\s?step\s+too\s+small|\bundefined\b"
    r"|no\s+convergence|solution\s+failed|iteration\s+limit|not\s+in\s+the\s+circuit|\bfailed\b|\bunrecognized\b"
    r"|\bill-?formed\b|\bmalformed\b|syntax|there\s+(is|are|aren't)\s+(no|any)\s+circuits?|out\s+of\s+memory"
    r"|too\s+few|too\s+many|already\s+exists|math\s+error|division\s+by\s+zero|out\s+of\s+range|\bnan\b",
    re.IGNORECASE,
)

# Distinct lines in a summary.
_TOLD = 5

# Warnings under which ngspice goes on with an element that is not what the deck says.
_MALFORMED = re.compile(
    r"resistance\s+to+\s+low|set\s+to\s+1\s*mohm|has\s+no\s+value|no\s+value\s+given|\bmissing\b"
    r"|\bignored\b|\bdefaulting\b|model\s+issue|cannot\s+be\s+used|unsupported|redefinition|\bduplicate\b"
    r"|incomplete|\bassumed\b",
    re.IGNORECASE,
)


def without_step(text: str) -> str:
    """Return a line without blanks around it and without the step it reports on ("Trying gmin = ...")."""
    return _STEP_PREFIX.sub("", text.strip())


def classify(text: str) -> Kind:
    """Return the class of one line (without the stream's name)."""
    stripped = without_step(text)
    if not stripped or text.startswith(_ROUTINE) or _TABLE_ROW.fullmatch(stripped):
        return Kind.NOTE
    if _STEPPING.search(stripped):
        return Kind.NOTE
    if _FAILURE.search(stripped):
        return Kind.FAILURE
    if "warning" in stripped.lower():
        return Kind.FAILURE if _MALFORMED.search(stripped) else Kind.WARNING
    return Kind.NOTE


def read(lines: Iterable[str]) -> list[Message]:
    """Classify lines as the library hands them over, each begun by its stream's name."""
    messages = []
    for line in lines:
        stream, _, text = line.partition(" ")
        if stream not in ("stdout", "stderr"):
            stream, text = "stdout", line
        messages.append(Message(stream=stream, text=text, kind=classify(text)))
    return messages


def summary(messages: Iterable[Message]) -> str:
    """Return what failed in one line: first failures and the last, each once, with what explains them.

    An 'Error on line ...' of ngspice is explained by the two lines after it. Empty if nothing failed.
    """
    told: list[str] = []
    explaining = 0
    for message in messages:
        text = without_step(message.text)
        if message.kind is Kind.FAILURE:
            explaining = 2 if text.endswith(":") else 0
        elif explaining:
            explaining -= 1
        else:
            continue
        if text and text not in told:
            told.append(text)
    return "; ".join(told if len(told) <= _TOLD else [*told[: _TOLD - 1], told[-1]])
