"""What readings of a working set say: onset before and after first, then what moved."""

from __future__ import annotations

from receiver_sim.results.calibration import Calibration, Pulled
from receiver_sim.results.cautions import PLATE_SUPPLY
from receiver_sim.views.failed import failed_sections
from receiver_sim.views.numbers import NOTHING, engineering, fixed, percent
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet


def calibration_sheet(found: Calibration) -> Sheet:
    """Return the whole answer."""
    sections = [onsets(found), pulled(found), readings(found), *failed_sections(found.failed)]
    if found.notes:
        sections.insert(0, Section("Notes", tuple(Note(text, mark=" ! ") for text in found.notes)))
    return Sheet(f"Calibration: {found.title}", tuple(sections), found.cautions)


def onsets(found: Calibration) -> Section:
    """Return onset by band, tap and hum, before and after."""
    columns = (
        Column("band", "left"), Column("onset before\n% of knob"), Column("one\ndeviation"),
        Column("after\n% of knob"), Column("one\ndeviation"), Column("read\n% of knob"),
    )  # fmt: skip
    rows = tuple(
        (
            one.band,
            fixed(one.before, 1, 100.0),
            fixed(one.before_spread, 1, 100.0),
            fixed(one.after, 1, 100.0),
            fixed(one.after_spread, 1, 100.0),
            fixed(one.seen, 1, 100.0),
        )
        for one in found.onsets
    )
    notes = []
    if found.tap_before is not None or found.tap_after is not None:
        notes.append(
            f"Tap of {found.onsets[0].band} for onset where the build has it: "
            f"{percent(found.tap_before, 2)} of the turns before, {percent(found.tap_after, 2)} after."
        )
    if found.hum_before_v is not None or found.hum_after_v is not None:
        notes.append(
            f"Least hum at the first phones {engineering(found.hum_before_v, 'V')} with the hum pot at "
            f"{percent(found.hum_pot_before)} before, {engineering(found.hum_after_v, 'V')} at "
            f"{percent(found.hum_pot_after)} after."
        )
    return Section(
        "Onset before and after", (Grid(columns, rows), *(Note(text) for text in notes)), PLATE_SUPPLY
    )


MOST = 16
"""Rows of parts and tubes that are shown: the document has all."""


def pulled(found: Calibration) -> Section:
    """Return the parts and tubes, those first that the readings pinned most."""
    columns = (
        Column("what", "left"), Column("stated"), Column("found"), Column("moved"),
        Column("deviation\nbefore"), Column("after"),
    )  # fmt: skip
    order = sorted(found.pulled, key=lambda one: one.after / one.before)
    rows = tuple(
        (
            one.word,
            value_text(one, one.stated),
            value_text(one, one.found),
            _share(one.moved, one.unit),
            _share(one.before, one.unit),
            _share(one.after, one.unit),
        )
        for one in order[:MOST]
    )
    legend = (
        "Least deviations that explain the readings. One deviation before: tolerances as stated, else by "
        "class of part, and new tubes (common practice)."
    )
    if len(order) > MOST:
        legend += f" {len(order) - MOST} more that the readings say less of: --json."
    return Section("Parts and tubes", (Grid(columns, rows), Note(legend)), PLATE_SUPPLY)


_UNITS = {"F": ("capacitor", "small capacitor", "electrolytic"), "H": ("choke", "iron-cored choke", "coil"),
          "V": ("zener", "gas tube", "battery", "bench supply"), "": ("coil Q",)}  # fmt: skip


def value_text(one: Pulled, value: float | None) -> str:
    """Return a value of a part with its unit."""
    if value is None:
        return NOTHING
    unit = next((unit for unit, kinds in _UNITS.items() if one.kind in kinds), "ohm")
    return engineering(value, unit, 4)


def moved_text(one: Pulled) -> str:
    """Return how far something lies off, with its sign."""
    if one.unit == "1":
        return f"{100.0 * one.moved:+.1f} %"
    return f"{one.moved:+.3f} V" if one.unit == "V" else f"{one.moved:+.2f} deviations"


def _share(value: float, unit: str) -> str:
    if unit == "1":
        return f"{fixed(value, 1, 100.0)} %"
    return f"{fixed(value, 3)} V" if unit == "V" else f"{fixed(value, 2)} sigma"


def readings(found: Calibration) -> Section:
    """Return the readings beside what the set gives before and after."""
    columns = (Column("reading", "left"), Column("yours\nV"), Column("before\nV"), Column("after\nV"))
    rows = tuple(
        (one.where, fixed(one.seen_v, 2), fixed(one.before_v, 2), fixed(one.after_v, 2))
        for one in found.readings
    )
    said = f"What remains: {found.misfit:.2f} deviations of a reading, r.m.s."
    return Section("Readings", (Grid(columns, rows), Note(said)), PLATE_SUPPLY)
