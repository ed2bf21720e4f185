"""Which ratings does each part need, and are those that the build states enough?

Margins: twice the watts of a resistor, 1.2 times the volts of a capacitor (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import PartGroup, parts_of
from receiver_sim.circuit.pins import heater_feed
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.supply_sockets import rectifier_bottles
from receiver_sim.measure.rectifier import HIGHEST_MAINS
from receiver_sim.physics.part_series import (
    CAPACITOR_VOLTS,
    E12,
    E24,
    RESISTOR_WATTS,
    nearest_preferred,
    rating_above,
)
from receiver_sim.results.bench_chart import Beside, PartNeeds
from receiver_sim.results.supply import Rectified
from receiver_sim.schema import Build
from receiver_sim.schema.card import Ratings
from receiver_sim.schema.rating import Rating
from receiver_sim.studies.part_stress import CATHODE_A, HEATER_V, RECTIFIER, SCREEN_V, SCREEN_W, Stress

WATTS_MARGIN, VOLTS_MARGIN = 2.0, 1.2

WINDING = "supply.secondary.volts"
"""Key of the mains transformer's plate winding."""

HEATERS = "heater.volts"
"""Key of the heater winding, or of what stands in its place."""

_UNITS = {"r": "ohm", "c": "F", "l": "H"}


def needs(
    build: Build,
    circuit: Circuit,
    stress: dict[str, Stress] | None,
    rectified: Rectified | None,
    cards: Cards,
) -> tuple[PartNeeds, ...]:
    """Return a line for every part; stress: of its elements, None where it was not found."""
    met = stress or {}
    out = [_line(part, build, circuit, met, rectified, cards) for part in parts_of(circuit)]
    tubes = sum(part.letters == "V" for part in parts_of(circuit))
    surge_a = met[RECTIFIER].highest_a if RECTIFIER in met else 0.0
    rectifiers = _rectifiers(build, rectified, tubes, surge_a)
    return tuple(_rated(line, build.ratings) for line in (*out, *rectifiers))


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
    names = [line.designator, line.key, f"{line.key}.choke", f"{line.key}.resistor"]
    if line.key == WINDING:
        names.append(WINDING.rpartition(".")[0])
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
    # a choke is known by its henries, not by the resistance of its wire
    one = next((e for e in members if e.kind == "l" or part.letters != "L"), members[0])
    met = [stress[name] for name in part.elements if name in stress]
    hot = max(met, key=lambda s: s.watts_w, default=Stress())
    high = max(met, key=lambda s: s.highest_v, default=Stress())
    amps = max((s.highest_a for s in met), default=0.0)
    if part.key == WINDING:
        met, amps = [], 0.0 if rectified is None else rectified.winding_a
    if part.key == HEATERS:
        amps = heater_current(build, circuit, cards)
    track = part.letters == "R" and len(members) > 1
    value = sum(e.value or 0.0 for e in members) if track else one.value
    unit = _UNITS.get(one.kind, "")
    plain = part.letters in ("R", "C") and one.about.tolerance != "variable capacitor"
    # a plug-in coil is another one on each band
    known = plain or (part.letters == "L" and part.word != "plug-in coil")
    series = E24 if part.letters == "R" else E12
    line = PartNeeds(
        designator=part.designator,
        word=part.word,
        key=part.key,
        value=value if known else None,
        unit=unit if known else "",
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
    return _stated(line, part, build, circuit, cards, stress)


def heater_current(build: Build, circuit: Circuit, cards: Cards) -> float:
    """Return the current of all heaters that hang on the line (A), those behind a dropper too."""
    feeds = {name: heater_feed(build, name) for name in circuit.sockets}
    on_line = [name for name, feed in feeds.items() if feed is None or feed.source == "line"]
    out = 0.0
    for name in on_line:
        heater, feed = cards.of(name).heater, feeds[name]
        volts = build.heater.volts if feed is None or feed.volts is None else feed.volts
        # of two halves, in series at twice the volts: half the current
        in_series = heater.split and volts > 1.5 * heater.volts
        out += heater.amps * (0.5 if in_series else 1.0)
    return out


def _ripple(key: str, rectified: Rectified | None) -> float | None:
    if rectified is None or not key.endswith(".capacitor") or not key.startswith("supply.filter["):
        return None
    index = int(key.partition("[")[2].partition("]")[0])
    return rectified.capacitors[index].ripple_a


def _stated(
    line: PartNeeds,
    part: PartGroup,
    build: Build,
    circuit: Circuit,
    cards: Cards,
    stress: dict[str, Stress],
) -> PartNeeds:
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
        besides = _besides(
            next((stress[name] for name in part.elements if name in stress), Stress()), ratings
        )
        return replace(line, stated_v=ratings.plate, stated_w=ratings.plate_power, besides=besides)
    return line


def _besides(met: Stress, ratings: Ratings) -> tuple[Beside, ...]:
    """Return what else of a tube its card limits."""
    limits = (
        (SCREEN_V, ratings.screen, "V"),
        (SCREEN_W, ratings.screen_power, "W"),
        (CATHODE_A, ratings.cathode_current, "A"),
        (HEATER_V, ratings.heater_cathode, "V"),
    )
    return tuple(
        Beside(words, met.besides[words][0], limit, unit, met.besides[words][1])
        for words, limit, unit in limits
        if words in met.besides
    )


def _judged(line: PartNeeds) -> PartNeeds:
    pairs = (
        (line.highest_v, line.stated_v),
        (line.watts_w, line.stated_w),
        (line.highest_a if line.ripple_a is None else line.ripple_a, line.stated_a),
    )
    short = any(met is not None and limit is not None and met > limit for met, limit in pairs)
    return replace(line, enough=not (short or any(one.exceeded for one in line.besides)))


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
    return _note_by_key(part.key, part.word)


def _note_by_key(key: str, word: str) -> str:
    if key == HEATERS:
        return "current is that of all heaters on it, as their sheets have it"
    if key == WINDING:
        return "current is r.m.s. of the plate winding (full wave: of each half) at nominal mains"
    if key.startswith("phones[") and key.endswith(".capacitor"):
        return "blocks the plate voltage from the phones: film or paper, no electrolytic"
    if key.endswith(".coil") or word == "plug-in coil":
        return "one for each band: see the winding table"
    return ""


def _rectifiers(build: Build, rectified: Rectified | None, tubes: int, surge_a: float) -> list[PartNeeds]:
    """Return the rectifier, which stands in no circuit of the receiver: its run is one over time."""
    if rectified is None or build.supply.kind != "rectifier":
        return []
    part = build.supply.rectifier
    diodes = {"full_wave": 2, "bridge": 4, "half_wave": 1}[build.supply.circuit]
    vacuum = part.kind == "vacuum"
    name = "D1" if diodes == 1 else f"D1-D{diodes}"
    if vacuum:
        last = tubes + rectifier_bottles(build)
        name = f"V{last}" if last == tubes + 1 else f"V{tubes + 1}-V{last}"
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
        highest_a=max(HIGHEST_MAINS * rectified.peak_a, surge_a),
        watts_w=None,
        watts_when="",
        buy_v=None,
        buy_w=None,
        ripple_a=None,
        stated_v=part.peak_inverse,
        stated_w=None,
        stated_a=part.peak_current,
        enough=True,
        note=f"{kind}; current is the highest peak of a charging pulse, the first one too, mains 10 % high",
        besides=(
            Beside(
                "d.c. that receiver and bleeder take",
                rectified.load_a + rectified.bleeder_a,
                getattr(part, "output_current", None),
                "A",
            ),
        ),
    )
    return [line]
