"""Morse code as times of key down: International Morse code after ITU-R M.1677-1."""

from __future__ import annotations

CODE = {
    "A": ".-", "B": "-...", "C": "-.-.", "D": "-..", "E": ".", "F": "..-.", "G": "--.", "H": "....",
    "I": "..", "J": ".---", "K": "-.-", "L": ".-..", "M": "--", "N": "-.", "O": "---", "P": ".--.",
    "Q": "--.-", "R": ".-.", "S": "...", "T": "-", "U": "..-", "V": "...-", "W": ".--", "X": "-..-",
    "Y": "-.--", "Z": "--..", "0": "-----", "1": ".----", "2": "..---", "3": "...--", "4": "....-",
    "5": ".....", "6": "-....", "7": "--...", "8": "---..", "9": "----.", ".": ".-.-.-", ",": "--..--",
    "?": "..--..", "/": "-..-.", "=": "-...-", "+": ".-.-.", "-": "-....-", ":": "---...", "(": "-.--.",
    ")": "-.--.-", "'": ".----.",
}  # fmt: skip
"""ITU-R M.1677-1, 1.1 (from memory, high)."""


def dot_seconds(words_per_minute: float) -> float:
    """Return the length of a dot, s: 50 dots to the word PARIS (common practice). ValueError for a speed
    that is none."""
    if not words_per_minute > 0.0:
        raise ValueError(f"a speed in words a minute must be above 0, got {words_per_minute}")
    return 1.2 / words_per_minute


def keying(text: str, *, words_per_minute: float) -> list[tuple[float, float]]:
    """Return (down, up) times of the key, s, for a text: dash 3 dots, gaps of 1, 3 (letters) and 7 dots
    (words).

    Lengths after ITU-R M.1677-1, 2. Lower case counts as upper; runs of blanks as one.
    Raises ValueError that names a character without a code, or for a text with nothing in it.
    """
    dot = dot_seconds(words_per_minute)
    out: list[tuple[float, float]] = []
    now = 0.0
    for word in text.upper().split():
        for letter in word:
            if letter not in CODE:
                raise ValueError(f"no Morse code for {letter!r}; letters, digits and .,?/=+-:()' have one")
            for mark in CODE[letter]:
                length = dot if mark == "." else 3.0 * dot
                out.append((now, now + length))
                now += length + dot
            now += 2.0 * dot
        now += 4.0 * dot
    if not out:
        raise ValueError("the text to key is empty")
    return out
