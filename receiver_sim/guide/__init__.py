"""The reference pages: Markdown shipped with the program, shown by `receiver-sim guide TOPIC`."""

from pathlib import Path

TOPICS = {
    "safety": "what kills, and how to measure without harm",
    "install": "other systems, the tests, completion of commands in a shell",
    "build": "the build file: units, keys, what may be left out",
    "check": "how to read the page of `check`",
    "verbs": "every verb and every option",
    "oscillation": "soft or hard onset, backlash, howl, squegging, detection, sound",
    "coils": "coils, tickler, dial, aerial, radiation",
    "tubes": "tube cards, substitution",
    "audio": "audio stage, headphones, supply, regulator, hum",
    "bench": "parts, wiring, switching on, meter readings, faults",
    "verdicts": "every rule, its threshold, and why",
    "spread": "many sets: tolerances, ranges, which part decides, a cluster",
    "files": "exit codes, result files, JSON",
    "python": "the same answers from Python",
    "limits": "what the program can't do, and what its figures rest on",
    "glossary": "the words of the trade, one line each",
}
"""Topic -> what its page is about, in the order of a first reading."""


def page(topic: str) -> str:
    """Return the Markdown text of a topic. Raises KeyError for an unknown one."""
    if topic not in TOPICS:
        raise KeyError(topic)
    return Path(__file__).with_name(f"{topic}.md").read_text(encoding="utf-8")
