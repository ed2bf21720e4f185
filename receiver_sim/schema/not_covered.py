"""Forms of set that the trade knows and the program does not: a refusal says so, rather than 'remove it'."""

from __future__ import annotations

import re

_FORMS = {
    "a tickler that is moved as the control": "swingingtickler movingtickler",
    "regeneration by the filament": "filamentrheostat filamentcontrol rheostat",
    "a superheterodyne": "mixer oscillator localoscillator converter if ifstage iftransformer bfo superhet "
    "superheterodyne",
    "quenching (super-regeneration)": "quench quenching superregenerative superregeneration",
    "a push-pull stage": "pushpull pushpullstage",
    "automatic volume control": "avc agc",
    "a variometer": "variometer variocoupler",
    "a coil in layers or in a basket": "honeycomb basket basketweave spiderweb lattice duolateral pancake "
    "spiral pie piewound universal multilayer",
    "a voltage doubler": "doubler voltagedoubler multiplier voltagemultiplier",
    "a vibrator supply": "vibrator dynamotor",
    "a metal rectifier": "selenium metal copperoxide metalrectifier",
    "a series-pass or integrated regulator": "seriespass ic integrated lm317 78xx",
    "a tone control": "tonecontrol tone",
    "negative feedback round the audio stages": "negativefeedback feedback",
}
_BY_WORD = {word: form for form, words in _FORMS.items() for word in words.split()}


def form_of(word: object) -> str | None:
    """Return the form of set that a key or value means if it is one that is not covered, else None."""
    return _BY_WORD.get(re.sub(r"[^a-z0-9]", "", word.lower())) if isinstance(word, str) else None


def told(form: str) -> str:
    """Return the sentence that refuses a form."""
    return f"{form} is not covered yet"


__all__ = ["form_of", "told"]
