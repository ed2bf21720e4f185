"""Printed tables of the envelope view."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from receiver_sim.results import cautions
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import (
    BandOscillation,
    Detection,
    DetectionCurve,
    EnvelopeModes,
    MapEnd,
    OnsetKind,
    Oscillation,
    OscillationReport,
    Sound,
    SpeechSetting,
    Stability,
    Verification,
)
from receiver_sim.views.control_words import Words, set_to, words_of
from receiver_sim.views.failed import failed_sections
from receiver_sim.views.numbers import NOTHING, engineering, fixed, percent
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet
from receiver_sim.views.sheet import note_under as _note
from receiver_sim.views.states import IN_SHORT, onset_beyond, told_once


def oscillation_sheet(report: OscillationReport) -> Sheet:
    """Return how oscillation comes in on each band, comparisons and stability."""
    sections = [oscillation_table(report), *failed_sections(report.failed)]
    if any(b.overlays for b in report.bands):
        sections.append(_overlay_table(report))
    if any(b.stability for b in report.bands):
        sections.append(_stability_table(report))
    return Sheet(f"{report.title}: onset of oscillation", tuple(sections))


_COLUMNS = {
    "band": Column("band", "left"),
    "kind": Column("onset is", "left"),
    "knob": Column("knob\n%"),
    "screen": Column("{name}\n{unit}"),
    "backlash_v": Column("backlash\n{unit}"),
    "backlash_deg": Column("backlash\ndeg"),
    "top_v": Column("top\nV peak"),
    "top_knob": Column("top at\nknob %"),
    "grid": Column("grid at\ntop V"),
    "builds_up": Column("builds\nup ms"),
    "shift": Column("shift\nHz/{unit}"),
}

_TOP = "top: amplitude at the hot end at the highest setting computed, which is given beside it"


def _sets(found: Sequence[Oscillation]) -> Words:
    """Return how the figures of the control are shown."""
    return words_of([*(one.amplitudes for one in found), *(one.onset for one in found)])


def _grid(found: Sequence[Oscillation], *names: str) -> Grid:
    """Return the named columns with a row for each answer."""
    cells = [_cells(one) for one in found]
    shown = _sets(found)
    says = {"name": shown.name, "unit": shown.unit}
    heads = [Column(_COLUMNS[n].heading.format(**says), _COLUMNS[n].align) for n in names]
    return Grid(tuple(heads), tuple(tuple(row[n] for n in names) for row in cells))


def oscillation_table(report: OscillationReport) -> Section:
    """Return one row a band: kind, onset, backlash, amplitude, build-up, drift."""
    found = [b.oscillation for b in report.bands]
    notes = [_note(text) for text in told_once((one.band, text) for one in found for text in one.warnings)]
    notes += [note for one in found for note in (*_beyond_notes(one), *_end_notes(one))]
    notes += [_note(text) for text in report.warnings]
    above = f"builds up: from thermal volts to 90 %, {_sets(found).name} 1 % above onset"
    notes.append(_note(f"{_TOP}; {above}; shift: of frequency"))
    return Section("How oscillation comes in", (_grid(found, *_COLUMNS), *notes), cautions.ALL)


def _end_notes(found: Oscillation) -> list[Note]:
    """Say where a map of amplitudes ends short of the top of the control."""
    amplitudes = found.amplitudes
    if amplitudes is None or amplitudes.ends is MapEnd.CONTROL:
        return []
    at = f"{fixed(float(amplitudes.rotation[-1]), 1, 100.0)} % of the knob"
    volts = engineering(float(amplitudes.amplitude_v[-1]), "V")
    if amplitudes.ends is MapEnd.REACH:
        text = f"at {at} it reaches {volts}, beyond what a grid stands; further up it was not followed"
    elif amplitudes.ends is MapEnd.FOLD:
        text = f"strongest at {at}, {volts}; further up the control sustains less: not followed there"
    else:
        text = f"followed up to {at}, {volts}; further up no solution was found and its strength is not known"
    return [_note(f"{_name(found)}: {text}")]


def _name(found: Oscillation) -> str:
    """Return the band, with the resistance added in the screen's lead for a comparison."""
    if found.extra_screen_ohm > 0.0:
        return f"{found.band} with {engineering(found.extra_screen_ohm, 'ohm')} more"
    return found.band


def _beyond_notes(found: Oscillation) -> list[Note]:
    """Say of a band without onset on the control what a shock starts, and where onset would be."""
    notes = []
    band = _name(found)
    started = found.once_started
    if started is not None:
        at, volts = started.holds_from, engineering(started.amplitude_v, "V")
        if started.lets_go:
            where = (
                f"it continues from {set_to(at, 2)} {words_of([at]).name}, {fixed(at.rotation, 1, 100.0)} % "
                f"of the knob, up, until it is turned back below: {volts} peak there"
            )
        else:
            where = (
                "it continues at every setting of the control and turning back does not end it: "
                f"{volts} peak at the bottom"
            )
        top = "" if started.top_v is None else f", {engineering(started.top_v, 'V')} at the top"
        notes.append(
            _note(
                f"{band}: once started (switching on, a loud crackle, a key close by) {where}{top}. "
                f"It takes a shock of some {engineering(started.shock_v, 'V')} at the top, more further down"
            )
        )
    beyond = onset_beyond(found)
    return notes if beyond is None else [*notes, _note(f"{band}: {beyond}")]


def _cells(found: Oscillation) -> dict[str, str]:
    jump, amplitudes, up = found.jump, found.amplitudes, found.build_up
    sets = _sets([found])
    soft = found.kind is OnsetKind.SOFT
    return {
        "band": found.band,
        "kind": found.status.value if found.kind is None else found.kind.value,
        "knob": fixed(None if found.onset is None else found.onset.rotation, 1, 100.0),
        "screen": sets.shown(None if found.onset is None else found.onset.figure, 2),
        "backlash_v": "0" if soft else sets.shown(None if jump is None else jump.backlash, 2),
        "backlash_deg": "0" if soft else fixed(None if jump is None else jump.backlash_deg, 1),
        "top_v": fixed(None if amplitudes is None else float(amplitudes.amplitude_v[-1]), 2),
        "top_knob": fixed(None if amplitudes is None else float(amplitudes.rotation[-1]), 1, 100.0),
        "grid": fixed(None if amplitudes is None else float(amplitudes.grid_v[-1]), 2),
        "builds_up": fixed(None if up is None or up.seconds is None else up.seconds, 1, 1e3),
        "shift": sets.per(found.shift, 2),
    }


def comes_in_table(bands: Sequence[BandOscillation], *, told: Collection[str] = ()) -> Section:
    """Return one row a band in short: kind of onset, backlash, amplitude, and whether it holds still.

    told: warnings that the page has given already.
    """
    found = [band.oscillation for band in bands]
    names = ("band", "kind", "backlash_v", "backlash_deg", "top_v", "top_knob", "grid", "shift")
    grid = _grid(found, *names)
    then = [band.stability[0].kind.value if band.stability else NOTHING for band in bands]
    rows = tuple((*row, last) for row, last in zip(grid.rows, then, strict=True))
    fresh = ((one.band, text) for one in found for text in one.warnings if text not in told)
    notes = [_note(text) for text in told_once(fresh)]
    notes += [note for one in found for note in _end_notes(one)]
    notes.append(_note(f"middle of the dial; {_TOP}; more: `receiver-sim onset`"))
    columns = (*grid.columns, Column("then it", "left"))
    return Section("How oscillation comes in", (Grid(columns, rows), *notes))


def _overlay_table(report: OscillationReport) -> Section:
    every = [found for band in report.bands for found in (band.oscillation, *band.overlays)]
    grid = _grid(every, "band", "kind", "knob", "backlash_v", "top_v", "top_knob")
    more = [NOTHING if o.extra_screen_ohm == 0.0 else engineering(o.extra_screen_ohm, "ohm") for o in every]
    columns = (grid.columns[0], Column("more to the screen"), *grid.columns[1:])
    rows = tuple((row[0], extra, *row[1:]) for row, extra in zip(grid.rows, more, strict=True))
    weak = [found for b in report.bands for found in b.overlays]
    notes = [note for one in weak for note in (*_beyond_notes(one), *_end_notes(one))]
    return Section("With a weaker supply of the screen", (Grid(columns, rows), *notes))


def _stability_table(report: OscillationReport) -> Section:
    columns = (
        Column("band", "left"),
        Column("circuit", "left"),
        Column("it", "left"),
        Column("at knob\n%"),
        Column("mode\nHz"),
        Column("grows\n1/s"),
        Column("carried by", "left"),
    )
    rows = [row for band in report.bands for row in _stability_rows(band)]
    note = _note(
        "mode: the one that grows fastest or, if none grows, the one up to 10 kHz that rings longest (a "
        "negative rate decays); with a remedy, what became of it; carried by: what holds most of its energy"
    )
    notes = [note, *(_motion_note(found) for band in report.bands for found in band.stability)]
    notes += [_stray_note(found) for band in report.bands for found in band.stability]
    if any(len(band.stability) > 1 for band in report.bands):
        notes.append(_note("remedies are tried one by one, in this order, until one works"))
    return Section("Does the oscillation hold still", (Grid(columns, tuple(rows)), *filter(None, notes)))


def _motion_note(found: Stability) -> Note | None:
    """Say what a run over time showed of a growing mode."""
    for p in found.points:
        if p.motion_v is not None:
            where = "detector's output" if p.amplitude_v == 0.0 else "amplitude"
            pace = "irregularly" if p.motion_hz is None else f"at {fixed(p.motion_hz, 0)} Hz"
            start = (
                "it would hold still once it stood, but a start from rest ends in squegging: "
                if found.squegs_from_rest
                else ""
            )
            knob = fixed(p.setting.rotation, 1, 100.0)
            return _note(
                f"{found.band}, {found.what}: {start}in a run over time at {knob} % "
                f"the {where} swings by {engineering(p.motion_v, 'V')} in all, {pace}{_mean(p)}"
            )
    return None


NOT_FROM_REST = "not from rest"


def _mean(point: EnvelopeModes) -> str:
    """Say what the amplitude is in the mean while it moves, beside what it would stand at."""
    if point.motion_mean_v is None or point.amplitude_v == 0.0:
        return ""
    share = point.motion_mean_v / point.amplitude_v
    return (
        f"; in the mean it is {engineering(point.motion_mean_v, 'V')}, {fixed(share, 0, 100.0)} % of what it "
        "would be at rest"
    )


def _stray_note(found: Stability) -> Note | None:
    """Say which stray from the audio plate to the detector's grid would make it howl."""
    if found.stray_margin_farad is None:
        return None
    return _note(
        f"{found.band}, {found.what}: it would howl at {fixed(found.stray_howl_hz, 0)} Hz, at "
        f"{fixed(found.stray_rotation, 1, 100.0)} % of the knob, with "
        f"{fixed(found.stray_margin_farad, 2, 1e12)} pF from the audio plate, or a lead at it, "
        "to the detector's grid"
    )


def _stability_rows(band: BandOscillation) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for found in band.stability:
        growing = [p for p in found.points if p.growing]
        knobs = [100.0 * p.setting.rotation for p in growing]
        if found.begins_rotation is not None and found.ends_rotation is not None:
            knobs = [100.0 * found.begins_rotation, 100.0 * found.ends_rotation]
        where = fixed(knobs[0] if knobs else None, 1)
        if len(knobs) > 1:
            where = f"{where} to {fixed(knobs[-1], 1)}"
        mode = _named(found)
        rows.append(
            (
                found.band,
                found.what,
                NOT_FROM_REST if found.squegs_from_rest else found.kind.value,
                where,
                NOTHING if mode is None else fixed(mode[1], 0),
                NOTHING if mode is None else fixed(mode[0], 0),
                NOTHING if mode is None else mode[2][0],
            )
        )
    return rows


def _named(found: Stability) -> tuple[float, float, tuple[str, ...]] | None:
    """Return rate, frequency and carriers of the mode to name, None if nothing rings."""
    if found.telling is None:
        return None
    at, mode = found.telling
    point = found.points[at]
    return float(point.rate[mode]), float(point.frequency_hz[mode]), point.carried_by[mode]


def verification_table(check: Verification) -> Section:
    """Return envelope and reference side by side, and over which part of the map that was a check of it."""
    columns = (Column("", "left"), Column("every cycle"), Column("envelope,\nsame ramp"), Column("map"))
    found = check.oscillation
    amplitudes = found.amplitudes
    halves = (check.reference, check.envelope)
    sets = _sets([found])
    onset = None if found.onset is None else found.onset.figure
    jump = None if found.jump is None else found.jump.backlash
    rows = (
        (
            f"onset, {sets.name} {sets.unit}",
            *(sets.shown(r.onset.figure, 3) for r in halves),
            sets.shown(onset, 3),
        ),
        (
            "largest amplitude, V",
            *(fixed(float(r.amplitude_v.max()), 4) for r in halves),
            fixed(None if amplitudes is None else amplitudes.strongest(check.covered_to.rotation), 4),
        ),
        (
            f"backlash on the ramp, {sets.unit}",
            *(sets.shown(r.backlash_v, 3) for r in halves),
            sets.shown(jump, 3),
        ),
        ("time, s", *(fixed(r.engine_seconds, 2) for r in halves), fixed(found.seconds, 3)),
    )
    notes = [
        _note(
            f"onset {percent(check.onset_error, 2)} off the map, of which the ramp itself is "
            f"{percent(check.onset_lag, 2)}; amplitude at the two halts {percent(check.amplitude_error, 2)} "
            f"at most, of which {percent(check.unsettled, 2)} had not settled"
        ),
        _note(
            f"along the ramp, over its larger amplitudes, {percent(check.ramp_error, 2)} at most between "
            "every cycle and envelope"
        ),
        _covered(check),
        _note(
            f"{fixed(check.steps_per_cycle, 1)} steps a cycle; halving the step changes the tank's decay by "
            f"{percent(check.damping_error, 2)}"
        ),
        _note(f"the map took 1/{fixed(check.speed_ratio, 0)} of the time of the reference"),
        _note("a ramp breaks off late: its backlash exceeds the map's, which is for an endlessly slow hand"),
    ]
    parts: tuple[Grid | Note, ...] = (Grid(columns, rows), *notes)
    return Section(f"{check.band}: reference transient", parts, cautions.PLATE_SUPPLY)


def _covered(check: Verification) -> Note:
    """Say of which part of the map the run was a check."""
    top = f"{fixed(check.covered_to.rotation, 1, 100.0)} % of the knob"
    if not check.at_rest:
        return _note(
            "the amplitude did not come to rest on this ramp: it is a check of the envelope's time runs up "
            f"to {top}, not of the map"
        )
    end = check.map_goes_on_to
    rest = "" if end is None else f"; the map continues to {fixed(end, 1, 100.0)} %, which was not verified"
    return _note(f"the map is verified from onset up to {top}{rest}")


def _milli(value: float | None) -> str:
    """Return thousandths to three digits: these columns go over several decades."""
    return engineering(None if value is None else 1e3 * value, "")


def detection_table(found: Detection) -> Section:
    """Return best settings, audio there, overload, bandwidth and locking; without an onset on the control,
    its state and what can still be said.
    """
    columns = (
        Column("signal", "left"),
        Column("best knob\n%"),
        Column("from onset\n%"),
        Column("audio\nmV rms"),
        Column("overload\nmV"),
    )
    rows = []
    for curve, transfer in ((found.am, found.am_transfer), (found.beat, found.beat_transfer)):
        if curve is None:
            continue
        away = None if found.onset is None else curve.best.rotation / found.onset.rotation - 1.0
        rows.append(
            (
                f"{curve.signal}, {fixed(curve.tone_hz, 0)} Hz",
                fixed(curve.best.rotation, 1, 100.0),
                fixed(away, 2, 100.0),
                _milli(curve.best_v),
                _milli(None if transfer is None else transfer.overload_v),
            )
        )
    notes = []
    if found.status is not Status.OSCILLATES:
        notes.append(_note(f"{found.band}: {IN_SHORT[found.status]}"))
    notes += [_note(text) for text in found.notes]
    carriers = [curve.carrier_v for curve in (found.am, found.beat) if curve is not None]
    if carriers:
        notes.append(
            _note(f"audio at {found.output} for {engineering(carriers[0], 'V')} r.m.s. in the aerial")
        )
    if found.am is not None:
        notes.append(_note(f"bandwidth at the best setting for AM: {engineering(found.bandwidth_hz, 'Hz')}"))
    if found.speech is not None:
        notes += [_note(text) for text in _speech(found.speech)]
    if found.pulling is not None:
        notes.append(
            _note(
                f"a carrier of {engineering(found.pulling.carrier_v, 'V')} locks the oscillator within "
                f"{fixed(found.pulling.lock_hz, 0)} Hz each way"
            )
        )
    grid = (Grid(columns, tuple(rows)),) if rows else ()
    wide = () if found.am is None else _loudness_against_bandwidth(found.am)
    return Section(
        f"{found.band}: detection", (*grid, *notes, *wide), cautions.PLATE_SUPPLY + cautions.RADIATION
    )


_NOTICED = 1.12
"""Ratio of loudness (1 dB) from which another setting is worth a line."""


def _speech(one: SpeechSetting) -> list[str]:
    """Return how the setting for AM was chosen, and what the edge and no regeneration would give."""
    passes = f"audio up to {engineering(one.wanted_hz, 'Hz')} (-3 dB)"
    if one.reach_hz < 0.99 * one.wanted_hz:
        words = f"best for AM: no setting passes {passes}; this is the widest"
    else:
        words = f"best for AM: the loudest setting that passes {passes}, so that speech is understood"
    edge, bare = one.edge_v / one.audio_v, one.audio_v / one.bare_v
    out = [words]
    if edge > _NOTICED:
        out.append(
            f"nearer to onset, at {percent(one.edge.rotation, 1)} of the knob, it is "
            f"{engineering(edge, '', 2)} times as loud (detection follows the square: a signal "
            f"{engineering(edge**0.5, '', 2)} times weaker would do), but passes "
            f"{engineering(one.edge_reach_hz, 'Hz')} only"
        )
    if bare > 1.0:
        out.append(
            f"without regeneration the same station is {engineering(bare, '', 2)} times weaker (a signal "
            f"{engineering(bare**0.5, '', 2)} times stronger would be needed)"
        )
    else:
        out.append(
            f"without what is fed back the same station would be {engineering(1.0 / bare, '', 2)} times as "
            "loud: here it works against the swing"
        )
    return out


def _loudness_against_bandwidth(curve: DetectionCurve) -> tuple[Note | Grid, ...]:
    """Return loudness against bandwidth over the settings for AM."""
    if curve.reach_hz is None:
        return ()
    columns = (Column("knob\n%"), Column("audio\nmV rms"), Column("passes up to\nkHz"))
    rows = [
        (fixed(float(r), 1, 100.0), _milli(float(v)), engineering(float(f) / 1e3, ""))
        for r, v, f in zip(curve.rotation, curve.audio_v, curve.reach_hz, strict=True)
    ]
    return (Note(""), Note("Loudness of AM against bandwidth", style="bold"), Grid(columns, tuple(rows)))


def _noise_notes(found: Sound) -> tuple[str, ...]:
    """Return what the noise in a sound is, in words."""
    noise = found.noise
    if noise is None:
        return ("a clean sound: without the noise of the band and of the set",)
    within = f"in {engineering(noise.bandwidth_hz, 'Hz')}"
    if noise.total_db is None or noise.band_emf_v is None:
        notes = ["noise: of the set alone, as no aerial is connected"]
    else:
        galactic = "" if noise.galactic_db is None else f", galactic {fixed(noise.galactic_db, 0)} dB"
        height = " (effective height of the aerial assumed)" if noise.height_assumed else ""
        notes = [
            f"noise of the band, {noise.place} (ITU-R P.372, median): "
            f"{fixed(noise.total_db, 0)} dB above kT0b, man-made {fixed(noise.man_made_db, 0)} dB, "
            f"atmospheric {fixed(noise.atmospheric_db, 0)} dB (a rough middle){galactic}; "
            f"{engineering(noise.band_emf_v, 'V')} e.m.f. {within}{height}"
        ]
    if noise.own_emf_v is not None:
        notes.append(
            f"noise of the tank and the tube: as of {engineering(noise.own_emf_v, 'V')} e.m.f. {within}"
        )
    notes += [
        f"station {engineering(one.level_v, 'V')} at {engineering(one.offset_hz, 'Hz')}: "
        f"{fixed(one.over_noise_db, 0)} dB over all noise {within}, at the aerial"
        for one in noise.stations
    ]
    reach = engineering(noise.reach_hz, "Hz")
    return (
        *notes,
        f"noise drawn from seed {noise.seed}, Gaussian, flat up to {reach} either side of the tank",
    )


def sound_note(found: Sound, *, where: str) -> Section:
    """Return what a sound file holds."""
    level = "" if found.level_db is None else f", {fixed(found.level_db, 0)} dB SPL as of a 1 kHz tone"
    notes = (
        _note(
            f"{where}: {fixed(found.volts.size / found.rate, 1)} s at {found.output}, "
            f"{engineering(found.rms_v, 'V')} r.m.s., peak {engineering(found.peak_v, 'V')}{level}"
        ),
        *(_note(text) for text in (*_noise_notes(found), *found.notes, *found.warnings)),
    )
    return Section(f"{found.band}: sound", notes, cautions.RADIATION)
