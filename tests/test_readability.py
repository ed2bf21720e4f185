"""The first page is plain English: README's first screen and the head of the page of a set.

Bound: grade 9 of Kincaid et al. (1975), the school year that a reader of fifteen has behind him, and a
reading ease of 60, below which Flesch (1948) no longer calls a text plain English. What is written for the
general public is held to the same (grade 8 or 9; common practice, no source).
"""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import click
import pytest

from receiver_sim import api, guide
from receiver_sim.cli import main
from tests.helpers import invented_page
from tests.helpers.readability import Reading, prose_of_markdown, read, worst
from tests.test_cli import call

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


STILTED = (
    "hardly", "amid", "save that", "whence", "goes on", "shall", "left out:", "volts of screen",
    "screen volts", "apart from", "is worth what", "stands and falls", "plop", "plops", "anew",
    "thereof",
)  # fmt: skip
"""Words that a reader of today stumbles over; each has a plain one: 'almost no', 'continues', 'default:'."""


def test_no_stilted_word_stands_where_users_read() -> None:
    """Help of every verb, the guide, README, the words of the pages."""
    texts = {"README": README, **{f"guide {topic}": guide.page(topic) for topic in guide.TOPICS}}
    for path in sorted(Path(api.__file__).parents[1].glob("views/page/*.j2")):
        texts[path.name] = path.read_text(encoding="utf-8")
    texts |= {" ".join(("--help", *names)): call(*names, "--help").out for names in verbs(main, ())}
    assert len(texts) > 45
    found = {
        (name, word)
        for name, text in texts.items()
        for word in STILTED
        if re.search(rf"\b{re.escape(word)}(?!\w)", " ".join(text.split()))
    }
    assert found == set()


def verbs(group: click.Command, before: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return the names that lead to each verb, groups as well."""
    inner = group.commands if isinstance(group, click.Group) else {}
    return [before, *(way for name, one in inner.items() for way in verbs(one, (*before, name)))]
