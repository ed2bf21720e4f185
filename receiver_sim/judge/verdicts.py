"""Is the receiver good enough? Rules over results and thresholds of the build (guide: verdicts)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.physics.hearing import threshold_db
from receiver_sim.results.audio import AudioResponse, Hum, Loudness, OutputHum
from receiver_sim.results.bands import BandReport, Grade, Verdict
from receiver_sim.results.base import Status
from receiver_sim.results.bias import MainsPoint, OperatingPoint, RegulatorDrift
from receiver_sim.results.envelope import BandOscillation, OnsetKind, Oscillation, Stability, Steadiness
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.onset import REVERSED, Onset
from receiver_sim.schema import Build
from receiver_sim.schema.verdicts import Verdicts


def _percent(fraction: float) -> str:
    return f"{100.0 * fraction:.0f} %"


def feedback_of(build: Build) -> str:
    """Return what a constructor changes in this build to have more feedback or less."""
    return "tap" if build.bands[0].coil.tickler is None else "tickler's coupling"


def judge_bands(bands: Iterable[BandReport], limits: Verdicts, *, feedback: str = "tap") -> list[Verdict]:
    """Judge onset on every band: is it there at all dial settings, in the useful part of the control, gentle,
    even?

    feedback: what is changed for more or less of it, see `feedback_of`.
    """
    verdicts: list[Verdict] = []
    for band in bands:
        silent = [onset for onset in band.onsets if onset.status is not Status.OSCILLATES]
        if silent:
            verdicts += _absence(band, silent, feedback)
            continue
        verdicts.append(_existence(band.middle))
        verdicts += _place(band, limits, feedback)
        verdicts += _gentleness(band, limits)
        verdicts.append(_evenness(band, limits))
    return verdicts


def _existence(onset: Onset) -> Verdict:
    rotation = onset.onset.rotation if onset.onset is not None else 0.0
    text = f"oscillation starts at {_percent(rotation)} of the control"
    return Verdict(onset.band, "onset", Grade.GOOD, 100.0 * rotation, None, "%", text)


_NO_FEEDBACK = 0.05
"""Loop gain below which there is no feedback to speak of: a tap or a tickler is missing or shorted."""


def _absence(band: BandReport, silent: Sequence[Onset], feedback: str) -> Iterator[Verdict]:
    """Say what keeps a band from having an onset, once for all dial settings it is true of, with what
    follows from it.
    """
    for status in dict.fromkeys(onset.status for onset in silent):
        those = [onset for onset in silent if onset.status is status]
        where = band.band
        if len(those) < len(band.onsets):
            where += f" at {' and '.join(f'{o.dial_hz / 1e6:.4g}' for o in those)} MHz"
        if status is Status.FAILED:
            reasons = "; ".join(dict.fromkeys(text for onset in those for text in onset.warnings))
            yield Verdict(where, "onset", Grade.BAD, None, None, "", f"the simulation failed: {reasons}")
        elif status is Status.DOES_NOT:
            gain = max((o.gain_highest for o in those if o.gain_highest is not None), default=None)
            cure = f"raise the {feedback}, the coil's Q or the reach of the control, or loosen the aerial"
            if gain is not None and gain < _NO_FEEDBACK:
                cure = (
                    "almost no feedback; check the voltages of the tube, and that the "
                    f"{feedback} is high enough"
                )
            if gain is not None and gain < _NO_FEEDBACK and _throttled(band):
                cure = (
                    "almost no feedback; fit a throttle with more capacitance, or raise the "
                    f"{feedback}, and check the voltages of the tube"
                )
            if any(REVERSED in onset.warnings for onset in those):
                cure = REVERSED
            text = (
                f"does not oscillate at any setting: {cure}. Without an onset there is no regeneration: "
                "little gain, no selectivity beyond the bare coil's, no beat note with Morse"
            )
            yield Verdict(where, "onset", Grade.BAD, gain, 1.0, "1", text)
        else:
            gain = max((o.gain_lowest for o in those if o.gain_lowest is not None), default=None)
            text = (
                f"oscillates already at the lowest setting: lower the {feedback} or {_further_down(band)}. "
                "It cannot be brought below onset: every carrier whistles, and speech is lost"
            )
            yield Verdict(where, "onset", Grade.BAD, gain, 1.0, "1", text)


def _throttled(band: BandReport) -> bool:
    """Return whether the control is a capacitor."""
    return band.against_screen is not None and band.against_screen.unit == "F"


def _further_down(band: BandReport) -> str:
    return (
        "fit a throttle with less minimum capacitance"
        if _throttled(band)
        else "the bottom resistor of the control"
    )


def _further_up(band: BandReport) -> str:
    return "feed the screen with more volts" if _throttled(band) else "feed the control from more volts"


def _place(band: BandReport, limits: Verdicts, feedback: str) -> Iterator[Verdict]:
    rotations = [100.0 * o.onset.rotation for o in band.onsets if o.onset is not None]
    volts = [o.onset.screen_v or 0.0 for o in band.onsets if o.onset is not None]
    lowest, highest = min(rotations), max(rotations)
    least, most = 100.0 * limits.onset_rotation_min, 100.0 * limits.onset_rotation_max
    if lowest < least:
        text = f"onset lies near the lower stop: lower the {feedback} or {_further_down(band)}"
        yield Verdict(band.band, "onset_rotation_min", Grade.DOUBTFUL, lowest, least, "%", text)
    if highest > most:
        text = f"onset lies near the upper stop: raise the {feedback} or {_further_up(band)}"
        yield Verdict(band.band, "onset_rotation_max", Grade.DOUBTFUL, highest, most, "%", text)
    if lowest >= least and highest <= most:
        text = "onset lies in the useful part of the control"
        yield Verdict(band.band, "onset_rotation", Grade.GOOD, highest, most, "%", text)
    if any(o.onset.screen_v is None for o in band.onsets if o.onset is not None):
        return  # the control does not set the screen
    if min(volts) < limits.onset_screen_min:
        text = (
            f"the screen is starved at onset: little gain; lower the {feedback} so that onset needs a higher "
            "screen voltage"
        )
        yield Verdict(
            band.band, "onset_screen_min", Grade.DOUBTFUL, min(volts), limits.onset_screen_min, "V", text
        )
    if max(volts) > limits.onset_screen_max:
        text = f"onset needs a high screen voltage: raise the {feedback}"
        yield Verdict(
            band.band, "onset_screen_max", Grade.DOUBTFUL, max(volts), limits.onset_screen_max, "V", text
        )
    if min(volts) >= limits.onset_screen_min and max(volts) <= limits.onset_screen_max:
        text = "the screen voltage at onset is that of a working detector"
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


def judge_oscillation(
    bands: Iterable[BandOscillation], limits: Verdicts, *, feedback: str = "tap"
) -> list[Verdict]:
    """Judge how oscillation comes in: does it slide in, and does it hold still once it is there?"""
    verdicts: list[Verdict] = []
    for band in bands:
        found = band.oscillation
        if found.kind is not None:
            verdicts.append(_backlash(found, limits, feedback))
        verdicts += [_steadiness(steady) for steady in band.stability[:1]]
    return verdicts


def _backlash(found: Oscillation, limits: Verdicts, feedback: str) -> Verdict:
    turn = 0.0 if found.jump is None else found.jump.backlash_deg
    if found.kind is OnsetKind.SOFT:
        text = "oscillation slides in and out at the same setting"
    elif turn <= limits.backlash_max:
        text = "oscillation jumps, but lets go within a hair's breadth of the knob"
    else:
        text = (
            "oscillation jumps in and continues below its onset, where weak signals are heard best: a larger "
            f"grid leak, less {feedback}{_stiffer(found)} softens it"
        )
    grade = Grade.GOOD if turn <= limits.backlash_max else Grade.BAD
    return Verdict(found.band, "backlash_max", grade, turn, limits.backlash_max, "deg", text)


def _stiffer(found: Oscillation) -> str:
    """Return the cure that lies in the feed of what the control sets; none for one in farads."""
    known = found.amplitudes
    if known is None or known.screen_v is not None:
        return ", or a stiffer supply of the screen"
    return ", or a stiffer feed of the plate" if known.unit == "V" else ""


def _steadiness(found: Stability) -> Verdict:
    growing = [p for p in found.points if p.growing]
    if not growing:
        text = "the oscillation holds still at every setting looked at"
        if found.stray_margin_farad is not None:
            stray = 1e12 * found.stray_margin_farad
            text += f"; {stray:.2f} pF from the audio plate to the detector's grid would make it howl"
        return Verdict(found.band, "holds_still", Grade.GOOD, None, None, "", text)
    worst = max(growing, key=lambda p: float(p.rate[0]))
    knobs = [100.0 * p.setting.rotation for p in growing]
    if found.begins_rotation is not None and found.ends_rotation is not None:
        knobs = [100.0 * found.begins_rotation, 100.0 * found.ends_rotation]
    # what grows at rest does so below onset, too, where no setting was looked at
    alone = ", oscillating or not," if found.kind is Steadiness.MOTORBOATING else ""
    text = (
        f"{found.kind.value}{alone} from {min(knobs):.0f} to {max(knobs):.0f} % of the control, carried by "
        f"{worst.carried_by[0][0]}: `receiver-sim onset` tries remedies"
    )
    return Verdict(found.band, "holds_still", Grade.BAD, float(worst.rate[0]), 0.0, "1/s", text)


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
    subject = "regulator" if held else "supply"
    nominal = next(p for p in drift.points if p.mains == 1.0)
    ratio = _drift_ratio(drift.points, nominal, onset)
    if ratio is not None:
        grade = Grade.GOOD if ratio <= limits.mains_drift_max else Grade.DOUBTFUL
        cure = "regulate it better" if held else "put a regulator ahead of the control"
        text = (
            "a change of the supply by a tenth does not upset the setting"
            if grade is Grade.GOOD
            else f"a supply 10 % off moves the set through the whole approach to onset: {cure}"
        )
        verdicts.append(Verdict(subject, "mains_drift_max", grade, ratio, limits.mains_drift_max, "1", text))
    return verdicts


def _drift_ratio(points: Sequence[MainsPoint], nominal: MainsPoint, onset: Onset) -> float | None:
    """Return how far 10 % of the supply move the setting, over the approach to onset; None without one.

    What the knob sets moves towards onset, or, of a control that no supply moves, onset towards the knob.
    """
    if onset.approach_v:
        return float(max(abs(p.figure - nominal.figure) for p in points) / onset.approach_v)
    approach = onset.approach
    places = [p.onset.figure for p in points if p.onset is not None]
    if not approach or nominal.onset is None or not places:
        return None
    return float(max(abs(place - nominal.onset.figure) for place in places) / approach)


def judge_audio(audio: AudioResponse, build: Build, limits: Verdicts) -> list[Verdict]:
    """Judge the -3 dB points of each output in which anybody listens."""
    verdicts = []
    for phone, output in zip(build.phones, audio.outputs, strict=True):
        if phone.state == "open":
            continue
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


def judge_loudness(heard: Iterable[Loudness], limits: Verdicts) -> list[Verdict]:
    """Judge how far a weak station is above the threshold of hearing, in dB, in each load."""
    verdicts = []
    for one in heard:
        signal = f"a station of {one.carrier_v * 1e6:.3g} uV, 30 % modulated"
        if one.volume_up:
            signal += ", with the volume fully up"
        above = None if one.level_db is None else one.level_db - one.threshold_db
        if above is None or above < 0.0:
            grade = Grade.BAD
            text = f"nothing is heard of {signal}: {_QUIET}"
        elif above < limits.loudness_min:
            grade, text = (
                Grade.DOUBTFUL,
                f"faint: {signal} is only just above the threshold of hearing; {_QUIET}",
            )
        else:
            grade, text = Grade.GOOD, f"{signal} is well above the threshold of hearing"
        verdicts.append(Verdict(one.output, "loudness_min", grade, above, limits.loudness_min, "dB", text))
    return verdicts


_QUIET = (
    "see coupling capacitors, bias and by-passes of the audio stage, the match of the phones and the "
    "coupling of the aerial"
)


def judge_hum(hum: Hum, build: Build, limits: Verdicts, *, paths: HumPaths | None = None) -> list[Verdict]:
    """Judge the hum power in each load at the build's own position of the hum pot.

    paths: the same hum by its paths, with every line of the ripple and the magnetic pick-up; without them the
    heaters' line and the ripple's first are all that is judged, and the advice is general.
    """
    verdicts = []
    for index, output in enumerate(hum.outputs):
        if build.phones[index].state == "open":
            continue
        if paths is None:
            # the load's power at the line frequency; the ripple's higher reactance is left out, on the safe
            # side
            admittance = 1.0 / complex(load_impedance(build, index, hum.mains_hz))
            power = output.at_build_v**2 * admittance.real
            advice = "`receiver-sim hum` shows by which path"
        else:
            power = sum(hum_watts(paths, build, index).values())
            heard = hum_watts(paths, build, index, by_ear=True)
            largest = max(heard, key=lambda path: heard[path])
            # paths that work against the rest can bring the largest above the whole
            share = _percent(min(heard[largest] / sum(heard.values()), 1.0)) if power > 0.0 else "0 %"
            advice = f"{share} of what is heard by '{largest}': {_against_hum(largest, output, build)}"
        grade = Grade.GOOD if power <= limits.hum_power_max else Grade.DOUBTFUL
        text = "hum stays near the threshold of hearing" if grade is Grade.GOOD else f"audible hum, {advice}"
        verdicts.append(
            Verdict(output.output, "hum_power_max", grade, power, limits.hum_power_max, "W", text)
        )
    return verdicts


def hum_watts(paths: HumPaths, build: Build, index: int, *, by_ear: bool = False) -> dict[str, float]:
    """Return what each path gives one load, W; one that works against the rest is negative.

    A path counts by its part in phase with the whole at each line, so the sum is the power in the load.
    by_ear: each line divided by the power at the threshold of hearing there over that at 0 dB SPL
    (ISO 226:2003), so that a line counts as it is heard.
    """
    total = np.asarray(sum(part[index] for part in paths.parts.values()))
    loads = np.array([complex(load_impedance(build, index, float(f))) for f in paths.frequency_hz])
    weight = (1.0 / loads).real
    if by_ear:
        weight = weight / 10.0 ** (np.array([threshold_db(float(f)) for f in paths.frequency_hz]) / 10.0)
    return {
        name: float(np.sum((part[index] * np.conj(total)).real * weight))
        for name, part in paths.parts.items()
    }


_NEAR_NULL = 1.12
"""Hum at the pot's present place over that at its null, below which turning it gains less than 1 dB."""


_AGAINST = {
    "ripple by the screen": "a larger by-pass at the screen or another filter section",
    "ripple by the audio stages": "decouple the audio stage better or filter the supply further",
    "ripple": "filter the supply further, with another section of resistor or choke and capacitor",
    "field into": "turn, move or shield that winding, away from the mains transformer",
    "heater field": "heat with smooth d.c., or try another tube of the type",
}
"""What helps against a path of hum, by the beginning of its name; the first that fits counts."""


def _against_hum(path: str, output: OutputHum, build: Build) -> str:
    """Say what helps against the path that hums most, and nothing that the build has already."""
    for start, cure in _AGAINST.items():
        if path.startswith(start):
            return cure
    heater = build.heater
    if heater.supply != "ac":
        return "smooth the d.c. of the heaters better"
    if heater.wiring != "hum_pot":
        return "a hum pot across the heaters balances it out, or heat with smooth d.c."
    if output.at_build_v > _NEAR_NULL * output.best_v:
        return f"the hum pot at {_percent(output.best_position)} leaves {output.best_v * 1e3:.3g} mV"
    return "the hum pot is at its null; keep heater leads off the grid, or heat with smooth d.c."


def judge_safety(build: Build) -> list[Verdict]:
    """Judge what may hurt: a charge that stays, plate potential on a lead, a capacitor over its rating."""
    verdicts = []
    supply = build.supply
    stored = supply.kind != "battery" or supply.capacitor is not None
    if supply.bleeder is None and stored:
        text = "no bleeder: the supply's capacitors stay charged after switching off; fit one"
        verdicts.append(Verdict("supply", "bleeder", Grade.BAD, None, None, "", text))
    # a rectifier's volts with the tubes cold; 10 % more for the highest mains
    highest = 1.1 * max(supply.volts, getattr(supply, "peak_volts", 0.0))
    for phone in build.phones:
        if phone.at != "plate":
            continue
        if phone.drain is None:  # every plug is pulled some day
            where = "on the open lead" if phone.state == "open" else "on the lead once its plug is pulled"
            text = f"plate potential {where}: fit a drain resistor behind the capacitor"
            verdicts.append(Verdict(phone.name, "plate_potential", Grade.BAD, highest, 0.0, "V", text))
        rating = phone.capacitor_rating
        if rating is None:
            text = (
                "the build does not say what volts its blocking capacitor stands (key "
                "'capacitor_rating'): it "
                f"needs {highest:.0f} V or more, and if it fails, the lead is at plate voltage"
            )
            verdicts.append(Verdict(phone.name, "capacitor_rating", Grade.DOUBTFUL, None, highest, "V", text))
        elif rating < highest:
            text = (
                "the blocking capacitor is rated below the supply: if it fails, the lead is at plate voltage"
            )
            verdicts.append(Verdict(phone.name, "capacitor_rating", Grade.BAD, highest, rating, "V", text))
    return verdicts


def judge_filter(given: Build, settled: Build) -> list[Verdict]:
    """Judge each rated filter capacitor of a rectifier supply against the volts with the tubes cold and the
    mains 10 % high; settled: the build with its supply run.
    """
    if given.supply.kind != "rectifier":
        return []
    highest = 1.1 * getattr(settled.supply, "peak_volts", settled.supply.volts)
    found = []
    for number, part in enumerate(given.supply.filter, start=1):
        if part.rating is not None:
            bad = highest > part.rating
            word = "above" if bad else "within"
            text = f"volts with the tubes cold and the mains 10 % high {word} the rating"
            grade = Grade.BAD if bad else Grade.GOOD
            subject = f"filter capacitor {number}"
            found.append(Verdict(subject, "rating", grade, highest, part.rating, "V", text))
    return found


_HAZARDS = ("bleeder", "plate_potential", "capacitor_rating", "rating", "discharge", "heater_over_max")


def dangers(verdicts: Iterable[Verdict]) -> tuple[str, ...]:
    """Return what must be said before anything else: sentences on hazards and exceeded ratings.

    A hazard that only may be there, such as a capacitor of unknown rating, asks for caution.
    """
    found = [v for v in verdicts if v.rule in _HAZARDS and v.grade is not Grade.GOOD]
    words = {Grade.BAD: "DANGER", Grade.DOUBTFUL: "CAUTION"}
    return tuple(f"{words[v.grade]}, {v.subject}: {v.text}." for v in sorted(found, key=_mildness))


def _mildness(verdict: Verdict) -> bool:
    return verdict.grade is not Grade.BAD
