"""Tables of audio, hum and supply in depth, each sheet with its hazards and cautions ahead of any figure."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.audio import AudioStudy, OutputLevels
from receiver_sim.results.base import Status
from receiver_sim.results.cautions import PLATE_SUPPLY
from receiver_sim.results.hum import SILENT_DB, HumModulation, HumPaths, HumStudy, Remedy
from receiver_sim.results.supply import BatteryLife, Rectified, ScreenQuiet, StartAndStop, SupplyStudy
from receiver_sim.views import tables
from receiver_sim.views.numbers import NOTHING, engineering, fixed, percent, shorten
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet
from receiver_sim.views.sheet import note_under as _note
from receiver_sim.views.states import IN_SHORT

_NAME = 24

_DUST_V = 1e-9
"""Volts of a path of hum below which no figure is worth a line: far below the noise of any stage."""


def audio_sheet(title: str, study: AudioStudy) -> Sheet:
    """Return the printed answer of `audio`."""
    sections = [*tables.failed_sections(study.failed)]
    if study.response is not None:
        sections.append(tables.audio_table(study.response))
    if study.levels:
        sections += [limits_table(study.levels), *map(drive_table, study.levels)]
    if study.class_a:
        sections.append(class_table(study))
    if study.transformer is not None:
        energy = study.transformer
        text = (
            f"At 1 kHz {engineering(energy.primary_w, 'W')} enter the primary, "
            f"{engineering(energy.loads_w, 'W')} reach the loads on secondaries, "
            f"{engineering(energy.windings_w, 'W')} stay in the windings, "
            f"{engineering(energy.core_w, 'W')} in the iron; "
            f"{percent(energy.error, 3)} is left over."
        )
        sections.append(Section("Energy at the output transformer", (_note(text),)))
    sections.append(Section("Notes", tuple(Note(text, mark=" -  ") for text in study.notes)))
    return Sheet(title, tuple(sections), study.cautions)


def limits_table(levels: Sequence[OutputLevels]) -> Section:
    """Return where each output clips, compresses and leaves class A, and its noise floor."""
    columns = (
        Column("\noutput", "left"), Column("10 % dist.\ninput"), Column("\npower"), Column("\ndB SPL"),
        Column("1 dB compr.\ninput"), Column("\npower"), Column("class A\nup to"), Column("noise\nV rms"),
        Column("\ndB SPL"),
    )  # fmt: skip
    rows = tuple(
        (
            shorten(item.output, 18),
            engineering(item.limits.clip_v, "V"),
            engineering(item.limits.clip_w, "W"),
            fixed(item.limits.clip_db, 0),
            engineering(item.limits.compression_v, "V"),
            engineering(item.limits.compression_w, "W"),
            engineering(item.limits.class_a_v, "V"),
            engineering(item.limits.floor_v, "V"),
            fixed(item.limits.floor_db, 0),
        )
        for item in levels
    )
    note = _note(
        "Inputs: volts r.m.s. of a 1 kHz tone at the detector's grid. Noise from 100 Hz to 5 kHz. "
        "'-': not reached by the highest drive tried, an open socket, or no audio tube. Class A: the highest "
        "drive tried that keeps it."
    )
    return Section("Limits of each output", (Grid(columns, rows), note), PLATE_SUPPLY)


def drive_table(levels: OutputLevels) -> Section:
    """Return power, sound pressure, distortion and harmonics of one output against the drive."""
    columns = (
        Column("input\nV rms"), Column("output\nV rms"), Column("\npower"), Column("\ndB SPL"),
        Column("dist.\n%"), *(Column(f"{n}.\n%") for n in range(2, 7)),
    )  # fmt: skip
    rows = tuple(
        (
            engineering(d.input_v, "V"),
            engineering(d.output_v, "V"),
            engineering(d.power_w, "W"),
            fixed(d.level_db, 1),
            engineering(100.0 * d.thd, ""),
            *(_tiny(100.0 * float(h)) for h in d.harmonics[:5]),
        )
        for d in levels.drives
    )
    return Section(f"Drive and harmonics: {shorten(levels.output, 40)}", (Grid(columns, rows),))


def _tiny(value: float) -> str:
    return "<0.001" if value < 1e-3 else engineering(value, "")


def class_table(study: AudioStudy) -> Section:
    """Return whether each audio tube stays in class A, level by level."""
    columns = (
        Column("\nsocket", "left"), Column("input\nV rms"), Column("least plate current\n% of quiescent"),
        Column("grid at peak\nV"), Column("grid current\nuA"), Column("\nclass A", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            c.socket,
            engineering(c.input_v, "V"),
            fixed(c.least_share, 1, 100.0),
            fixed(c.grid_v, 2),
            fixed(c.grid_a, 3, 1e6),
            "keeps" if c.keeps else "X LEAVES",
        )
        for c in study.class_a
    )
    note = _note(
        "Kept while the plate current stays above 2 % of the quiescent, the grid current below 1 uA."
    )
    return Section("Class A", (Grid(columns, rows), note))


def hum_sheet(title: str, study: HumStudy) -> Sheet:
    """Return the printed answer of `hum`."""
    sections = [*tables.failed_sections(study.failed)]
    if study.paths is not None:
        sections.append(tones_table(study.paths))
    if study.hum is not None:
        sections.append(tables.hum_table(study.hum))
    if study.paths is not None:
        sections += path_tables(study.paths)
    if study.remedies:
        sections.append(remedy_table(study.remedies))
    if study.modulation is not None and study.modulation.depth.any():
        sections.append(modulation_section(study.modulation))
    sections.append(Section("Notes", tuple(Note(text, mark=" -  ") for text in study.notes)))
    return Sheet(title, tuple(sections), study.cautions)


def tones_table(paths: HumPaths) -> Section:
    """Return the strongest tones of each output against the threshold of hearing."""
    columns = (
        Column("\noutput", "left"), Column("tone\nHz"), Column("at the load\nV rms"), Column("\ndB SPL"),
        Column("threshold\ndB SPL"), Column("above it\ndB"), Column("", "left"),
    )  # fmt: skip
    rows = []
    for output in paths.outputs:
        for number, tone in enumerate(output.tones[:4]):
            above = tone.above_db
            rows.append(
                (
                    "" if number else shorten(output.output, _NAME),
                    fixed(tone.frequency_hz, 0),
                    engineering(tone.volts_v, "V"),
                    fixed(tone.level_db, 0),
                    fixed(tone.threshold_db, 0),
                    fixed(above, 0),
                    NOTHING if above is None else "audible" if above > 0.0 else "inaudible",
                )
            )
    if not rows:
        return Section("Hum as heard", (_note("No hum at any output: nothing in this build makes any."),))
    note = _note(
        "Threshold of hearing: ISO 226:2003, free field. The four tones most above it (or least below it) of "
        "each output; phones taken as equally sensitive at all frequencies."
    )
    return Section("Hum as heard", (Grid(columns, tuple(rows)), note), PLATE_SUPPLY)


def path_tables(paths: HumPaths) -> list[Section]:
    """Return the share of each path, an output a table."""
    columns = (
        Column("path", "left"), Column("Hz"), Column("alone, V rms"), Column("share of that line"),
    )  # fmt: skip
    sections = []
    for output in paths.outputs:
        rows = tuple(
            (shorten(p.path, 44), fixed(p.frequency_hz, 0), engineering(p.volts_v, "V"), percent(p.share, 1))
            for p in output.paths
            if p.volts_v >= _DUST_V
        )
        quiet = [p.path for p in output.paths if p.volts_v < _DUST_V]
        if not rows:
            continue
        note = _note(
            f"Shares of one line add to 100 %, as phasors; a negative one works against the rest. Sum of all "
            f"paths against the whole: {percent(output.sum_error, 4)} off."
        )
        rest = [_note(f"Below {engineering(_DUST_V, 'V', 1)}: {'; '.join(quiet)}.")] if quiet else []
        heading = f"Paths of hum: {shorten(output.output, 40)}"
        sections.append(Section(heading, (Grid(columns, rows), note, *rest)))
    return sections


def remedy_table(remedies: Sequence[Remedy]) -> Section:
    """Return the remedies tried, the best first."""
    columns = (Column("change tried", "left"), Column("gain\ndB"), Column("leaves\ndB"))
    rows = tuple(
        (
            r.change,
            *(("all", "nothing") if r.after_db <= SILENT_DB else (fixed(r.gain_db, 1), fixed(r.after_db, 1))),
        )
        for r in remedies
    )
    note = _note(
        "Each was computed on a changed build. Hum of the worst output above the threshold of hearing, all "
        "tones together; a negative gain makes it louder."
    )
    return Section("Remedies", (Grid(columns, rows), note))


def modulation_section(found: HumModulation) -> Section:
    """Return how hum modulates the oscillation, its strongest lines."""
    strongest = sorted(range(len(found.depth)), key=lambda i: -found.depth[i])[:4]
    order = [i for i in strongest if found.depth[i] > 0.0 or found.swing_hz[i] > 0.0]
    columns = (Column("line\nHz"), Column("amplitude\n%"), Column("frequency\n+- Hz"))
    rows = tuple(
        (
            fixed(float(found.frequency_hz[i]), 0),
            _tiny(100.0 * float(found.depth[i])),
            _tiny(float(found.swing_hz[i])),
        )
        for i in order
    )
    note = _note(
        f"Knob {percent(found.rotation)}, what the control sets 1 % above onset, "
        f"{engineering(found.amplitude_v, 'V')} peak at the hot end. "
        "By heaters, winding pick-up and ripple; small-signal, so good up to some per cent. "
        "A whistle on a carrier carries this hum with it."
    )
    return Section("Hum modulation of the oscillation", (Grid(columns, rows), note), PLATE_SUPPLY)


def supply_sheet(title: str, study: SupplyStudy) -> Sheet:
    """Return the printed answer of `supply`."""
    report = study.report
    sections = [*tables.failed_sections(study.failed), tables.verdict_table(study.verdicts)]
    if study.rectified is not None:
        sections += [rectified_table(study.rectified, study.start), capacitor_table(study.rectified)]
    if any((study.battery, study.dropper, study.screen)):
        sections.append(source_section(study))
    if report.notes:
        notes = tuple(Note(f"{text[0].upper()}{text[1:]}.", mark="   ") for text in report.notes)
        sections.append(Section("At which setting", notes))
    if report.operating_points:
        band = None if report.regulator is None else report.regulator.band
        sections += [
            tables.operating_table(report.operating_points, band),
            tables.ratings_table(report.operating_points),
        ]
    if report.regulator is not None:
        sections.append(tables.regulator_table(report.regulator))
    if study.drifts:
        sections.append(drift_table(study))
    return Sheet(title, tuple(sections), study.cautions)


def rectified_table(result: Rectified, start: StartAndStop | None) -> Section:
    """Return what the rectifier gives: volts, ripple, currents, start and discharge."""
    lines = [
        ("volts at the receiver", engineering(result.volts_v, "V", 4)),
        ("current of the receiver", engineering(result.load_a, "A")),
        ("current of the bleeder", engineering(result.bleeder_a, "A") if result.bleeder_a else "none fitted"),
        ("fall for each milliampere", engineering(result.slope_ohm * 1e-3, "V")),
        ("volts with the tubes cold", engineering(result.no_load_v, "V", 4)),
        ("ripple, peak to peak", engineering(result.ripple_v, "V")),
        ("winding current, r.m.s.", engineering(result.winding_a, "A")),
        ("rectifier, peak current", engineering(result.peak_a, "A")),
        ("rectifier, peak inverse, mains 10 % high", engineering(result.inverse_v, "V")),
    ]
    if start is not None:
        lines += [
            ("rectifier, highest peak, mains 10 % high", engineering(start.surge_a, "A")),
            ("highest volts while the tubes warm up", engineering(start.highest_v, "V", 4)),
            (
                f"below {start.safe_v:.0f} V after switching off",
                "not in the run" if start.discharge_s is None else engineering(start.discharge_s, "s"),
            ),
        ]
    grid = Grid((Column("rectifier and filter", "left"), Column("")), tuple(lines))
    lines_of_ripple = sorted(zip(result.ripple_rms_v, result.ripple_hz, strict=True), reverse=True)
    # a line sixty decibel down is not what hums
    top = [line for line in lines_of_ripple if line[0] >= 1e-3 * lines_of_ripple[0][0]][:4]
    spectrum = ", ".join(f"{engineering(float(v), 'V')} at {f:.0f} Hz" for v, f in top)
    notes = [
        _note(
            f"{result.rectifier.replace('_', ' ')}, {result.circuit.replace('_', ' ')}. Ripple: {spectrum}."
        ),
    ]
    if start is not None:
        notes.append(Note(start.text[0].upper() + start.text[1:] + ".", mark=" ! ", style="bold"))
    return Section("Rectifier and filter", (grid, *notes), PLATE_SUPPLY)


def capacitor_table(result: Rectified) -> Section:
    """Return volts and ripple of each filter capacitor."""
    columns = (
        Column("\nsection"), Column("\nvalue"), Column("highest\nV"), Column("rated\nV"), Column("", "left"),
        Column("ripple\nV p-p"), Column("ripple current\nA rms"),
    )  # fmt: skip
    rows = []
    for c in result.capacitors:
        word = "not stated" if c.rating_v is None else "X EXCEEDED" if c.highest_v > c.rating_v else "within"
        rows.append(
            (
                str(c.section), engineering(c.farad, "F"), fixed(c.highest_v, 0), fixed(c.rating_v, 0), word,
                engineering(c.ripple_v, "V"), engineering(c.ripple_a, "A"),
            )
        )  # fmt: skip
    note = _note("Highest: tubes cold, mains 10 % high.")
    return Section("Filter capacitors", (Grid(columns, tuple(rows)), note))


def source_section(study: SupplyStudy) -> Section:
    """Return batteries, dropper and what reaches the screen, as sentences."""
    parts = []
    if study.battery is not None:
        battery = study.battery
        text = f"Batteries give {engineering(battery.load_a, 'A')} at {fixed(battery.loaded_v, 1)} V"
        hours = "" if battery.hours is None else f" and last {battery.hours:.0f} hours"
        parts.append(_note(f"{text}{hours}.{_spent_words(battery)}"))
    if study.dropper is not None:
        d = study.dropper
        span = f"{engineering(d.lowest_ohm, 'ohm')} to {engineering(d.highest_ohm, 'ohm')}"
        text = (
            f"Dropper of the regulator: {span} will do from 90 to 110 % of the mains; fitted "
            f"{engineering(d.fitted_ohm, 'ohm')}, {engineering(d.fitted_w, 'W')} at the highest mains: "
            f"{d.text}."
        )
        if d.chosen_ohm is not None:
            text += (
                f" From the E24 series {engineering(d.chosen_ohm, 'ohm', 2)} lies in the middle: "
                f"{engineering(d.chosen_w, 'W')}, buy {engineering(d.advised_w, 'W', 2)} or more."
            )
        parts.append(_note(text))
    if study.screen is not None:
        parts.append(_note(_quiet_words(study.screen)))
    triode = study.screen is not None and not study.screen.at_screen
    return Section(f"Feed of the {'plate' if triode else 'screen'}", tuple(parts), PLATE_SUPPLY)


def _spent_words(battery: BatteryLife) -> str:
    if battery.end_v is None or battery.spent is None:
        return ""
    at = battery.spent.onset
    found = {
        Status.OSCILLATES: "" if at is None else f"oscillation begins at {percent(at.rotation)} of the knob",
        Status.FAILED: "it is not known where oscillation begins: the simulation failed",
    }.get(battery.spent.status, f"the set {IN_SHORT[battery.spent.status]}")
    return f" Spent, at {fixed(battery.end_v, 1)} V without load, {found} ({battery.spent.band})."


def _quiet_words(quiet: ScreenQuiet) -> str:
    where = f"At the detector's {'screen' if quiet.at_screen else 'plate feed'}"
    if quiet.ripple_v > 0.0:
        ripple = f"ripple {engineering(quiet.ripple_v, 'V')} r.m.s. (the supply's ripple"
        text = f"{where}: {ripple} {fixed(quiet.supply_db, 0)} dB)"
    else:
        text = f"{where}: no ripple (the supply's, if any, {fixed(quiet.supply_db, 0)} dB)"
    if quiet.regulator_noise_v > 0.0:
        text += f", noise of the regulator {engineering(quiet.regulator_noise_v, 'V')} r.m.s."
    else:
        text += "."
    if quiet.drift_v:
        moved = engineering(quiet.drift_v, "V")
        text += f" {quiet.rise_k:.0f} K of warming move the regulated volts by {moved}."
    if quiet.drift_v is None:
        return text
    # a regulator is fitted: a zero is a figure that nobody gave
    lacking = [
        word
        for word, figure in (("noise", quiet.regulator_noise_v), ("drift with warmth", quiet.drift_v))
        if figure == 0.0
    ]
    return f"{text} The build does not state the regulator's {' and '.join(lacking)}." if lacking else text


def drift_table(study: SupplyStudy) -> Section:
    """Return the drift for each volt of the mains, with and without the regulator."""
    feed = any(d.feed_v_per_v is not None and d.screen_v_per_v is None for d in study.drifts)
    columns = (
        Column("\nregulator", "left"), Column(f"{'plate feed' if feed else 'screen'}\nmV per V"),
        Column("loop gain\n0.001 per V"),
        Column("frequency\nmHz per V"), Column("onset on the knob\n% per V"),
    )  # fmt: skip
    rows = tuple(
        (
            "as built" if d.regulated else "none",
            fixed(d.feed_v_per_v if d.screen_v_per_v is None else d.screen_v_per_v, 3, 1e3),
            fixed(d.gain_per_v, 3, 1e3),
            fixed(d.frequency_hz_per_v, 2, 1e3),
            NOTHING if d.onset_per_v is None else fixed(d.onset_per_v, 4, 100.0),
        )
        for d in study.drifts
    )
    note = _note("For 1 V of the mains, knob and dial left alone where the loop gain is 0.9.")
    return Section("Drift with the mains", (Grid(columns, rows), note))
