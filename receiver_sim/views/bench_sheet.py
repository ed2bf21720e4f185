"""The sheet for the bench as a printed sheet: cautions first, then what is done in the order it is done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from receiver_sim.results.bench_chart import Beside, MeterReading, PartNeeds, PinChart
from receiver_sim.results.bench_sheet import (
    BenchSheet,
    BringUpStep,
    DialScale,
    OnsetToCheck,
    OtherValue,
    SocketNote,
    WarmUpDrift,
    WiringLine,
)
from receiver_sim.results.cautions import PLATE_SUPPLY
from receiver_sim.views import control_words
from receiver_sim.views.coil_tables import winding_table
from receiver_sim.views.failed import failed_sections
from receiver_sim.views.numbers import NOTHING, engineering, fixed, percent
from receiver_sim.views.sheet import BLANK, Column, Grid, Note, Section, Sheet


def bench_sheet(found: BenchSheet) -> Sheet:
    """Return the whole sheet."""
    sections = [
        parts_table(found.parts),
        *([other_values(found.others)] if found.others else []),
        winding_table(found.coils),
        wiring_table(found.sockets, found.wiring),
        bring_up_table(found.steps),
        *(chart_table(chart, found.sockets) for chart in found.charts),
        to_check(found.onsets, found.hum_pot),
        dial_table(found.scales),
        drift_table(found.drift),
    ]
    if found.notes:
        sections.append(Section("Notes", tuple(Note(text, mark=" - ") for text in found.notes)))
    sections += failed_sections(found.failed)
    return Sheet(f"For the bench: {found.title}", tuple(sections), found.cautions)


def parts_table(parts: Sequence[PartNeeds]) -> Section:
    """Return the parts list with the ratings that are needed."""
    columns = (
        Column("\npart", "left"), Column("\nwhat", "left"), Column("\nvalue"), Column("worst\nV"),
        Column("worst\nmA"), Column("worst\nW"), Column("buy\nV"), Column("buy\nW"), Column("ripple\nmA"),
        Column("\nas stated", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            one.designator,
            one.word,
            engineering(one.value, one.unit, 3),
            fixed(one.highest_v, 0),
            fixed(one.highest_a, 2, 1e3),
            fixed(one.watts_w, 2),
            fixed(one.buy_v, 0),
            fixed(one.buy_w, 2),
            fixed(one.ripple_a, 1, 1e3),
            _stated(one),
        )
        for one in parts
    )
    styles = tuple("" if one.enough else "bold red" for one in parts)
    legend = (
        "Worst: the highest of tubes warm, cold or pulled, regulator lit or not, the control anywhere, the "
        "mains 10 % high, and switching on (swing of capacitors, the charge through resistors as the mean of "
        "5 s, the first pulse of a rectifier). Buy: 1.2 times the voltage of a capacitor, twice the "
        "watts of a resistor (common practice, no source); of a potentiometer, its whole track carrying the "
        "current of its hotter side. Ripple: r.m.s. through a capacitor of the supply."
    )
    notes = tuple(
        Note(f"{one.designator}: {said}.", mark=" - ")
        for one in parts
        if (said := "; ".join([*([one.note] if one.note else []), *map(_beside, one.besides)]))
    )
    short = [one for one in parts if not one.enough]
    hazard = tuple(
        f"DANGER, {one.designator} ({one.word}): it meets {met}, more than the {limit} it stands."
        for one in short
        for met, limit in _over(one)
    )
    return Section(
        "Parts", (Grid(columns, rows, styles, repeat=2), *notes, Note(legend)), (*hazard, *PLATE_SUPPLY)
    )


def _stated(one: PartNeeds) -> str:
    limits = _limit(one)
    return NOTHING if not limits else f"{limits}: {'enough' if one.enough else 'TOO LOW'}"


def _limit(one: PartNeeds) -> str:
    pairs = ((one.stated_v, "V"), (one.stated_w, "W"), (one.stated_a, "A"))
    return ", ".join(engineering(value, unit, 3) for value, unit in pairs if value is not None)


def _beside(one: Beside) -> str:
    """Return a quantity that has no column, with its limit."""
    met = f"{one.words} {engineering(one.worst, one.unit, 3)}"
    if one.limit is None:
        return met
    said = "TOO LOW" if one.exceeded else "enough"
    return f"{met} of {engineering(one.limit, one.unit, 3)}: {said}"


def _over(one: PartNeeds) -> Iterator[tuple[str, str]]:
    """Yield what a part meets and what it stands, for all that is too much together and for each beside."""
    pairs = (
        (one.highest_v, one.stated_v, "V"), (one.watts_w, one.stated_w, "W"),
        (one.highest_a if one.ripple_a is None else one.ripple_a, one.stated_a, "A"),
    )  # fmt: skip
    over = [
        (engineering(met, unit, 3), engineering(limit, unit, 3))
        for met, limit, unit in pairs
        if met is not None and limit is not None and met > limit
    ]
    if over:
        yield ", ".join(met for met, _ in over), ", ".join(limit for _, limit in over)
    for other in one.besides:
        if other.exceeded:
            worst = engineering(other.worst, other.unit, 3)
            yield f"{worst} ({other.words})", engineering(other.limit, other.unit, 3)


def other_values(others: Sequence[OtherValue]) -> Section:
    """Return what the nearest preferred values change."""
    columns = (
        Column("part", "left"), Column("stated"), Column("preferred"), Column("onset\n% of knob"),
        Column("as stated"), Column("largest change\nV"), Column("at", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            one.designator,
            engineering(one.stated, one.unit, 3),
            engineering(one.preferred, one.unit, 3),
            fixed(one.onset, 1, 100.0),
            fixed(one.onset_as_stated, 1, 100.0),
            fixed(one.volts_v, 2),
            one.point,
        )
        for one in others
    )
    legend = "Nearest value of IEC 60063 (E24 for resistors, E12 for capacitors) instead of the stated one."
    return Section("Preferred values", (Grid(columns, rows), Note(legend)), PLATE_SUPPLY)


def wiring_table(sockets: Sequence[SocketNote], wiring: Sequence[WiringLine]) -> Section:
    """Return the wiring list, socket by socket, pins as seen from below."""
    columns = (
        Column("tube", "left"), Column("pin", "left"), Column("what", "left"), Column("goes to", "left"),
        Column("done", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            f"{one.designator} {one.tube}".strip() or "joint",
            one.pin,
            one.words,
            ", ".join(one.to),
            "[ ]",
        )
        for one in wiring
    )
    notes = tuple(
        Note(
            f"{one.designator} {one.tube}{_stage(one)}, {one.base}: pins are counted {one.counting}; its "
            f"pins are {_how_sure(one.pins_flag)}.",
            mark=" - ",
        )
        for one in sockets
    )
    return Section("Wiring, sockets seen from below", (*notes, Grid(columns, rows)), PLATE_SUPPLY)


def _stage(one: SocketNote) -> str:
    return f", {one.socket}" if one.socket else ""


def _how_sure(flag: str) -> str:
    return {"seen": "as a published sheet has them"}.get(flag, f"from memory ({flag}): check with a sheet")


def bring_up_table(steps: Sequence[BringUpStep]) -> Section:
    """Return the order of switching on for the first time."""
    columns = (
        Column("", "right"), Column("volts", "left"), Column("do", "left"), Column("expect", "left"),
        Column("stop when", "left"),
    )  # fmt: skip
    rows = tuple(
        (str(number), "LIVE" if one.live else "off", one.do, one.expect, one.stop)
        for number, one in enumerate(steps, start=1)
    )
    return Section("Switching on for the first time", (Grid(columns, rows),), PLATE_SUPPLY)


def chart_table(chart: PinChart, sockets: Sequence[SocketNote] = ()) -> Section:
    """Return the readings at every pin with a column to write one's own into.

    sockets: give the tubes the names that they have in the wiring list.
    """
    names = {one.socket: one.designator for one in sockets if one.socket}
    columns = [
        Column("\ntube", "left"), Column("\npin", "left"), Column("\nwhat", "left"), Column("no meter\nV"),
        Column("eight of ten\nsets, V"),
    ]  # fmt: skip
    columns += [Column(f"{name}\nV (range)") for name in chart.meters]
    columns += [Column(f"tube out\n{name}") for name in chart.meters]
    columns += [Column("set off\nohm"), Column("\nyours", "left")]
    rows = tuple(
        (
            f"{names.get(one.socket, one.socket)} {one.tube}".strip(),
            one.pin,
            one.words,
            _volts(one.true_v),
            NOTHING if one.low_v is None or one.high_v is None else _between(one.low_v, one.high_v),
            *(_reading(r) for r in one.with_tube),
            *(map(_reading, one.without_tube) if one.without_tube else (NOTHING,) * len(chart.meters)),
            _ohms(one.off_ohm),
            BLANK,
        )
        for one in chart.pins
    )  # fmt: skip
    legend = (
        "Direct volts to chassis, none at a heater on a.c. Eight of ten sets of this build, parts, tubes and "
        "mains as they come, lie between the two figures; with a meter on, by the same share. In brackets "
        "the range one would choose, coming down from the highest; the meter loads the circuit as it does on "
        "that range. Tube out: the tube of that socket pulled, the others in. Set off: unplugged and "
        "discharged, tubes out or cold, regulator open, control fully down."
    )
    who = [Note(f"{', '.join(f'{part}: {name}' for name, part in names.items())}.")] if names else []
    return Section(
        f"What a meter reads, {chart.setting} ({percent(chart.rotation)})",
        (*who, Grid(tuple(columns), rows, repeat=3), Note(legend)),
        PLATE_SUPPLY,
    )


def _volts(volts: float) -> str:
    return fixed(volts, 2 if abs(volts) < 20.0 else 1)


def _between(low: float, high: float) -> str:
    """Return a range with the digits that it deserves."""
    wide = max(high - low, 1e-9)
    places = 0 if wide >= 5.0 else 1 if wide >= 0.5 else 2
    ends = fixed(low, places), fixed(high, places)
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def _ohms(ohm: float | None) -> str:
    if ohm is None:
        return "> 20 M"
    return "0" if ohm < 0.5 else engineering(ohm, "ohm", 3).removesuffix("ohm").strip()


def _reading(one: MeterReading) -> str:
    return f"{fixed(one.reading_v, 2 if one.full_scale_v <= 20.0 else 1)} ({one.full_scale_v:g})"


def to_check(onsets: Sequence[OnsetToCheck], hum_pot: float | None) -> Section:
    """Return where oscillation should begin, and the hum pot."""
    how = control_words.words(onsets[0].quantity, onsets[0].unit) if onsets else control_words.words()
    columns = (
        Column("band", "left"), Column("MHz"), Column("onset\n% of knob"), Column("deg"),
        Column(f"control\n{how.unit}"), Column("yours", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            one.band,
            fixed(one.dial_hz, 3, 1e-6),
            one.status if one.rotation is None else fixed(one.rotation, 1, 100.0),
            fixed(one.degrees_deg, 0),
            how.shown(one.figure, 2),
            BLANK,
        )
        for one in onsets
    )
    notes = () if hum_pot is None else (Note(f"Hum pot: least hum at {percent(hum_pot)} from heater end a."),)
    return Section("Onset and hum to check", (Grid(columns, rows), *notes), PLATE_SUPPLY)


def dial_table(scales: Sequence[DialScale]) -> Section:
    """Return the logging scale: frequency against degrees, with a column for the calibrator's figure."""
    columns = (Column("band", "left"), Column("deg"), Column("kHz"), Column("yours", "left"))
    rows = []
    for scale in scales:
        for number, mark in enumerate(scale.marks):
            rows.append(
                (
                    scale.band if number == 0 else "",
                    fixed(mark.rotation, 0, scale.travel_deg),
                    fixed(mark.frequency_hz, 0, 1e-3),
                    BLANK,
                )
            )
    legend = "Degrees from open (0). Print the scale itself with -o FILE.svg or from the page at 100 %."
    return Section("Logging scale", (Grid(columns, tuple(rows)), Note(legend)))


def drift_table(drift: Sequence[WarmUpDrift]) -> Section:
    """Return how far the frequency falls while the set warms up."""
    columns = (
        Column("band", "left"), Column("MHz"), Column("tube\nkHz"), Column("coil and capacitor\nkHz"),
    )  # fmt: skip
    rows = tuple(
        (
            one.band,
            fixed(one.dial_hz, 3, 1e-6),
            fixed(one.tube_hz, 1, 1e-3),
            f"{fixed(one.highest_hz, 1, 1e-3)} to {fixed(one.lowest_hz, 1, 1e-3)}",
        )
        for one in drift
    )
    rise = drift[0].rise_k if drift else 0.0
    legend = (
        f"From memory, low: 1 pF of growth of the tube's input capacitance in the first minutes; coil and "
        f"tuning capacitor for a rise of {rise:.0f} K, ceramic and air to bakelite. Only the size is meant."
    )
    return Section("Drift while it warms up", (Grid(columns, rows), Note(legend)))
