"""Is the receiver good enough? Rules that judge results against the thresholds of the build (README,
'Verdicts').
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from receiver_sim.netlist.phones import load_impedance
from receiver_sim.results.audio import AudioResponse, Hum
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, RegulatorDrift
from receiver_sim.results.check import BandReport, Grade, Verdict
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Build
from receiver_sim.schema.verdicts import Verdicts


def _percent(fraction: float) -> str:
    return f"{100.0 * fraction:.0f} %"


def judge_bands(bands: Iterable[BandReport], limits: Verdicts) -> list[Verdict]:
    """Judge onset on every band: is it there at all dial settings, in the useful part of the control, gentle,
    even?
    """
    verdicts: list[Verdict] = []
    for band in bands:
        found = [_existence(onset) for onset in band.onsets]
        bad = [v for v in found if v.grade is not Grade.GOOD]
        if bad:
            verdicts += bad
            continue
        # one word for the whole band where there is nothing to say of a dial setting
        verdicts.append(replace(found[len(found) // 2], subject=band.band))
        verdicts += _place(band, limits)
        verdicts += _gentleness(band, limits)
        verdicts.append(_evenness(band, limits))
    return verdicts


def _existence(onset: Onset) -> Verdict:
    where = f"{onset.band} at {onset.dial_hz / 1e6:.4g} MHz"
    rule = "onset"
    if onset.status is Status.OSCILLATES and onset.onset is not None:
        text = f"oscillation starts at {_percent(onset.onset.rotation)} of the control"
        return Verdict(where, rule, Grade.GOOD, 100.0 * onset.onset.rotation, None, "%", text)
    if onset.status is Status.DOES_NOT:
        text = (
            "does not oscillate at any setting: raise the tap, the coil's Q or the reach of the control, "
            "or loosen the aerial"
        )
        return Verdict(where, rule, Grade.BAD, onset.gain_highest, 1.0, "1", text)
    if onset.status is Status.NOT_IN_RANGE:
        text = "oscillates already at the lowest setting: lower the tap or the bottom resistor of the control"
        return Verdict(where, rule, Grade.BAD, onset.gain_lowest, 1.0, "1", text)
    text = "the simulation failed: " + "; ".join(onset.warnings)
    return Verdict(where, rule, Grade.BAD, None, None, "", text)


def _place(band: BandReport, limits: Verdicts) -> Iterator[Verdict]:
    rotations = [100.0 * o.onset.rotation for o in band.onsets if o.onset is not None]
    volts = [o.onset.screen_v for o in band.onsets if o.onset is not None]
    lowest, highest = min(rotations), max(rotations)
    least, most = 100.0 * limits.onset_rotation_min, 100.0 * limits.onset_rotation_max
    if lowest < least:
        text = "onset lies near the lower stop: lower the tap or the bottom resistor of the control"
        yield Verdict(band.band, "onset_rotation_min", Grade.DOUBTFUL, lowest, least, "%", text)
    if highest > most:
        text = "onset lies near the upper stop: raise the tap or feed the control from more volts"
        yield Verdict(band.band, "onset_rotation_max", Grade.DOUBTFUL, highest, most, "%", text)
    if lowest >= least and highest <= most:
        text = "onset lies in the useful part of the control"
        yield Verdict(band.band, "onset_rotation", Grade.GOOD, highest, most, "%", text)
    if min(volts) < limits.onset_screen_min:
        text = (
            "the screen is starved at onset: little gain; lower the tap so that onset needs more screen volts"
        )
        yield Verdict(
            band.band, "onset_screen_min", Grade.DOUBTFUL, min(volts), limits.onset_screen_min, "V", text
        )
    if max(volts) > limits.onset_screen_max:
        text = "onset needs many screen volts: raise the tap"
        yield Verdict(
            band.band, "onset_screen_max", Grade.DOUBTFUL, max(volts), limits.onset_screen_max, "V", text
        )
    if min(volts) >= limits.onset_screen_min and max(volts) <= limits.onset_screen_max:
        text = "screen volts at onset are those of a working detector"
        yield Verdict(band.band, "onset_screen", Grade.GOOD, max(volts), limits.onset_screen_max, "V", text)


def _gentleness(band: BandReport, limits: Verdicts) -> Iterator[Verdict]:
    turns = [o.approach_deg for o in band.onsets if o.approach_deg is not None]
    if not turns:
        text = "the loop gain is above 0.9 over the whole control: no approach to judge"
        yield Verdict(band.band, "approach_min", Grade.DOUBTFUL, None, limits.approach_min, "deg", text)
        return
    grade = Grade.GOOD if min(turns) >= limits.approach_min else Grade.DOUBTFUL
    text = (
        "the knob has enough travel between loop gain 0.9 and 1"
        if grade is Grade.GOOD
        else "the control is touchy: spread it with end resistors, a slow-motion drive or a pot of other law"
    )
    yield Verdict(band.band, "approach_min", grade, min(turns), limits.approach_min, "deg", text)


def _evenness(band: BandReport, limits: Verdicts) -> Verdict:
    rotations = [100.0 * o.onset.rotation for o in band.onsets if o.onset is not None]
    spread, most = max(rotations) - min(rotations), 100.0 * limits.dial_spread_max
    grade = Grade.GOOD if spread <= most else Grade.DOUBTFUL
    text = (
        "onset moves little over the dial"
        if grade is Grade.GOOD
        else "the control must be followed over the dial: a narrower band or a looser aerial evens it"
    )
    return Verdict(band.band, "dial_spread_max", grade, spread, most, "%", text)


def judge_bias(points: Iterable[OperatingPoint]) -> list[Verdict]:
    """Judge every rating at every setting; the worst setting of each rating counts."""
    worst: dict[tuple[str, str], Verdict] = {}
    for point in points:
        for line in point.ratings:
            grade = Grade.BAD if line.exceeded else Grade.GOOD
            text = (
                f"{line.quantity} above the rating with the control at {_percent(point.setting.rotation)}"
                if line.exceeded
                else f"{line.quantity} within the rating"
            )
            key = (line.part, line.quantity)
            if key not in worst or line.value > (worst[key].value or 0.0):
                worst[key] = Verdict(line.part, "rating", grade, line.value, line.limit, line.unit, text)
    return list(worst.values())


def judge_regulator(drift: RegulatorDrift, onset: Onset, limits: Verdicts) -> list[Verdict]:
    """Judge whether the regulator holds over the mains, and whether the drift of the screen upsets the
    setting.
    """
    verdicts = []
    held = [p for p in drift.points if p.holds is not None]
    failing = [p for p in held if not p.holds]
    if failing:
        worst = failing[0]
        text = f"at {_percent(worst.mains)} of the mains: {worst.reason}"
        verdicts.append(
            Verdict("regulator", "regulator_holds", Grade.BAD, worst.regulator_a, None, "A", text)
        )
    elif held:
        text = "regulates at 90, 100 and 110 % of the mains"
        verdicts.append(
            Verdict(
                "regulator",
                "regulator_holds",
                Grade.GOOD,
                min(p.regulator_a or 0.0 for p in held),
                None,
                "A",
                text,
            )
        )
    nominal = next(p for p in drift.points if p.mains == 1.0)
    moved = max(abs(p.screen_v - nominal.screen_v) for p in drift.points)
    if onset.approach_v:
        ratio = moved / onset.approach_v
        grade = Grade.GOOD if ratio <= limits.mains_drift_max else Grade.DOUBTFUL
        text = (
            "a change of the mains does not upset the setting"
            if grade is Grade.GOOD
            else "mains 10 % off move the screen through the whole approach to onset: regulate it better"
        )
        verdicts.append(
            Verdict("regulator", "mains_drift_max", grade, ratio, limits.mains_drift_max, "1", text)
        )
    return verdicts


def judge_audio(audio: AudioResponse, limits: Verdicts) -> list[Verdict]:
    """Judge the -3 dB points of each output."""
    verdicts = []
    for output in audio.outputs:
        low, high = output.low_hz, output.high_hz
        found = []
        if low is not None and low > limits.audio_low_max:
            text = "thin: larger coupling and by-pass capacitors or more output inductance help"
            found.append(("audio_low_max", low, limits.audio_low_max, text))
        if high is not None and high < limits.audio_high_min:
            text = "dull: a smaller RF filter capacitor, a lower load or a smaller grid leak helps"
            found.append(("audio_high_min", high, limits.audio_high_min, text))
        verdicts += [Verdict(output.output, r, Grade.DOUBTFUL, v, m, "Hz", text) for r, v, m, text in found]
        if not found:
            text = "passes the speech band"
            limit = limits.audio_high_min
            verdicts.append(Verdict(output.output, "audio_band", Grade.GOOD, high, limit, "Hz", text))
    return verdicts


def judge_hum(hum: Hum, build: Build, limits: Verdicts) -> list[Verdict]:
    """Judge the hum power in each load at the build's own position of the hum pot."""
    verdicts = []
    for index, output in enumerate(hum.outputs):
        if build.phones[index].state == "open":
            continue
        # the load's power at the line frequency; the ripple's higher reactance is left out, on the safe side
        admittance = 1.0 / complex(load_impedance(build, index, hum.mains_hz))
        power = output.at_build_v**2 * admittance.real
        grade = Grade.GOOD if power <= limits.hum_power_max else Grade.DOUBTFUL
        text = "hum stays near the threshold of hearing"
        if grade is not Grade.GOOD:
            left = f"{output.best_v * 1e3:.3g} mV"
            text = f"audible hum; the hum pot at {_percent(output.best_position)} leaves {left}"
        verdicts.append(
            Verdict(output.output, "hum_power_max", grade, power, limits.hum_power_max, "W", text)
        )
    return verdicts


def judge_safety(build: Build) -> list[Verdict]:
    """Judge what may hurt: a charge that stays, plate potential on a lead, a capacitor over its rating."""
    verdicts = []
    supply = build.supply
    if supply.bleeder is None and supply.kind != "battery":
        text = "no bleeder: the supply's capacitors stay charged after switching off; fit one"
        verdicts.append(Verdict("supply", "bleeder", Grade.BAD, None, None, "", text))
    # a rectifier's volts with the tubes cold; 10 % more for the highest mains
    highest = 1.1 * max(supply.volts, getattr(supply, "peak_volts", 0.0))
    for phone in build.phones:
        if phone.at == "plate" and phone.state == "open" and phone.drain is None:
            text = "plate potential on the open lead: fit a drain resistor behind the capacitor"
            verdicts.append(Verdict(phone.name, "plate_potential", Grade.BAD, highest, 0.0, "V", text))
        rating = phone.capacitor_rating
        if rating is not None and rating < highest:
            text = "the blocking capacitor is rated below the supply: if it fails, the lead is at plate volts"
            verdicts.append(Verdict(phone.name, "capacitor_rating", Grade.BAD, highest, rating, "V", text))
    return verdicts


def dangers(verdicts: Iterable[Verdict]) -> tuple[str, ...]:
    """Return what must be said before anything else: sentences on hazards and exceeded ratings."""
    hazards = ("bleeder", "plate_potential", "capacitor_rating", "rating", "discharge")
    bad = [v for v in verdicts if v.grade is Grade.BAD and v.rule in hazards]
    return tuple(f"DANGER, {v.subject}: {v.text}." for v in bad)
