"""Checks between the keys of coils, links and aerial: what cannot be wound, and what belongs to what."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from receiver_sim.physics.self_capacitance import RATIO_RANGE
from receiver_sim.physics.wire import astm_gauge_diameter
from receiver_sim.schema import parts as p
from receiver_sim.schema.faults import KeyPath
from receiver_sim.schema.quantity import Quantity
from receiver_sim.schema.validated import Finding, Glimpse

_FIGURES = {"inductance": p.TankInductance, "q": p.CoilQ, "tap": p.Tap}


def _coils(g: Glimpse) -> Iterator[KeyPath]:
    for i in range(g.count("bands")):
        if g.given("bands", i, "coil"):
            yield ("bands", i, "coil")


def _millimetres(value: float) -> str:
    return f"{value * 1e3:.3g} mm"


def by_figures_or_winding(g: Glimpse) -> Iterator[Finding]:
    """A coil is known by inductance, Q and tap, or by its winding, measured figures then apart."""
    for coil in _coils(g):
        wound = g.given(*coil, "winding")
        fed = g.given(*coil, "tickler")
        for key, field in _FIGURES.items():
            if fed and key == "tap":
                continue
            if not wound and not g.given(*coil, key):
                mark = next(m for m in field.__metadata__ if isinstance(m, Quantity))  # type: ignore[attr-defined]
                cure = f"add a line such as '{key}: {mark.example}', or describe the 'winding'"
                yield Finding((*coil, key), mark.expected(), cure, missing=True)
            if wound and g.given(*coil, key):
                inside = (
                    "give the turn of the tap as 'winding.tap'"
                    if key == "tap"
                    else f"write 'measured: {{{key}: ...}}'"
                )
                yield Finding((*coil, key), "nothing here, since 'winding' gives it", inside)
        if wound and g.given(*coil, "shape"):
            yield Finding((*coil, "shape"), "nothing here, since 'winding' gives it", "remove it")
        if wound and g.given(*coil, "coupling"):
            yield Finding(
                (*coil, "coupling"),
                "nothing here, since 'winding' gives it",
                "write 'measured: {coupling: ...}'",
            )
        if not wound:
            for key in ("measured", "link", "can"):
                if g.given(*coil, key):
                    yield Finding(
                        (*coil, key),
                        "no such key beside a coil that is known by its figures",
                        "describe the 'winding', or remove it",
                    )
        if g.word(*coil, "winding", "kind") == "toroid":
            yield from _toroid(g, coil)


def _toroid(g: Glimpse, coil: KeyPath) -> Iterator[Finding]:
    for key in ("q", "coupling"):
        if not g.given(*coil, "measured", key):
            yield Finding(
                (*coil, "measured", key),
                "a measured figure, since no formula gives it for a ring core",
                f"add 'measured: {{{key}: ...}}' from the core's data sheet or a meter",
                missing=True,
            )
    for key in ("link", "can"):
        if g.given(*coil, key):
            what = "a link" if key == "link" else "a shield can"
            cure = f"{what} on a ring core is not covered yet: remove it, or take a solenoid"
            yield Finding((*coil, key), "no such key beside a ring core", cure)


def _wire(g: Glimpse, part: KeyPath) -> float | None:
    wire, gauge = g.number(*part, "wire"), g.number(*part, "gauge")
    if wire is not None:
        return wire
    return None if gauge is None else float(astm_gauge_diameter(gauge))


def feedback(g: Glimpse) -> Iterator[Finding]:
    """A coil has a cathode tap or a tickler, the same on all bands, since the socket is wired for one."""
    ticklers = [coil for coil in _coils(g) if g.given(*coil, "tickler")]
    for coil in _coils(g):
        if coil in ticklers:
            yield from _tickler(g, coil)
            continue
        if ticklers:
            yield Finding(
                (*coil, "tickler"),
                "a tickler, since another coil has one and the cathode is on ground",
                "add a 'tickler' to this coil, or take it from all and give each a 'tap'",
                missing=True,
            )
        elif g.word(*coil, "winding", "kind") in ("solenoid", "sections") and not g.given(
            *coil, "winding", "tap"
        ):
            yield Finding(
                (*coil, "winding", "tap"),
                "the turn at which the cathode is tapped",
                "add a line such as 'tap: 1.25', or a 'tickler' to the coil",
                missing=True,
            )


def ways_back(g: Glimpse) -> Iterator[Finding]:
    """The current of a tickler returns through the capacitor at its filter end, or through a throttle."""
    path: KeyPath = ("detector", "rf_filter", "plate_capacitor")
    if g.word("regeneration", "acts_on") == "throttle":
        return
    if g.number(*path) == 0.0 and any(g.given(*coil, "tickler") for coil in _coils(g)):
        yield Finding(
            path,
            "a capacitor, since the r.f. current of the tickler returns through it",
            "write a value such as '220 pF'",
        )


def _tickler(g: Glimpse, coil: KeyPath) -> Iterator[Finding]:
    part: KeyPath = (*coil, "tickler")
    sections = ((*coil, "coupling"), (*coil, "measured", "coupling"))
    for tap in ((*coil, "tap"), (*coil, "winding", "tap"), (*coil, "shape"), *sections):
        if g.given(*tap):
            yield Finding(
                tap, "nothing here, since the coil has a tickler and the cathode is on ground", "remove it"
            )
    if g.word(*coil, "winding", "kind") == "toroid":
        yield Finding(part, "no such key beside a ring core",
                      "a tickler on a ring core is not covered yet: take a solenoid")  # fmt: skip
    by_turns = g.given(*part, "turns")
    if g.given(*coil, "link") and not by_turns:
        yield Finding(
            (*coil, "link"),
            "no such key beside a tickler that is known by its figures",
            "describe how the tickler is wound, which gives its coupling to the link, or couple the aerial "
            "by a capacitor",
        )
    for key, example in (("inductance", "2 uH"), ("coupling", "0.2")):
        if by_turns and g.given(*part, key):
            yield Finding(
                (*part, key), "nothing here, since its turns give it", "remove it, or 'turns' and the wire"
            )
        if not by_turns and not g.given(*part, key):
            yield Finding(
                (*part, key),
                f"the tickler's {key}, or its 'turns'",
                f"add a line such as '{key}: {example}', or describe how it is wound",
                missing=True,
            )
    if by_turns and not g.given(*coil, "winding"):
        yield Finding(
            (*part, "turns"),
            "a coil known by its winding, since the tickler is",
            "describe the coil's 'winding', or give the tickler's 'inductance' and 'coupling'",
        )
    if by_turns and g.given(*part, "former") and g.word(*part, "place") == "over":
        yield Finding(
            (*part, "former"), "no former of its own 'over' the coil", "give the sleeve's thickness as 'gap'"
        )


def _wound_parts(g: Glimpse, coil: KeyPath) -> Iterator[KeyPath]:
    """Give the key path of every part of a coil that is wound of wire on a former."""
    kind = g.word(*coil, "winding", "kind")
    if kind == "solenoid":
        yield (*coil, "winding")
    if kind == "sections":
        for i in range(g.count(*coil, "winding", "sections")):
            yield (*coil, "winding", "sections", i)
    if g.given(*coil, "link"):
        yield (*coil, "link")
    if g.given(*coil, "tickler", "turns"):
        yield (*coil, "tickler")


def wires(g: Glimpse) -> Iterator[Finding]:
    """Wire is given by diameter or by gauge, and turns must not overlap."""
    for coil in _coils(g):
        for part in _wound_parts(g, coil):
            if not g.given(*part, "wire") and not g.given(*part, "gauge"):
                yield Finding(
                    (*part, "wire"),
                    "the wire's diameter, or 'gauge'",
                    "add a line such as 'wire: 0.5 mm' or 'gauge: 24'",
                    missing=True,
                )
            elif g.given(*part, "wire") and g.given(*part, "gauge"):
                yield Finding((*part, "gauge"), "either 'wire' or 'gauge'", "remove one of the two")
            pitch, wire, cover = g.number(*part, "pitch"), _wire(g, part), g.number(*part, "covering")
            if pitch is not None and wire is not None and cover is not None and pitch < wire + cover - 1e-9:
                yield Finding(
                    (*part, "pitch"),
                    f"at least wire and covering, {_millimetres(wire + cover)}",
                    "space the turns wider, or leave 'pitch' out for a close-wound coil",
                )


def _turns(g: Glimpse, coil: KeyPath) -> float | None:
    kind = g.word(*coil, "winding", "kind")
    if kind == "sections":
        each = [
            g.number(*coil, "winding", "sections", i, "turns")
            for i in range(g.count(*coil, "winding", "sections"))
        ]
        return None if None in each or not each else sum(n for n in each if n is not None)
    return g.number(*coil, "winding", "turns")


def taps(g: Glimpse) -> Iterator[Finding]:
    """The cathode tap lies in the grounded half of the coil, as `tap` in per cent may at most."""
    for coil in _coils(g):
        turns, tap = _turns(g, coil), g.number(*coil, "winding", "tap")
        if turns is not None and tap is not None and tap > 0.5 * turns:
            yield Finding(
                (*coil, "winding", "tap"),
                f"at most half of the {turns:g} turns",
                "count the tap from the grounded end",
            )


def _solenoid_size(g: Glimpse, coil: KeyPath) -> tuple[float, float] | None:
    """Return mean diameter and length of a solenoid, None if they can't be found."""
    part: KeyPath = (*coil, "winding")
    if g.word(*part, "kind") != "solenoid":
        return None
    former, wire = g.number(*part, "former"), _wire(g, part)
    turns, cover = g.number(*part, "turns"), g.number(*part, "covering")
    if former is None or wire is None or turns is None or cover is None:
        return None
    pitch = g.number(*part, "pitch")
    return former + wire + cover, turns * (wire + cover if pitch is None else pitch)


def shapes(g: Glimpse) -> Iterator[Finding]:
    """The formula for self-capacitance ends somewhere, and a coil must fit into its can."""
    low, high = RATIO_RANGE
    for coil in _coils(g):
        size = _solenoid_size(g, coil)
        if size is None:
            continue
        diameter, length = size
        if not low <= length / diameter <= high and not g.given(*coil, "measured", "self_capacitance"):
            cure = "take a larger former"
            if length < low * diameter:
                pitch = low * diameter / (g.number(*coil, "winding", "turns") or 1.0)
                cure = f"space the turns to a pitch of {_millimetres(pitch)}, take a smaller former"
            yield Finding(
                (*coil, "winding", "turns"),
                f"a coil of {low:g} to {high:g} diameters' length; this one has {length / diameter:.2g}",
                f"{cure}, or give 'measured: {{self_capacitance: ...}}'",
            )
        inside, height = g.number(*coil, "can", "diameter"), g.number(*coil, "can", "height")
        if inside is None or height is None:
            continue
        if inside <= diameter:
            yield Finding(
                (*coil, "can", "diameter"),
                f"more than the {_millimetres(diameter)} of the coil",
                "take a wider can",
            )
        rise = g.number(*coil, "can", "rise")
        rise = height / 2.0 if rise is None else rise
        if rise <= length / 2.0 or rise + length / 2.0 >= height:
            yield Finding(
                (*coil, "can", "height"),
                f"room for the {_millimetres(length)} of the coil",
                "take a taller can, or set 'rise' to the height of the coil's middle",
            )


def links(g: Glimpse) -> Iterator[Finding]:
    """A link below the coil has a capacitance nobody can estimate; a shield leaves less than there was."""
    by_link = g.given("aerial") and not g.given("aerial", "coupling") and not g.given("rf_stage")
    for coil in _coils(g):
        if by_link and not g.given(*coil, "link"):
            yield Finding(
                (*coil, "link"),
                "a link, since the aerial has no 'coupling' capacitor",
                "add a 'link' to the coil, or 'coupling: 4 pF' to the aerial",
                missing=True,
            )
        if not g.given(*coil, "link"):
            continue
        bare = g.number(*coil, "link", "capacitance")
        if g.word(*coil, "link", "place") == "below" and not g.given(*coil, "link", "capacitance"):
            yield Finding(
                (*coil, "link", "capacitance"),
                "the capacitance from link to hot end of a link 'below'",
                "add a line such as 'capacitance: 0.8 pF'",
                missing=True,
            )
        left = g.number(*coil, "link", "shield", "capacitance")
        if bare is not None and left is not None and left > bare:
            yield Finding(
                (*coil, "link", "shield", "capacitance"),
                "no more than the capacitance without the shield",
                "swap the two or correct one",
            )
        wire, spacing = (g.number(*coil, "link", "shield", key) for key in ("wire", "spacing"))
        if wire is not None and spacing is not None and wire > 0.3 * spacing:
            yield Finding(
                (*coil, "link", "shield", "wire"),
                "at most 0.3 of the spacing: the formula ends there",
                "take thinner wire, or a shield of kind 'leaves' with its measured capacitance",
            )


def aerials(g: Glimpse) -> Iterator[Finding]:
    """Each kind of aerial has keys of its own."""
    if not g.given("aerial"):
        return
    kind = g.word("aerial", "kind")
    own = {"series": ("resistance", "capacitance"), "dummy": (), "wire": ("wire",)}
    if kind not in own:
        return
    for key in own[kind]:
        if not g.given("aerial", key):
            yield Finding(
                ("aerial", key),
                f"a value, since the aerial is of kind '{kind}'",
                f"add '{key}', or another 'kind'",
                missing=True,
            )
    for key in ("resistance", "capacitance", "inductance", "wire"):
        if g.given("aerial", key) and key not in (*own[kind], *(("inductance",) if kind == "series" else ())):
            yield Finding(
                ("aerial", key), f"no such key for an aerial of kind '{kind}'", "remove it or the 'kind'"
            )
    if kind == "wire" and g.number("aerial", "wire", "height") == 0.0:
        yield Finding(
            ("aerial", "wire", "height"), "a height above 0", "give the length of the vertical part"
        )


def spreads(g: Glimpse) -> Iterator[Finding]:
    """The band-spread capacitor meshes from minimum to maximum, and its padder needs it."""
    low, high = (g.number("tuning", "bandspread", key) for key in ("minimum", "maximum"))
    if low is not None and high is not None and not low < high:
        yield Finding(
            ("tuning", "bandspread", "maximum"),
            "a capacitance above that of 'minimum'",
            "swap the two or correct one",
        )
    if g.given("tuning", "bandspread"):
        return
    for i in range(g.count("bands")):
        if g.given("bands", i, "padding", "bandspread_series"):
            yield Finding(
                ("bands", i, "padding", "bandspread_series"),
                "a 'tuning.bandspread' capacitor beside it",
                "describe that capacitor, or remove this one",
            )


COIL_CHECKS: tuple[Callable[[Glimpse], Iterator[Finding]], ...] = (
    by_figures_or_winding,
    feedback,
    ways_back,
    wires,
    taps,
    shapes,
    links,
    aerials,
    spreads,
)
