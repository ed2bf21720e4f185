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


def test_letters_stand_where_the_tree_of_dots_and_dashes_has_them():
    """ITU-R M.1677-1, 1.1.1: of each sign the one with a dot more, then that with a dash more, row by row;
    '_' for none among the 26 letters (from memory, high).
    """
    rows = ["ET", "IANM", "SURWDKGO", "HVF_L_PJBXCYZQ__"]
    letters = {}
    for length, row in enumerate(rows, start=1):
        for number, letter in enumerate(row):
            letters[letter] = f"{number:0{length}b}".replace("0", ".").replace("1", "-")
    letters.pop("_")
    assert {one: code for one, code in CODE.items() if one.isalpha()} == letters


def test_figures_are_dots_filled_up_with_dashes_and_the_other_way_round():
    """ITU-R M.1677-1, 1.1.2 (from memory, high): 1 has one dot, 5 five; 6 one dash, 0 five."""
    for figure in range(10):
        code = "." * figure + "-" * (5 - figure) if figure <= 5 else "-" * (figure - 5) + "." * (10 - figure)
        assert CODE[str(figure)] == code, figure


@pytest.mark.parametrize(
    ("sign", "spoken"),
    [
        (".", "AAA"), (",", "MIM"), ("?", "IMI"), ("/", "DN"), ("=", "BT"), ("+", "AR"), ("-", "DU"),
        (":", "OS"), ("(", "KN"), (")", "KK"), ("'", "WG"),
    ],
)  # fmt: skip
def test_signs_are_the_letters_that_they_are_learned_by(sign, spoken):
    """Letters run together: common practice of operators."""
    assert CODE[sign] == "".join(CODE[letter] for letter in spoken)
    assert len(CODE) == 26 + 10 + 11
