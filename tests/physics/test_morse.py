"""Morse keying against ITU-R M.1677-1: lengths, and the standard word of 50 dots."""

from __future__ import annotations

from itertools import pairwise

import pytest

from receiver_sim.physics.morse import CODE, dot_seconds, keying


def test_the_standard_word_is_fifty_dots():
    dot = dot_seconds(12.0)
    assert dot == pytest.approx(0.1)
    once = keying("PARIS PARIS", words_per_minute=12.0)
    half = len(once) // 2
    assert once[half][0] - once[0][0] == pytest.approx(50.0 * dot)


def test_dash_and_gaps():
    marks = keying("an", words_per_minute=12.0)  # .- -.
    lengths = [round((up - down) / 0.1) for down, up in marks]
    gaps = [round((b[0] - a[1]) / 0.1) for a, b in pairwise(marks)]
    assert lengths == [1, 3, 3, 1] and gaps == [1, 3, 1]


def test_codes_are_distinct():
    assert len(set(CODE.values())) == len(CODE)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a~b", "no Morse code for '~'; letters, digits and .,?/=+-:()' have one"),
        ("  ", "the text to key is empty"),
    ],
)
def test_what_cannot_be_keyed(text, message):
    with pytest.raises(ValueError) as caught:
        keying(text, words_per_minute=12.0)
    assert str(caught.value) == message


def test_speed_must_be_one():
    with pytest.raises(ValueError, match="words a minute"):
        dot_seconds(0.0)
