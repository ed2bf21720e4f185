"""Fewer runs of what takes most of a verb's time, for whatever needs the verb and not these curves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from receiver_sim import api
from receiver_sim.api import _audio, _sheet, _sure
from receiver_sim.circuit.factors import factors_of
from receiver_sim.studies import detection


@contextmanager
def few_sets() -> Iterator[None]:
    """Let `check` draw four sets instead of a hundred, of every eighth part."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_sure, "SETS", 4)
        patch.setattr(_sure, "STRENGTHS", 1)
        patch.setattr(_sheet, "SETS", 4)
        patch.setattr(_sure, "factors_of", lambda *given: factors_of(*given)[::8])
        yield


@contextmanager
def few_runs() -> Iterator[None]:
    """Let `audio` drive its outputs at three levels instead of nine, and `detect` listen to three beat notes
    instead of five and count beats at two offsets instead of seven, each of them a run over time.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(api.audio_in_depth.__kwdefaults__, "inputs", _audio.INPUTS[::4])
        patch.setattr(detection, "BEAT_LEVELS", detection.BEAT_LEVELS[::2])
        patch.setattr(detection, "OFFSETS", detection.OFFSETS[2::3])
        yield
