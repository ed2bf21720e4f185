"""The first page is plain English: README's first screen and the head of the page of a set.

Bound: grade 9 of Kincaid et al. (1975), the school year that a reader of fifteen has behind him, and a
reading ease of 60, below which Flesch (1948) no longer calls a text plain English. What is written for the
general public is held to the same (grade 8 or 9; common practice, no source).
"""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest

from receiver_sim import api
from tests.helpers import invented_page
from tests.helpers.readability import Reading, prose_of_markdown, read, worst

GRADE, EASE = 9.0, 60.0

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def plain(text: str) -> None:
    found = read(text)
    assert found.words > 40
    assert found.grade <= GRADE, worst(text)
    assert found.ease >= EASE, worst(text)


def test_the_index_is_the_published_one() -> None:
    """Counted by hand: 12 words, 2 sentences, 19 syllables (de-tec-tor, os-cil-lates, qui-et-ly, un-til)."""
    found = read("The detector oscillates quietly. Turn the knob back until the howl stops.")
    assert found == Reading(words=12, sentences=2, syllables=19)
    assert found.grade == pytest.approx(0.39 * 6.0 + 11.8 * 19.0 / 12.0 - 15.59)
    assert found.ease == pytest.approx(206.835 - 1.015 * 6.0 - 84.6 * 19.0 / 12.0)


def test_the_index_sees_hard_words_and_long_sentences() -> None:
    """The first paragraph as it once stood: one sentence of 77 words."""
    hard = (
        "The program then answers, before you drill the chassis: will regeneration come in smoothly on each "
        "band; where on the control does it start, and how many degrees of knob lie between nearly and "
        "oscillating; which of the tubes on hand does it best; how loud is it in these headphones."
    )
    with pytest.raises(AssertionError):
        plain(hard)


def test_first_screen_of_readme() -> None:
    first = README.split("## Two commands")[0]
    plain(prose_of_markdown(first.split("## Safety")[0]))
    plain(prose_of_markdown(first))


@pytest.mark.parametrize("name", ["demo", "cabin"])
def test_first_section_of_a_page(name: str) -> None:
    """Verdict, how sure, what the set is, and what the strip under them shows."""
    build = api.shipped_build(name)
    page = api.page_html(invented_page.report(), build, api.draw(build)).decode("utf-8")
    head = re.findall(r'<p class="(?:verdict|sure|about|under)">(.*?)</p>', page, re.DOTALL)
    assert len(head) == 3  # no sets were drawn
    plain(unescape(re.sub(r"<[^>]+>", "", "\n\n".join(head))))
