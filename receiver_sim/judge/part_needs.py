"""Which ratings does each part need, and are those that the build states enough?

Margins: twice the watts of a resistor, 1.2 times the volts of a capacitor (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import PartGroup, parts_of
from receiver_sim.circuit.registry import Cards
from receiver_sim.physics.part_series import (
    CAPACITOR_VOLTS,
    E12,
    E24,
    RESISTOR_WATTS,
    nearest_preferred,
    rating_above,
)
from receiver_sim.results.bench_chart import PartNeeds
from receiver_sim.results.supply import Rectified
from receiver_sim.schema import Build
from receiver_sim.schema.rating import Rating
from receiver_sim.studies.part_stress import Stress

WATTS_MARGIN, VOLTS_MARGIN = 2.0, 1.2

_UNITS = {"r": "ohm", "c": "F", "l": "H"}


def needs(
    build: Build,
    circuit: Circuit,
    stress: dict[str, Stress] | None,
    rectified: Rectified | None,
    cards: Cards,
) -> tuple[PartNeeds, ...]:
    """Return a line for every part; stress: of its elements, None where it was not found."""
    out = [_line(part, build, circuit, stress or {}, rectified, cards) for part in parts_of(circuit)]
    tubes = sum(part.letters == "V" for part in parts_of(circuit))
    return tuple(_rated(line, build.ratings) for line in (*out, *_rectifiers(build, rectified, tubes)))


def _rated(line: PartNeeds, ratings: Sequence[Rating]) -> PartNeeds:
    """Return the line with what the build's list of ratings says of its part."""
    for one in ratings:
        if _means(one, line):
            line = replace(
                line,
                stated_v=line.stated_v if one.withstands is None else one.withstands,
                stated_w=line.stated_w if one.dissipates is None else one.dissipates,
                stated_a=line.stated_a if one.carries is None else one.carries,
            )
    return _judged(line)


def _means(one: Rating, line: PartNeeds) -> bool:
    # a section of the filter has its series part under its own key, beside its capacitor
    names = (line.designator, line.key, f"{line.key}.choke", f"{line.key}.resistor")
    return one.part.strip().casefold() in [name.casefold() for name in names]


def without_part(ratings: Sequence[Rating], lines: Sequence[PartNeeds]) -> list[Rating]:
    """Return the ratings of parts that the set does not have."""
    return [one for one in ratings if not any(_means(one, line) for line in lines)]


def _line(
    part: PartGroup,
    build: Build,
    circuit: Circuit,
    stress: dict[str, Stress],
    rectified: Rectified | None,
    cards: Cards,
) -> PartNeeds:
    members = [circuit[name] for name in part.elements]
    one = members[0]
    met = [stress[name] for name in part.elements if name in stress]
    hot = max(met, key=lambda s: s.watts_w, default=Stress())
    high = max(met, key=lambda s: s.highest_v, default=Stress())
    amps = max((s.highest_a for s in met), default=0.0)
    track = part.letters == "R" and len(members) > 1
    value = sum(e.value or 0.0 for e in members) if track else one.value
    unit = _UNITS.get(one.kind, "")
    plain = part.letters in ("R", "C") and one.about.tolerance != "variable capacitor"
    series = E24 if part.letters == "R" else E12
    line = PartNeeds(
        designator=part.designator,
        word=part.word,
        key=part.key,
        value=value if plain or part.letters == "L" else None,
        unit=unit if plain or part.letters == "L" else "",
        preferred=nearest_preferred(value, series) if plain and value and not track else None,
        highest_v=high.highest_v if part.letters in ("R", "C", "V", "VR", "L", "T") and met else None,
        volts_when=high.volts_when,
        highest_a=amps if amps > 0.0 else None,
        watts_w=hot.watts_w if part.letters in ("R", "V", "VR") and met else None,
        watts_when=hot.watts_when,
        buy_v=rating_above(VOLTS_MARGIN * high.highest_v, CAPACITOR_VOLTS)
        if part.letters == "C" and high.highest_v > 0.0
        else None,
        buy_w=rating_above(WATTS_MARGIN * hot.watts_w, RESISTOR_WATTS)
        if part.letters == "R" and met
        else None,
        ripple_a=_ripple(part.key, rectified),
        stated_v=None,
        stated_w=None,
        stated_a=None,
        enough=True,
        note=_note(part, build, circuit, cards),
    )
    return _stated(line, part, build, circuit, cards)


def _ripple(key: str, rectified: Rectified | None) -> float | None:
    if rectified is None or not key.endswith(".capacitor") or not key.startswith("supply.filter["):
        return None
    index = int(key.partition("[")[2].partition("]")[0])
    return rectified.capacitors[index].ripple_a


def _stated(line: PartNeeds, part: PartGroup, build: Build, circuit: Circuit, cards: Cards) -> PartNeeds:
    """Return the line with what the build, or the card of a tube, says the part stands."""
    key = part.key
    supply = build.supply
    if supply.kind == "rectifier" and key.startswith("supply.filter[") and key.endswith(".capacitor"):
        index = int(key.partition("[")[2].partition("]")[0])
        return replace(line, stated_v=supply.filter[index].rating)
    if key.startswith("phones[") and key.endswith(".capacitor"):
        index = int(key.partition("[")[2].partition("]")[0])
        return replace(line, stated_v=build.phones[index].capacitor_rating)
    if key == "regulator.dropper":
        return replace(line, stated_w=build.regulator.dropper_power if build.regulator else None)
    if part.letters == "VR":
        return replace(line, stated_a=build.regulator.maximum_current if build.regulator else None)
    if part.letters == "V":
        socket = next(n for n, s in circuit.sockets.items() if s.tube in part.elements)
        ratings = cards.of(socket).ratings
        return replace(line, stated_v=ratings.plate, stated_w=ratings.plate_power)
    return line


def _judged(line: PartNeeds) -> PartNeeds:
    pairs = (
        (line.highest_v, line.stated_v),
        (line.watts_w, line.stated_w),
        (line.highest_a if line.ripple_a is None else line.ripple_a, line.stated_a),
    )
    short = any(met is not None and limit is not None and met > limit for met, limit in pairs)
    return replace(line, enough=not short)


def _note(part: PartGroup, build: Build, circuit: Circuit, cards: Cards) -> str:
    if part.letters == "V":
        socket = next(n for n, s in circuit.sockets.items() if s.tube in part.elements)
        card = cards.of(socket)
        return f"{card.type}, {card.base}; heater {card.heater.volts:g} V, {card.heater.amps:g} A"
    if part.letters == "VR" and build.regulator is not None:
        named = build.regulator.type or build.regulator.kind.replace("_", " ")
        return f"{named}, {build.regulator.held_volts:g} V"
    if part.key == "regeneration.maximum":
        low, high = (1e12 * (one or 0.0) for one in (build.regeneration.minimum, build.regeneration.maximum))
        return f"variable, {low:g} to {high:g} pF; rotor to chassis, the stator is at plate potential"
    if part.key.startswith("phones[") and part.key.endswith(".capacitor"):
        return "blocks plate volts from the phones: film or paper, no electrolytic"
    if part.key.endswith(".coil") or part.word == "plug-in coil":
        return "one for each band: see the winding table"
    return ""


def _rectifiers(build: Build, rectified: Rectified | None, tubes: int) -> list[PartNeeds]:
    """Return the rectifier, which stands in no circuit of the receiver: its run is one over time."""
    if rectified is None or build.supply.kind != "rectifier":
        return []
    part = build.supply.rectifier
    diodes = {"full_wave": 2, "bridge": 4, "half_wave": 1}[build.supply.circuit]
    vacuum = part.kind == "vacuum"
    name = "D1" if diodes == 1 else f"D1-D{diodes}"
    if vacuum:  # two plates with one cathode: a bridge takes one above and two below
        name = f"V{tubes + 1}-V{tubes + 3}" if diodes == 4 else f"V{tubes + 1}"
    kind = getattr(part, "type", None) or ("vacuum rectifier" if vacuum else "silicon diodes")
    line = PartNeeds(
        designator=name,
        word="rectifier",
        key="supply.rectifier",
        value=None,
        unit="",
        preferred=None,
        highest_v=rectified.inverse_v,
        volts_when="peak inverse, no load, mains 10 % high",
        highest_a=rectified.peak_a,
        watts_w=None,
        watts_when="",
        buy_v=None,
        buy_w=None,
        ripple_a=None,
        stated_v=part.peak_inverse,
        stated_w=None,
        stated_a=part.peak_current,
        enough=True,
        note=f"{kind}; current is the peak of each charging pulse",
    )
    return [line]
