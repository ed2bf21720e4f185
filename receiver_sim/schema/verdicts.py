"""Thresholds of the verdicts, each with a default that a build may override under `verdicts`.

Common practice, no source, unless a field says otherwise. The rules that read them are in
`judge/verdicts.py`.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.quantity import ANGLE, DECIBEL, FREQUENCY, NUMBER, POWER, VOLTAGE, Quantity

_Turn = Annotated[float, Quantity(ANGLE, "0.01 deg", "3600 deg", example="3 deg")]
_Volts = Annotated[float, Quantity(VOLTAGE, "1 mV", "500 V", example="12 V")]
_Hertz = Annotated[float, Quantity(FREQUENCY, "1 Hz", "1 MHz", example="300 Hz")]
_Watts = Annotated[float, Quantity(POWER, "1 fW", "1 W", example="100 pW")]
_Signal = Annotated[float, Quantity(VOLTAGE, "0.1 uV", "1 V", example="100 uV")]
_Decibel = Annotated[float, Quantity(DECIBEL, "0.1 dB", "100 dB", zero=True, example="10 dB")]
_Ratio = Annotated[float, Quantity(NUMBER, "0.001", "1000", example="1")]


def _threshold(default: str, description: str) -> Any:
    return Field(default=default, description=description)


class Verdicts(BaseModel):
    """Thresholds that separate a pass from a fail."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)

    onset_rotation_min: p.Setting = _threshold(
        "15 %", "Least rotation of the regeneration control at which onset may lie, in every band."
    )
    onset_rotation_max: p.Setting = _threshold(
        "85 %", "Greatest rotation of the regeneration control at which onset may lie, in every band."
    )
    onset_screen_min: _Volts = _threshold(
        "12 V",
        "Lowest screen voltage at onset: below it a pentode detector has little plate current and gain.",
    )
    onset_screen_max: _Volts = _threshold(
        "60 V", "Highest screen voltage at onset: above it the detector is noisy and draws its bias down."
    )
    dial_spread_max: p.Setting = _threshold(
        "25 %", "Most by which the rotation at onset may differ between the ends of one band."
    )
    approach_min: _Turn = _threshold(
        "4 deg", "Least turn of the knob from loop gain 0.9 to 1; below it the control is touchy."
    )
    backlash_max: _Turn = _threshold(
        "3 deg", "Most turn of the knob from where oscillation jumps in back to where it lets go."
    )
    mains_drift_max: _Ratio = _threshold(
        "1", "Most screen drift for mains +-10 %, as a multiple of the volts from loop gain 0.9 to 1."
    )
    coil_q_min: p.CoilQ = _threshold(
        "50",
        "Least Q of a coil at either end of its band, without tube and aerial; those of the trade have 100.",
    )
    coil_q_max: p.CoilQ = _threshold(
        "300", "Greatest Q of a coil there: plug-in coils of the trade measured 100 to 250."
    )
    heater_over_max: p.Setting = _threshold(
        "10 %", "Most by which a heater's voltage may lie above what its card rates."
    )
    heater_under_max: p.Setting = _threshold(
        "10 %", "Most by which a heater's voltage may lie below what its card rates."
    )
    hum_power_max: _Watts = _threshold(
        "100 pW",
        "Most hum power in a pair of phones: 30 dB SPL at 100 dB SPL/mW (from memory, low), near the hearing "
        "threshold at 100 Hz (26.5 dB SPL, ISO 226:2003).",
    )
    audio_low_max: _Hertz = _threshold(
        "500 Hz", "Highest allowed lower -3 dB point of an output, against its volts at 1 kHz."
    )
    audio_high_min: _Hertz = _threshold(
        "2.5 kHz", "Lowest allowed upper -3 dB point of an output, against its volts at 1 kHz."
    )
    loudness_signal: _Signal = _threshold(
        "100 uV", "E.m.f. in the aerial of the weak station (30 % AM) whose loudness is judged."
    )
    loudness_min: _Decibel = _threshold(
        "10 dB", "Least by which that station is to be above the threshold of hearing (ISO 226:2003)."
    )
