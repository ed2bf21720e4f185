"""Every key of the JSON documents: its unit as the document states it, its value as the result has it."""

from __future__ import annotations

import dataclasses
import enum
import json
import math
import typing
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from receiver_sim.results import document, json_schema
from receiver_sim.results.audio import AudioStudy
from receiver_sim.views.export import document as as_text
from tests.helpers.filling import filled

SI = {
    "_v": "V", "_a": "A", "_w": "W", "_hz": "Hz", "_ohm": "ohm", "_siemens": "S", "_farad": "F",
    "_henry": "H", "_deg": "deg", "_per_v": "1/V", "_hz_per_deg": "Hz/deg", "_v_per_m": "V/m", "_s": "s",
    "_m": "m", "_k": "K", "_db": "dB", "_pa": "Pa",
}  # fmt: skip
"""Names of units of the SI (its brochure, 9th edition), degrees and decibels; no prefix anywhere."""

_PLAIN = """
rotation gain thd harmonics least_share error noise_parts best_position build_position pot_position mains
share sum_error depth coil_q loaded_q q tank_q coupling tap_share tap_ratio can_ratio link_coupling turns
tap_turns link_turns main_rotation band_low band_high coil_loss input_loss leak_loss other_loss target
wanted unshielded shielded tank_share aerial_gain audio_gain overall gain_lowest gain_highest gain_1khz
energy_error onset_error onset_lag amplitude_error unsettled ramp_error steps_per_cycle damping_error
speed_ratio evaluations cost printed model deviation value limit before after found correlation
changes stated low high share_low share_high knob_low knob_middle knob_high
return_ratio parts residuals plate_range screen_range grid_range growing best_gain spread tickler_coupling
curve_gain rest_value figure figure_low figure_middle figure_high
hum_pot preferred stated onset onset_as_stated
worst healthy_deviation
probability deviation healthy_probability seen should suspect before_spread after_spread after moved
hum_pot_before hum_pot_after tap_before tap_after misfit
stray_rotation along_rotation begins_rotation ends_rotation moved_rotation became rules log_prior
"""
PLAIN = frozenset(_PLAIN.split())
"""Shares, ratios, counts; figures whose unit or quantity stands in the field beside them."""

SPELLED = frozenset(
    ("seconds", "engine_seconds", "hours", "rate", "volts", "ripple_phase_rad", "farad", "middles",
     "covariance", "curves")
)  # fmt: skip
"""Say their unit by name or in the docstring of their class: seconds, hours, 1/s, V, radians, F; V and the
logarithm of a gain by turns, and their products; knob and gain."""


def classes(kind: Any, seen: set[type]) -> Iterator[type]:
    """Yield every result class that a type holds."""
    for inner in typing.get_args(kind):
        yield from classes(inner, seen)
    if dataclasses.is_dataclass(kind) and isinstance(kind, type) and kind not in seen:
        seen.add(kind)
        yield kind
        for hint in typing.get_type_hints(kind).values():
            yield from classes(hint, seen)


ALL = list(classes(tuple[tuple(json_schema.VERBS.values())], set()))


def numeric(hint: Any) -> bool:
    """Return whether a field holds numbers."""
    return hint is float or (not isinstance(hint, type) and any(w in str(hint) for w in ("float", "complex")))


def test_units_are_those_of_the_si_without_prefix() -> None:
    """Guards against JSON that says pF for farads."""
    assert document.UNITS == SI
    assert document.document("check", None)["units"] == SI


def test_every_number_of_every_result_has_a_unit_or_is_a_plain_one() -> None:
    """By the longest end of its name that the document lists; a name without one must be known as plain."""
    lost = []
    for kind in ALL:
        for name, hint in typing.get_type_hints(kind).items():
            if not numeric(hint) or any(name.endswith(end) for end in SI):
                continue
            if name not in PLAIN | SPELLED:
                lost.append(f"{kind.__name__}.{name}")
    assert lost == []


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield path and value of every leaf of a document."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from leaves(inner, f"{path}[{number}]")
    else:
        yield path, value


def plainly(value: Any) -> Any:  # noqa: PLR0911 - one return a kind of value
    """Say what a result holds by walking over it, without the program's own conversion."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plainly(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, np.ndarray) and np.iscomplexobj(value):
        return {"re": np.real(value).tolist(), "im": np.imag(value).tolist()}
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, dict):
        return {key: plainly(inner) for key, inner in value.items()}
    if isinstance(value, tuple):
        return [plainly(inner) for inner in value]
    return value


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.__name__)
def test_the_document_holds_each_value_under_its_own_key(kind: type) -> None:
    result = filled(kind)
    seen = json.loads(as_text(result))
    assert dict(leaves(seen)) == dict(leaves(plainly(result)))
    numbers = [v for _, v in leaves(seen) if isinstance(v, float)]
    assert all(math.isfinite(v) for v in numbers)


def test_the_same_stands_in_the_document_of_a_verb() -> None:
    result = filled(AudioStudy)
    whole = document.document("audio", result, warnings=("one",))
    assert whole["verb"] == "audio" and whole["warnings"] == ["one"]
    assert dict(leaves(whole["result"])) == dict(leaves(plainly(result)))
