"""The sockets that no circuit of the receiver holds: of the vacuum rectifier and of a gas-filled regulator.

Pins of rectifiers are those of their cards; of regulators those of `regulator_pins.csv` (RCA Receiving
Tube Manual, from memory, flagged there).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.wiring_list import CHASSIS, WiringRow, nets_of, terminals
from receiver_sim.schema import Build, regulator_types
from receiver_sim.schema.rectifier_card import RectifierCard, rectifier_for, rectifier_types

RECTIFIER, REGULATOR = "rectifier", "regulator"


@dataclass(frozen=True)
class SupplySocket:
    """A socket and its rows in the wiring list. base, pins_flag: as on the card; renamed: ends of parts that
    the circuit alone would call otherwise, by their names there.
    """

    designator: str
    tube: str
    base: str
    pins_flag: str
    rows: tuple[WiringRow, ...]
    renamed: Mapping[str, str] = field(default_factory=dict)


def listed_with(rows: Sequence[WiringRow], sockets: Sequence[SupplySocket]) -> tuple[WiringRow, ...]:
    """Return a wiring list with these sockets, before its joints, ends of parts by the names they give."""
    names = {old: new for one in sockets for old, new in one.renamed.items()}
    own = [replace(row, to=tuple(names.get(end, end) for end in row.to)) for row in rows]
    first = next((i for i, row in enumerate(own) if not row.designator), len(own))
    return (*own[:first], *(row for one in sockets for row in one.rows), *own[first:])


def supply_sockets(given: Build, circuit: Circuit) -> tuple[SupplySocket, ...]:
    """Return the sockets of a build's rectifier and regulator; given: as loaded, circuit: of the settled one.

    A type without printed pins has none.
    """
    return (*_rectifier(given, circuit), *_regulator(given, circuit))


def _rectifier(given: Build, circuit: Circuit) -> Iterator[SupplySocket]:
    supply = given.supply
    if supply.kind != "rectifier" or supply.rectifier.kind != "vacuum":
        return
    name = supply.rectifier.type
    if name is None or name not in rectifier_types():
        return
    card = rectifier_for(name)
    parts = parts_of(circuit)
    source = circuit.part(Role.SUPPLY)
    winding = next(p.designator for p in parts if source in p.elements)
    # numbered on from the receiver's tubes, as in the parts list
    count = sum(p.letters == "V" for p in parts)
    names = [f"V{count + number}" for number in range(1, rectifier_bottles(given) + 1)]
    out = tuple(e for e in _beside(circuit, circuit[source].nodes[0]) if not e.startswith(winding))
    one, other = (f"{winding} plate winding, {end} end" for end in ("one", "other"))
    half = supply.circuit == "half_wave"
    lower = names[-2:] if supply.circuit == "bridge" else []
    upper = names[: len(names) - len(lower)]
    both = [{"p": one, "p second": one if half else other}]
    fed = [{"p": one}, {"p": other}] if len(upper) == 2 else both
    tap = "centre tap of the plate winding" if supply.circuit == "full_wave" else "plate winding, other end"
    # of the transformer the circuit has what comes out of the rectifier
    cathodes = f"{upper[0]} cathode" if len(upper) == 1 else f"{upper[0]} and {upper[1]} cathodes"
    low = f"{lower[0]} and {lower[1]} plates" if lower else f"{winding} {tap}"
    renamed = {f"{winding} rectified +": cathodes, f"{winding} rectified -": low}
    for own, ends in zip(upper, fed, strict=True):
        rows = tuple(
            WiringRow(own, RECTIFIER, card.type, number, _WORDS.get(what, what),
                      _rectifier_pin(number, what, card, winding, out, ends))
            for number, what in sorted(card.pins.items(), key=lambda pin: (len(pin[0]), pin[0]))
        )  # fmt: skip
        yield SupplySocket(own, card.type, card.base, str(card.pins_flag), rows, renamed)
    for own, end in zip(lower, (one, other), strict=False):
        yield _lower_arm(own, card, winding, end)


def rectifier_bottles(given: Build) -> int:
    """Return how many tubes the vacuum rectifier of a build takes; one of no known type has two plates.

    Two plates have one cathode, so that the lower arms of a bridge take a tube each.
    """
    supply = given.supply
    assert supply.kind == "rectifier"
    name = getattr(supply.rectifier, "type", None)
    one_plate = name in rectifier_types() and rectifier_for(name).plates == 1
    return {"half_wave": 1, "full_wave": 1 + one_plate, "bridge": 3 + one_plate}[supply.circuit]


def _lower_arm(own: str, card: RectifierCard, winding: str, end: str) -> SupplySocket:
    """Return one of the two tubes in the lower arms of a bridge: plates to the chassis, the cathode to an end
    of the plate winding, and so a heater winding of its own for each that is insulated for plate volts.
    """
    heater = f"{winding} heater winding of {own} alone, insulated for plate volts"
    first = min((n for n, what in card.pins.items() if what.startswith("filament")), default="")
    rows = []
    for number, what in sorted(card.pins.items(), key=lambda one: (len(one[0]), one[0])):
        if what.startswith("p"):
            to: tuple[str, ...] = (CHASSIS,)
        elif what.startswith("k"):
            to = (end, heater) if "heater" in what else (end,)
        elif what.startswith("filament"):
            to = (heater, end) if number == first else (heater,)
        elif what == "heater":
            to = (heater,)
        else:
            to = (CHASSIS,) if what in ("shell", "shield") else ("not connected",)
        rows.append(WiringRow(own, RECTIFIER, card.type, number, _WORDS.get(what, what), to))
    return SupplySocket(own, card.type, card.base, str(card.pins_flag), tuple(rows))


_WORDS = {"p": "plate", "p second": "plate", "k": "cathode", "k second": "cathode"}


def _rectifier_pin(
    number: str, what: str, card: RectifierCard, winding: str, out: tuple[str, ...], ends: dict[str, str]
) -> tuple[str, ...]:
    own = f"{winding} rectifier heater winding"
    if what in ends:
        return (ends[what],)
    if what.startswith("k"):
        return (*out, own) if "heater" in what else out
    if what.startswith("filament"):
        # the filament is the cathode: one end of its winding goes on to the filter
        first = min(n for n, w in card.pins.items() if w.startswith("filament"))
        return (own, *out) if number == first else (own,)
    if what == "heater":
        return (own,)
    return (CHASSIS,) if what in ("shell", "shield") else ("not connected",)


def _beside(circuit: Circuit, node: str) -> tuple[str, ...]:
    """Return the ends of parts on the net of a node."""
    return tuple(terminals(circuit).get(nets_of(circuit)[node], ()))


def _regulator(given: Build, circuit: Circuit) -> Iterator[SupplySocket]:
    regulator = given.regulator
    row = None if regulator is None or regulator.type is None else regulator_types.pins(regulator.type)
    if regulator is None or regulator.kind != "gas_tube" or row is None:
        return
    part = next(p for p in parts_of(circuit) if p.letters == "VR")
    nodes = circuit[part.elements[0]].nodes
    hot = next(node for node in nodes if node != GROUND)
    top = tuple(e for e in _beside(circuit, hot) if e != part.designator)
    count = round(regulator.count)
    rows: list[WiringRow] = []
    for number in range(count):
        name = part.designator if count == 1 else f"{part.designator} no. {number + 1}"
        above = top if number == 0 else (f"cathode of no. {number}",)
        below: Sequence[str] = (CHASSIS,) if number == count - 1 else (f"anode of no. {number + 2}",)
        rows += [WiringRow(name, REGULATOR, row["type"], p, "anode", above) for p in row["anode"].split()]
        rows += [
            WiringRow(name, REGULATOR, row["type"], p, "cathode", tuple(below))
            for p in row["cathode"].split()
        ]
        rows += [
            WiringRow(name, REGULATOR, row["type"], p, "joined inside", ("nothing: no tie point",))
            for p in row["joined"].split()
        ]
    yield SupplySocket(part.designator, row["type"], row["base"], row["flag"], tuple(rows))


__all__ = ["SupplySocket", "listed_with", "rectifier_bottles", "supply_sockets"]
