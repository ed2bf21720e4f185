"""Results on what reaches the phones: response and hum."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.base import FloatArray
from receiver_sim.results.onset import ControlSetting


@dataclass(frozen=True)
class OutputResponse:
    """Response of one output (phones or other load).

    gain: output volts per volt of audio at the detector's grid, against frequency_hz; overall: output volts
    per ampere of rectified current into the grid node, so with the corner of the grid leak in it, relative to
    its value at 1 kHz. low_hz, high_hz: where `overall` lies 3 dB below its value at 1 kHz, None
    where it does not fall that far in the range swept. source_ohm: magnitude of the output impedance at 1
    kHz. gain_1khz at 1 kHz.
    """

    output: str
    frequency_hz: FloatArray
    gain: FloatArray
    overall: FloatArray
    gain_1khz: float
    low_hz: float | None
    high_hz: float | None
    source_ohm: float
    load_ohm: float


@dataclass(frozen=True)
class AudioResponse:
    """Responses of all outputs at one setting of the control."""

    setting: ControlSetting
    outputs: tuple[OutputResponse, ...]


@dataclass(frozen=True)
class OutputHum:
    """Hum at one output, volts r.m.s.

    mains_v: line-frequency volts against pot_position (0..1); ripple_v: volts at the supply's ripple
    frequency, which the pot cannot change; at_build_v: both together (root of squares) at the build's own
    position; best_position and best_v: at the null of the line-frequency part, ripple included.
    """

    output: str
    pot_position: FloatArray
    mains_v: FloatArray
    ripple_v: float
    at_build_v: float
    best_position: float
    best_v: float


@dataclass(frozen=True)
class Hum:
    """Hum at all outputs against the position of the hum pot, at one setting of the control."""

    setting: ControlSetting
    mains_hz: float
    ripple_hz: float
    build_position: float
    outputs: tuple[OutputHum, ...]
