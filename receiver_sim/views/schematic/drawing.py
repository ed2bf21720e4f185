"""The schematic drawn: parts placed, wired and named, then as SVG, PDF or PNG by the drawing library."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import designators
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place
from receiver_sim.results.drawing import DrawnPart, DrawnPin, DrawnVolts, SchematicReport
from receiver_sim.schema import Band, Build
from receiver_sim.views.schematic.forms import RAIL
from receiver_sim.views.schematic.layout import Placed, placed
from receiver_sim.views.schematic.parts import Part
from receiver_sim.views.schematic.whole import parts_of_set
from receiver_sim.views.schematic.wires import Wiring, wired
from receiver_sim.views.schematic.words import SMALL, Text, boxed, words_for

FORMATS = ("svg", "pdf", "png")

CAUTION = (
    "Plate supplies kill: unplug, let the bleeder discharge, prove it with a meter before a hand goes in.",
    "Fuse, isolating transformer, covered terminals; no headphone lead at plate potential; follow the code",
    "where you live. An oscillating detector on an aerial transmits.",
)


@dataclass(frozen=True)
class Schematic:
    """A drawing: its parts on the sheet, the wires, the words, and the circuit it shows."""

    title: str
    subtitle: str
    circuit: Circuit
    placed: tuple[Placed, ...]
    wiring: Wiring
    texts: tuple[Text, ...]
    box: tuple[float, float, float, float]
    band: str = ""
    rotation: float | None = None
    volts: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def rendered(self, form: str = "svg") -> bytes:
        """Return the drawing as the bytes of a file: 'svg', 'pdf' or 'png'."""
        from receiver_sim.views.schematic.render import rendered  # noqa: PLC0415 - brings the drawing library

        return rendered(self, form)

    @property
    def parts(self) -> tuple[Part, ...]:
        """All parts, in the order of their designations."""
        return tuple(one.part for one in self.placed)

    def connections(self) -> dict[str, tuple[str, ...]]:
        """Return the pins on each net, as 'V1.plate', by a name of the net."""
        out: dict[str, list[str]] = {}
        for one in self.placed:
            for pin in one.part.pins:
                out.setdefault(_name_of(pin.net), []).append(f"{one.part.ref or one.part.word}.{pin.name}")
        return {net: tuple(sorted(pins)) for net, pins in sorted(out.items())}

    def report(self, *, file: str | None = None) -> SchematicReport:
        """Return what the drawing shows as a result. file: where it was written."""
        parts = tuple(
            DrawnPart(
                p.ref,
                p.word,
                p.lines,
                p.key,
                tuple(DrawnPin(pin.name, _name_of(pin.net), pin.number) for pin in p.pins),
            )
            for p in self.parts
        )
        seen: dict[str, float] = {}
        for (part, pin), value in self.volts.items():
            one = next(p for p in self.parts if p.id == part)
            seen[one.net(pin)] = value
        volts = tuple(DrawnVolts(net, self.rotation or 0.0, value) for net, value in sorted(seen.items()))
        return SchematicReport(self.title, self.band, parts, self.connections(), volts, file)


def _name_of(net: str) -> str:
    return "ground" if net == GROUND else net


def schematic(
    build: Build,
    cards: Cards,
    band: Band,
    *,
    volts: Mapping[tuple[str, str], float] | None = None,
    rotation: float | None = None,
) -> Schematic:
    """Return the drawing of a set with the coil of one band.

    volts: d.c. to ground at pins, by socket and electrode ('' and the words of a test point for others);
    rotation: the setting of the control (0..1) they belong to.
    """
    circuit, parts = parts_of_set(build, cards, band)
    stand = _designated(placed(parts), circuit)
    wiring = wired(stand, (circuit.node(Place.SUPPLY), RAIL))
    at_pins = _at_pins(stand, circuit, volts or {})
    texts, _ = words_for(stand, wiring, {key: _volts_words(value) for key, value in at_pins.items()})
    subtitle = f"drawn with the coil for {band.name}"
    if rotation is not None:
        subtitle += f"; d.c. volts to ground, control at {100.0 * rotation:.4g} %, not oscillating"
    texts, box = _headed(texts, stand, wiring, build.title, subtitle)
    return Schematic(
        build.title, subtitle, circuit, tuple(stand), wiring, tuple(texts), box, band.name, rotation, at_pins
    )


def _volts_words(value: float) -> str:
    return f"{value:.0f} V" if abs(value) >= 10 else f"{value:.2g} V"


def _designated(stand: Sequence[Placed], circuit: Circuit) -> list[Placed]:
    """Give each part the designation the circuit has for it, so that drawing and parts list agree.

    What the circuit has no element for is numbered on from there, in reading order: the upper row first,
    from left to right. A heater has the designation of its tube.
    """
    rectifiers = [e.name for e in circuit.elements if e.about.key == "supply.rectifier"]
    known = designators(circuit.without(rectifiers))
    count: dict[str, int] = {}
    for name in known.values():
        letter = name.rstrip("0123456789")
        count[letter] = max(count.get(letter, 0), int(name[len(letter) :]))
    refs: dict[int, str] = {}
    taken: set[str] = set()
    for i in sorted(range(len(stand)), key=lambda i: (stand[i].row, stand[i].x, -stand[i].y)):
        part = stand[i].part
        given = next((known[e] for e in (*part.elements, part.also.get("like", "")) if e in known), "")
        if given in taken:
            given = ""
        if part.letter and not given:
            count[part.letter] = count.get(part.letter, 0) + 1
            given = f"{part.letter}{count[part.letter]}"
        refs[i] = given
        taken.add(given)
    sockets = {one.part.also["socket"]: refs[i] for i, one in enumerate(stand) if one.part.symbol == "tube"}
    for i, one in enumerate(stand):
        if one.part.symbol == "heater":
            refs[i] = sockets.get(one.part.also["socket"], "")
    return [replace(one, part=replace(one.part, ref=refs[i])) for i, one in enumerate(stand)]


def _at_pins(
    stand: Sequence[Placed], circuit: Circuit, volts: Mapping[tuple[str, str], float]
) -> dict[tuple[str, str], float]:
    """Return the volts by part and pin: each net once, at a tube's pin where it has one."""
    out: dict[tuple[str, str], float] = {}
    done = {GROUND}
    for one in sorted(stand, key=lambda p: p.part.symbol != "tube"):
        for pin in one.part.pins:
            value = (
                volts.get((one.part.also.get("socket", "-"), pin.name)) if one.part.symbol == "tube" else None
            )
            if value is None:
                value = volts.get(("", circuit.meter.get(pin.net, "-")))
            if value is not None and pin.net not in done:
                done.add(pin.net)
                out[one.part.id, pin.name] = value
    return out


def _headed(
    texts: list[Text], stand: Sequence[Placed], wiring: Wiring, title: str, subtitle: str
) -> tuple[list[Text], tuple[float, float, float, float]]:
    """Add title and cautions above and below the drawing, and return the box of the sheet."""
    boxes = [one.box for one in stand] + [text.box for text in texts]
    boxes += [(min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])) for _, a, b in wiring.runs]
    boxes += [(g.at[0] - 0.6, g.at[1] - 1.4, g.at[0] + 0.6, g.at[1]) for g in wiring.grounds]
    left, low = min(b[0] for b in boxes), min(b[1] for b in boxes)
    right, high = max(b[2] for b in boxes), max(b[3] for b in boxes)
    head = boxed(left, high + 2.2, "left", "up", (title,), 16.0)
    under = boxed(left, high + 1.2, "left", "up", (subtitle,), SMALL + 2)
    foot = boxed(left, low - 1.2, "left", "down", CAUTION, SMALL + 2)
    more = [
        Text(head, (title,), 16.0, "title"), Text(under, (subtitle,), SMALL + 2, "title"),
        Text(foot, CAUTION, SMALL + 2, "caution"),
    ]  # fmt: skip
    right = max(right, head[2], under[2], foot[2])
    return [*texts, *more], (left - 1, foot[1] - 1, right + 1, head[3] + 1)
