"""What may differ from set to set of one build: its parts, its tubes, the mains, each as a factor.

Which parts a build has, with the keys and the classes of their spread, is what its circuit says of its
elements. `drawn` gives the build and the cards of one set, so that any study can look at it.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.element import About
from receiver_sim.circuit.registry import Cards
from receiver_sim.physics.spread import Shape, deviation, normal, offset
from receiver_sim.physics.tube_law import TubeLaw
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.coil import Coil, Measured
from receiver_sim.schema.coil_figures import coil_figures, filled_in, retapped
from receiver_sim.schema.priors import drawn_law, open_dimensions
from receiver_sim.schema.stated import Spread, spread_of
from receiver_sim.schema.supply import SettledSupply
from receiver_sim.schema.tolerances import Origin, tolerances

_STEP = re.compile(r"[A-Za-z_]+|[0-9]+")
_CLOSEST = 0.999
"""Coupling that no drawn coil exceeds."""

SOCKETS = {
    "rf_stage": "r.f.", "detector": "detector", "audio": "audio", "audio.first": "first audio",
}  # fmt: skip
"""Keys of the stages with a tube, and the names of their sockets."""


@dataclass(frozen=True)
class Factor:
    """One thing that differs from set to set.

    name: unique; key: of the build, that it belongs to ('' for what is known of a tube type, 'mains');
    word: what the trade calls it. low, high, shape: as `physics.spread` has them; volts: limits in volts.
    kind: class of tolerance; origin: where its limits come from; flag, source: of its class.
    """

    name: str
    key: str
    word: str
    kind: str
    low: float
    high: float
    shape: Shape
    origin: Origin
    flag: str
    source: str
    volts: bool = False
    band: str = ""
    """The band it belongs to, '' for what is common to all."""

    def deviation(self, draw: float) -> float:
        """Return the deviation for an even draw (0..1): relative, in volts, or standard deviations."""
        if self.kind == PRINT:
            return normal(draw)
        if self.volts:
            return offset(draw, low=self.low, high=self.high)
        return deviation(draw, low=self.low, high=self.high, shape=self.shape)

    @property
    def part(self) -> str:
        """What is bought, measured or chosen as one: the key, or the type whose print leaves it open."""
        return self.key or self.name.partition("#")[0]


PRINT = "print"
"""Kind of a factor that stands for what the print of a type leaves open; its unit is a deviation."""

_PLAIN = frozenset(
    (
        "resistor", "pot", "capacitor", "small capacitor", "electrolytic", "choke", "iron-cored choke",
        "core loss", "winding", "stray", "leakage", "aerial", "variable capacitor",
    )
)  # fmt: skip
_TUBE = (("emission", "new tube"), ("amplification", "tube mu"), ("screen current", "screen share"),
         ("contact potential", "contact"))  # fmt: skip


def value_at(build: Any, key: str) -> Any:
    """Return what stands at a key path of a build, None if it leads nowhere."""
    found = build
    for step in _STEP.findall(key):
        try:
            found = found[int(step)] if step.isdigit() else getattr(found, step)
        except (AttributeError, IndexError, TypeError):
            return None
    return found


def factors_of(
    given: Build, build: Build, cards: Cards, *, measured: Sequence[str] = ()
) -> tuple[Factor, ...]:
    """Return the factors of a build, each once; given: as it was loaded, build: with its supply settled.

    measured: keys that count as measured besides what the build says.
    """
    found: dict[str, Factor] = {}
    for factor in _all(given, build, cards, frozenset(measured)):
        found.setdefault(factor.name, factor)
    return tuple(found.values())


def unmeasured(given: Build) -> Build:
    """Return the build as if nothing in it had been measured; what is stated stays."""
    plain: Build = _plain(given)
    return plain


def _plain(one: Any) -> Any:
    """Return a build or a part of it with 'measured' taken from its values."""
    if isinstance(one, BaseModel):
        old = {name: getattr(one, name) for name in type(one).model_fields}
        new = {name: _plain(value) for name, value in old.items()}
        changed = {name: value for name, value in new.items() if value is not old[name]}
        return one.model_copy(update=changed) if changed else one
    if isinstance(one, tuple):
        inner = tuple(_plain(value) for value in one)
        return one if all(a is b for a, b in zip(one, inner, strict=True)) else inner
    spread = spread_of(one) if isinstance(one, float) else None
    return float(one) if spread is not None and spread.measured else one


def _all(given: Build, build: Build, cards: Cards, measured: frozenset[str]) -> Iterator[Factor]:
    def made(name: str, key: str, word: str, kind: str, *, stated_at: str | None = None) -> Factor:
        value = value_at(given, stated_at or key)
        spread = spread_of(value) if isinstance(value, float) else None
        return _factor(name, key, word, kind, spread, key in measured)

    for band in build.bands:
        circuit = receiver_circuit(build, cards, band=band, dial_hz=band.middle_hz, rotation=0.5)
        for about in dict.fromkeys(e.about for e in circuit.elements):
            for factor in _of_element(about, given, made):
                yield dataclasses.replace(factor, band=band.name) if "bands[" in factor.key else factor
    for index, band in enumerate(build.bands):
        for factor in _of_coil(index, band.coil, made):
            yield dataclasses.replace(factor, band=band.name)
    kind = {"battery": "battery", "bench": "bench supply"}.get(build.supply.kind, "mains")
    stated = "supply.secondary.volts" if given.supply.kind == "rectifier" else "supply.volts"
    yield made("mains", "mains" if kind == "mains" else "supply.volts", "mains" if kind == "mains" else kind,
               kind, stated_at=stated)  # fmt: skip
    if build.regulator is not None:
        kind = "zener" if build.regulator.kind == "zener" else "gas tube"
        yield made("regulator.volts", "regulator.volts", "regulator", kind)
    for end in ("top", "bottom") if build.regeneration.pot is not None else ():
        yield made(f"regeneration.pot#{end}", "regeneration.pot", f"{end} end of the control", "pot end")
    yield from _of_tubes(build, cards, made)


def _of_element(about: About, given: Build, made: Any) -> Iterator[Factor]:
    key = about.key
    if key is None or about.tolerance is None or key.endswith(".ratio"):
        return
    if about.tolerance == "supply":
        if key.endswith("resistance"):
            yield made(key, key, about.word, "supply")
    elif about.tolerance == "phones" and isinstance(value_at(given, f"{key}.resistance"), float):
        yield made(key, key, about.word, "phones", stated_at=f"{key}.resistance")
    elif about.tolerance in _PLAIN:
        value = value_at(given, key)
        if isinstance(value, float) and value > 0.0:
            yield made(key, key, about.word, about.tolerance)


def _of_coil(index: int, coil: Coil, made: Any) -> Iterator[Factor]:
    key = f"bands[{index}].coil"
    inside = "measured." if coil.measured is not None else ""

    def one(what: str, word: str, kind: str) -> Factor:
        where = inside if coil.measured is not None and hasattr(coil.measured, what) else ""
        found: Factor = made(f"{key}.{what}", f"{key}.{what}", word, kind, stated_at=f"{key}.{where}{what}")
        return found

    yield one("inductance", "inductance of the coil", "coil")
    yield one("q", "Q of the coil", "coil Q")
    if coil.tickler is not None:
        yield made(f"{key}.tickler", f"{key}.tickler", "coupling of the tickler", "tickler coupling",
                   stated_at=f"{key}.tickler.coupling")  # fmt: skip
    else:
        yield made(f"{key}.tap", f"{key}.tap", "tap of the coil", "coil tap")
        if coil_figures(coil).sections.coupling < _CLOSEST:
            yield one("coupling", "coupling of the coil's sections", "coil coupling")


def _of_tubes(build: Build, cards: Cards, made: Any) -> Iterator[Factor]:
    for key, socket in SOCKETS.items():
        stage = value_at(build, key)
        if stage is None:
            continue
        card = cards.of(socket)
        place = f"{key}.tube"
        for what, kind in _TUBE:
            if kind == "screen share" and card.kind == "triode":
                continue
            used = "worn tube" if kind == "new tube" and stage.condition == "worn" else kind
            yield made(f"{place}#{what}", place, f"{what} of the {socket} tube", used)
        yield made(f"{place}#capacitances", place, f"capacitances of the {socket} tube", "tube capacitance")
        if socket == "detector":
            yield made(f"{place}#input loading", place, "input loading of the detector tube", "input loading")
        for number in range(open_dimensions(card) + 1):
            yield Factor(
                name=f"{card.type}#{number}", key="", word=f"what print leaves open of the {card.type}",
                kind=PRINT, low=-1.0, high=1.0, shape="bell", origin="class", flag="calc",
                source="the fit of its card",
            )  # fmt: skip


def _factor(name: str, key: str, word: str, kind: str, spread: Spread | None, measured: bool) -> Factor:
    row = tolerances()[kind]
    origin: Origin = "class"
    low, high, shape = row.low, row.high, row.shape
    flag, source = row.flag, row.source
    if measured or (spread is not None and spread.measured):
        origin, row = "measured", tolerances()["measured"]
        low, high, shape, flag, source = row[:5]
        if kind == "contact":
            low, high = -0.02, 0.02
    elif spread is not None:
        origin = "stated"
    if spread is not None and spread.low is not None and spread.high is not None:
        low, high, flag, source = spread.low, spread.high, "stated", "stated in the build"
    volts = kind == "contact"
    return Factor(name, key, word, kind, low, high, shape, origin, flag, source, volts)


# ---------------------------------------------------------------------------- one set


def drawn(
    build: Build, cards: Cards, factors: Sequence[Factor], moved: Mapping[str, float]
) -> tuple[Build, Cards]:
    """Return the build and the cards of one set; moved: deviations by name of factor (absent: none).

    build: with its supply settled.
    """
    by_key: dict[str, float] = {}
    for factor in factors:
        by = moved.get(factor.name, 0.0)
        if factor.kind == "phones":  # their resistance and inductance together
            by_key |= {f"{factor.name}.{what}": by for what in ("resistance", "inductance")}
        elif by and factor.kind not in _OF_ITS_OWN and "#" not in factor.name:
            by_key[factor.name] = by
    changed = _supplied(_scaled(build, by_key), moved.get("mains", 0.0))
    changed = _with_ends(changed, build, moved)
    bands = tuple(
        band.model_copy(update={"coil": drawn_coil(band, f"bands[{index}].coil", moved)})
        for index, band in enumerate(changed.bands)
    )
    return changed.model_copy(update={"bands": bands}), drawn_cards(build, cards, moved)


_OF_ITS_OWN = frozenset(
    (
        PRINT,
        "coil",
        "coil Q",
        "coil tap",
        "coil coupling",
        "tickler coupling",
        "mains",
        "battery",
        "bench supply",
    )
)
"""Kinds of factors that are not the value at a key of the build times one."""


def _scaled(build: Build, by_key: Mapping[str, float]) -> Build:
    """Return the build with the values at some keys scaled by 1 + their deviation."""
    tree: dict[str, Any] = {}
    for key, by in by_key.items():
        steps = _STEP.findall(_settled_key(build, key))
        at = tree
        for step in steps[:-1]:
            at = at.setdefault(step, {})
        at[steps[-1]] = by
    found: Build = _applied(build, tree)
    return found


def _settled_key(build: Build, key: str) -> str:
    """Return where a part of a rectifier's filter stands once the supply is settled."""
    if not isinstance(build.supply, SettledSupply):
        return key
    found = re.fullmatch(r"supply\.filter\[([0-9]+)\](?:\.(\w+))?", key)
    if found:
        names = {"choke": "inductance", "capacitor": "capacitor", "series_resistance": "series_resistance"}
        return f"supply.sections[{found[1]}].{names.get(found[2] or '', 'resistance')}"
    return key.replace("supply.secondary.", "supply.")


def _applied(one: Any, tree: Mapping[str, Any]) -> Any:
    """Return a part of a build with the deviations of a tree of keys."""
    if isinstance(one, tuple):
        return tuple(_at(v, tree[str(i)]) if str(i) in tree else v for i, v in enumerate(one))
    found = {step: getattr(one, step, None) for step in tree}
    return one.model_copy(update={k: _at(v, tree[k]) for k, v in found.items() if v is not None})


def _at(value: Any, inner: Any) -> Any:
    return _applied(value, inner) if isinstance(inner, dict) else float(value) * (1.0 + inner)


def _supplied(build: Build, by: float) -> Build:
    """Return the build with other mains (or battery): plate supply and a.c. heaters go together."""
    if not by:
        return build
    supply = build.supply.model_copy(update={"volts": float(build.supply.volts) * (1.0 + by)})
    update: dict[str, Any] = {"supply": supply}
    if build.supply.kind not in ("battery", "bench") and build.heater.supply == "ac":
        update["heater"] = build.heater.model_copy(update={"volts": float(build.heater.volts) * (1.0 + by)})
    return build.model_copy(update=update)


def _with_ends(changed: Build, build: Build, moved: Mapping[str, float]) -> Build:
    """Add what is left at the ends of the control's track to the resistors beside it."""
    control = changed.regeneration
    if control.pot is None:
        return changed
    update = {
        end: getattr(control, end) + moved.get(f"regeneration.pot#{end}", 0.0) * control.pot
        for end in ("top", "bottom")
        if moved.get(f"regeneration.pot#{end}", 0.0)
    }
    return (
        changed.model_copy(update={"regeneration": control.model_copy(update=update)}) if update else changed
    )


def drawn_coil(band: Band, key: str, moved: Mapping[str, float]) -> Coil:
    """Return the coil of a band with the deviations of its inductance, Q, tap, coupling and tickler."""
    by = {what: moved.get(f"{key}.{what}", 0.0) for what in ("inductance", "q", "tap", "coupling", "tickler")}
    coil = band.coil
    if not any(by.values()):
        return coil
    middle = band.middle_hz
    inductance, q = coil.inductance * (1.0 + by["inductance"]), coil.q * (1.0 + by["q"])
    if by["tap"]:
        place = coil.tap if coil.winding is None else coil.winding.tap
        assert place is not None
        coil = retapped(coil, place * (1.0 + by["tap"]), middle=middle)
    if by["tickler"] and coil.tickler is not None:
        coil = _looser(coil, by["tickler"], middle)
    coupling = coil.coupling
    if by["coupling"]:
        coupling = min(coil_figures(coil).sections.coupling * (1.0 + by["coupling"]), _CLOSEST)
    figures = {"inductance": inductance, "q": q, "coupling": coupling}
    if coil.winding is None:
        return coil.model_copy(update=figures)
    kept = (coil.measured or Measured()).model_copy(
        update=figures if by["coupling"] else {"inductance": inductance, "q": q}
    )
    return filled_in(coil.model_copy(update={"measured": kept}), middle)


def _looser(coil: Coil, by: float, middle: float) -> Coil:
    """Return a coil with another coupling to its tickler: of a wound one by its turns."""
    tickler = coil.tickler
    assert tickler is not None
    if tickler.coupling is not None:
        new = tickler.model_copy(update={"coupling": min(tickler.coupling * (1.0 + by), 0.98)})
    else:
        new = tickler.model_copy(update={"turns": float(tickler.turns or 0.0) * (1.0 + by)})
    return filled_in(coil.model_copy(update={"tickler": new}), middle)


# ---------------------------------------------------------------------------- tubes


def drawn_cards(build: Build, cards: Cards, moved: Mapping[str, float]) -> Cards:
    """Return the cards with the tubes of one set."""
    new = {}
    for key, socket in SOCKETS.items():
        if value_at(build, key) is not None:
            name = {"audio.first": "first", "rf_stage": "rf"}.get(key, key)
            new[name] = _drawn_card(cards.of(socket), f"{key}.tube", moved)
    return dataclasses.replace(cards, **new)


def drawn_tube(card: TubeCard, key: str, moved: Mapping[str, float]) -> TubeLaw:
    """Return the law of the tube in a socket of one set: what print leaves open, and the single tube."""
    size = open_dimensions(card)
    z = [moved.get(f"{card.type}#{number}", 0.0) for number in range(size + 1)]
    law = drawn_law(card, z[:size], anchor=z[size]) if any(z) else card.law()
    by = {what: moved.get(f"{key}#{what}", 0.0) for what, _ in _TUBE}
    if not any(by.values()):
        return law
    mu = 1.0 + by["amplification"]
    return dataclasses.replace(
        law,
        perveance=law.perveance * (1.0 + by["emission"]),
        mu_screen=law.mu_screen * mu,
        mu_plate=law.mu_plate * mu,
        division=law.division / (1.0 + by["screen current"]),
        contact=law.contact + by["contact potential"],
    )


def _drawn_card(card: TubeCard, key: str, moved: Mapping[str, float]) -> TubeCard:
    law = drawn_tube(card, key, moved)
    assert card.fit is not None
    values = law.parameters()
    parameters = {
        name: one.model_copy(update={"value": values[name]}) for name, one in card.fit.parameters.items()
    }
    update: dict[str, Any] = {"fit": card.fit.model_copy(update={"parameters": parameters})}
    by = moved.get(f"{key}#capacitances", 0.0)
    if by:
        c = card.capacitances
        update["capacitances"] = c.model_copy(
            update={n: getattr(c, n) * (1.0 + by) for n in ("cgp", "cgk", "cpk")}
        )
    by = moved.get(f"{key}#input loading", 0.0)
    if by:
        one = card.input_loading
        update["input_loading"] = one.model_copy(
            update={n: getattr(one, n) * (1.0 + by) for n in ("kc_per_mhz", "kh_per_mhz2")}
        )
    return card.model_copy(update=update)
