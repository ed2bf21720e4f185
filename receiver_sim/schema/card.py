"""Tube cards: one YAML file a type with published points, ratings, sources and the law fitted to them.

A card is data from outside like a build: every fault is reported with its place, and nothing but numbers and
checked names reaches a deck. The block below `FIT_MARK` is written by `receiver-sim tubes fit` alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING, fields, replace
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from receiver_sim.data import folder
from receiver_sim.errors import UnknownName
from receiver_sim.physics.tube_law import TubeLaw
from receiver_sim.schema.faults import Fault, FileFaults, listed, nearest
from receiver_sim.schema.located_yaml import Located, read_located
from receiver_sim.schema.parts import Word
from receiver_sim.schema.quantity import (
    CAPACITANCE,
    CONDUCTANCE,
    CURRENT,
    NUMBER,
    PERCENTAGE,
    POWER,
    RESISTANCE,
    VOLTAGE,
    Quantity,
)
from receiver_sim.schema.tube_names import type_of
from receiver_sim.schema.validated import Finding, Glimpse, validated

FORMAT = 1
FIT_MARK = "# --- made by 'receiver-sim tubes fit': change nothing below this line"

Flag = Literal["seen", "memory-high", "memory-medium", "memory-low", "measured", "calc"]
"""How a figure came here: read in the named document, recalled, measured by the user, or computed."""

Electrode = Annotated[float, Quantity(VOLTAGE, "0.1 V", "1 kV", example="250 V")]
Bias = Annotated[float, Quantity(VOLTAGE, "-500 V", "100 V", example="-3 V")]
CutOff = Annotated[float, Quantity(VOLTAGE, "-500 V", "-10 mV", example="-8 V")]
Amps = Annotated[float, Quantity(CURRENT, "1 pA", "10 A", example="3 mA")]
Transconductance = Annotated[float, Quantity(CONDUCTANCE, "1 nmho", "0.1 mho", example="1650 umho")]
Capacitance = Annotated[float, Quantity(CAPACITANCE, "0.0001 pF", "1 nF", zero=True, example="5.5 pF")]
Ohms = Annotated[float, Quantity(RESISTANCE, "1 ohm", "100 Mohm", example="250 kohm")]
Error = Annotated[float, Quantity(PERCENTAGE, "0.01 %", "100 %", example="2 %")]
Text = Annotated[
    str, Word("a line of text of 1 to 300 characters", r"[^`$\\{}|]+", 300, "take the signs ` $ \\ { } | out")
]
TypeName = Annotated[
    str,
    Word(
        "the type of a tube such as '6SJ7'",
        r"[A-Z0-9][A-Z0-9-]{0,15}",
        16,
        "write the type alone, in capitals",
    ),
]
Date = Annotated[str, Word("a date such as '2026-11-25'", r"\d{4}-\d{2}-\d{2}", 10, "write year-month-day")]
Pin = Annotated[
    str, Word("an electrode such as 'g1' or 'heater'", r"[a-z0-9][a-z0-9 +-]{0,23}", 24, "use small letters")
]


class CardFaults(FileFaults):
    """A tube card is unusable; see `FileFaults`."""


class Part(BaseModel):
    """Base of everything in a card: unknown keys are faults, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Heater(Part):
    """Heater or filament: rated volts (V) and amps (A); `direct` for a filament that is the cathode.

    split: of two equal halves with the middle on a pin, so that it runs in series too, at twice the volts;
    volts and amps are those of the halves in parallel.
    """

    volts: Annotated[float, Quantity(VOLTAGE, "0.5 V", "120 V", example="6.3 V")]
    amps: Annotated[float, Quantity(CURRENT, "1 mA", "10 A", example="0.3 A")]
    direct: bool = False
    split: bool = False
    source: Text
    flag: Flag


class Ratings(Part):
    """Design-centre maxima: plate and screen volts (V) and dissipation (W); None where not recalled."""

    plate: Annotated[float, Quantity(VOLTAGE, "10 V", "2 kV", example="300 V")]
    plate_power: Annotated[float, Quantity(POWER, "10 mW", "200 W", example="2.5 W")] | None = None
    screen: Annotated[float, Quantity(VOLTAGE, "10 V", "1 kV", example="125 V")] | None = None
    screen_power: Annotated[float, Quantity(POWER, "5 mW", "50 W", example="0.7 W")] | None = None
    cathode_current: Annotated[float, Quantity(CURRENT, "0.1 mA", "5 A", example="20 mA")] | None = None
    heater_cathode: Annotated[float, Quantity(VOLTAGE, "1 V", "500 V", example="90 V")] | None = None
    source: Text
    flag: Flag


class Capacitances(Part):
    """Direct interelectrode capacitances, F.

    cgp grid to plate; cgk grid to cathode and all that stands at its potential (sheets: input); cpk plate to
    the same (sheets: output). Heater to grid and heater to cathode (the whole heater) where known.
    """

    cgp: Capacitance
    cgk: Capacitance
    cpk: Capacitance
    heater_grid: Capacitance | None = None
    heater_cathode: Capacitance | None = None
    source: Text
    flag: Flag


class InputLoading(Part):
    """Input conductance kc f + kh f**2; keys are per MHz and per MHz^2 as the books print them."""

    kc_per_mhz: Annotated[float, Quantity(CONDUCTANCE, "0.001 nmho", "1 mmho", zero=True, example="0.3 umho")]
    kh_per_mhz2: Annotated[
        float, Quantity(CONDUCTANCE, "0.001 nmho", "1 mmho", zero=True, example="0.05 umho")
    ]
    source: Text
    flag: Flag

    @property
    def kc(self) -> float:
        """Linear term, S/Hz."""
        return self.kc_per_mhz / 1e6

    @property
    def kh(self) -> float:
        """Square term, S/Hz^2."""
        return self.kh_per_mhz2 / 1e12


class Point(Part):
    """One published or measured operating point; volts from the cathode, currents in A, gm in S, rp in ohm.

    `as_`: how the tube is connected (pentode also stands for a tetrode in its own connection). Bias is `grid`
    or a cathode resistor `cathode_resistor` (plate and screen volts then count from its lower end, as sheets
    of self-biased stages print them: supply volts). `errors` states measuring errors where they are larger
    than half the last printed digit; `weight` below 1 says how far a point is trusted, with the reason in
    `note`.
    """

    as_: Literal["pentode", "tetrode", "triode"] = Field(alias="as")
    plate: Electrode
    screen: Electrode | None = None
    grid: Bias | None = None
    cathode_resistor: Annotated[float, Quantity(RESISTANCE, "1 ohm", "1 Mohm", example="68 ohm")] | None = (
        None
    )
    plate_current: Amps | None = None
    screen_current: Amps | None = None
    screen_current_max: Amps | None = None
    gm: Transconductance | None = None
    mu: Annotated[float, Quantity(NUMBER, "0.5", "10000", example="20")] | None = None
    rp: Annotated[float, Quantity(RESISTANCE, "100 ohm", "100 Mohm", example="800 kohm")] | None = None
    rp_min: Annotated[float, Quantity(RESISTANCE, "100 ohm", "100 Mohm", example="1 Mohm")] | None = None
    grid_error: Annotated[float, Quantity(VOLTAGE, "1 mV", "10 V", example="50 mV")] | None = None
    plate_error: Annotated[float, Quantity(VOLTAGE, "10 mV", "100 V", example="10 V")] | None = None
    screen_error: Annotated[float, Quantity(VOLTAGE, "10 mV", "100 V", example="1 V")] | None = None
    current_error: Error | None = None
    note: Text | None = None
    source: Text
    flag: Flag


class Fact(Part):
    """The grid volts at which a quantity has fallen to a stated value: cut-off and remote cut-off."""

    as_: Literal["pentode", "tetrode", "triode"] = Field(alias="as")
    plate: Electrode
    screen: Electrode | None = None
    grid: CutOff
    plate_current: Amps | None = None
    gm: Transconductance | None = None
    note: Text | None = None
    source: Text
    flag: Flag


class ResistanceStage(Part):
    """One row of a resistance-coupled amplifier chart: supply (V), resistors (ohm), the gain measured.

    The one kind of print that reaches the screen volts and currents of a detector. `cathode_resistor` and the
    screen are by-passed; `next_grid` is the grid resistor of the stage behind.
    """

    supply: Electrode
    plate_resistor: Ohms
    next_grid: Ohms
    screen_resistor: Ohms | None = None
    cathode_resistor: Ohms
    gain: Annotated[float, Quantity(NUMBER, "0.5", "10000", example="93")]
    note: Text | None = None
    source: Text
    flag: Flag


class Prior(Part):
    """Replaces a default prior of the fit: centre and spread (of the logarithm for scale parameters)."""

    value: float = Field(allow_inf_nan=False)
    spread: float = Field(gt=0, allow_inf_nan=False)
    reason: Text


class Parameter(Part):
    """One fitted parameter: its value and one standard deviation, and what held it (points or prior)."""

    value: float = Field(allow_inf_nan=False)
    deviation: float = Field(ge=0, allow_inf_nan=False)
    held_by: Literal["points", "prior", "both", "fixed"]


class Residual(Part):
    """Model against print at one figure of one point; `error` is model/print - 1."""

    point: int = Field(ge=0)
    quantity: Literal["plate_current", "screen_current", "gm", "mu", "rp", "bias", "gain"]
    error: float = Field(allow_inf_nan=False)


class Range(Part):
    """Span of electrode volts (V) that the points cover."""

    plate: tuple[float, float]
    screen: tuple[float, float] | None = None
    grid: tuple[float, float]


class Fit(Part):
    """What the fit wrote: parameters with deviations, residuals, range; `points` digests what it was fed.

    `correlation` is that of the parameters not 'fixed', in their order: the points tie perveance, contact
    and mu closely together, and their single deviations alone would overstate the doubt about any current.
    """

    points: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    parameters: dict[str, Parameter]
    correlation: tuple[tuple[float, ...], ...] = ()
    residuals: tuple[Residual, ...]
    range: Range


class TubeCard(Part):
    """One tube type; see the attributes for what a card holds.

    kin: types of the same structure in another bulb or on another base; their print counts in the fit, less
    than
    the card's own.
    """

    receiver_sim_card: Literal[1]
    type: TypeName
    title: Text
    date: Date
    kind: Literal["pentode", "tetrode", "triode"]
    cutoff: Literal["sharp", "remote"]
    units: int = Field(default=1, ge=1, le=4)
    beam: bool = False
    heater: Heater
    base: Text
    pins: dict[Annotated[str, Field(pattern=r"^([1-9]|cap)$")], Pin]
    pins_flag: Flag
    ratings: Ratings
    capacitances: Capacitances
    input_loading: InputLoading
    points: tuple[Point, ...] = Field(min_length=1)
    facts: tuple[Fact, ...] = ()
    stages: tuple[ResistanceStage, ...] = ()
    kin: tuple[TypeName, ...] = ()
    priors: dict[str, Prior] = Field(default_factory=dict)
    fit: Fit | None = None
    _path: Path | None = PrivateAttr(default=None)
    _sha256: str = PrivateAttr(default="")

    @property
    def path(self) -> Path | None:
        """The file it was read from."""
        return self._path

    @property
    def sha256(self) -> str:
        """SHA-256 of the bytes of the file, in hexadecimal."""
        return self._sha256

    @property
    def cap(self) -> str | None:
        """The electrode on the top cap, or None."""
        return self.pins.get("cap")

    def law(self) -> TubeLaw:
        """Return the fitted law. Raises ValueError for a card without a fit."""
        if self.fit is None:
            raise ValueError(
                f"the card of {self.type} holds no fit; run 'receiver-sim tubes fit {self.type}'"
            )
        values: dict[str, Any] = {name: p.value for name, p in self.fit.parameters.items()}
        if "sections" in values:
            values["sections"] = int(values["sections"])
        return TubeLaw(kind=self.kind, **values)


def outside_range(
    card: TubeCard, *, plate_v: float, grid_v: float, screen_v: float | None = None
) -> list[str]:
    """Return a sentence for each electrode whose volts lie outside those of the card's points; [] if none.

    Volts count from the cathode. What a sheet prints at 100 V on the screen says little about 20 V.
    """
    if card.fit is None:
        return [f"{card.type}: no fit"]
    spans: list[tuple[str, float | None, tuple[float, float] | None]] = [
        ("plate", plate_v, card.fit.range.plate),
        ("screen", screen_v, card.fit.range.screen),
        ("grid", grid_v, card.fit.range.grid),
    ]
    out = []
    for name, volts, span in spans:
        if volts is None or span is None or span[0] <= volts <= span[1]:
            continue
        ends = f"{span[0]:.3g} V" if span[0] == span[1] else f"{span[0]:.3g} to {span[1]:.3g} V"
        out.append(f"{card.type}: {name} at {volts:.3g} V, published points at {ends}")
    return out


def load_card(path: str | Path, *, to_be_fitted: bool = False, shipped: bool = False) -> TubeCard:
    """Read and check the card at `path`; one `to_be_fitted` may hold a fit of another law; shipped: as in
    `read_located`.

    Raises CardFaults with every fault found.
    """
    located = read_located(path, faults=CardFaults, what="a tube card", shipped=shipped)
    try:
        card = validated(
            TubeCard,
            located,
            checks=(_rows_agree, _kinds_agree, _stages_agree),
            faults=CardFaults,
            like="a shipped card",
        )
    except CardFaults as faults:
        raise CardFaults([_told_anew(fault) for fault in faults.faults]) from None
    if not to_be_fitted:
        _refuse_unfit(card, located)
    card._path = Path(path)
    card._sha256 = located.sha256
    return card


def _told_anew(fault: Fault) -> Fault:
    """Return a fault of the fit with the cure that always helps."""
    if fault.key != "fit" and not fault.key.startswith("fit."):
        return fault
    return replace(fault, cure=f"{fault.cure}, or remove the key 'fit' and {_ANEW}")


def _refuse_unfit(card: TubeCard, located: Located) -> None:
    """Raise CardFaults if the fit's parameters are none of the law or don't belong together."""
    if card.fit is None:
        return
    names = {field.name: field.default is MISSING for field in fields(TubeLaw) if field.name != "kind"}
    unknown = [name for name in card.fit.parameters if name not in names]
    missing = [name for name, needed in names.items() if needed and name not in card.fit.parameters]
    free = sum(p.held_by != "fixed" for p in card.fit.parameters.values())
    rows = card.fit.correlation
    faults = []
    for name in unknown:
        place = ("fit", "parameters", name)
        near = nearest(name, names)
        faults.append(located.fault(place, "a parameter of the law", near=near, cure=_ANEW))
    for name in missing:
        place = ("fit", "parameters", name)
        faults.append(located.fault(place, "a parameter of the law", missing=True, cure=_ANEW))
    if not (unknown or missing):
        try:
            card.law()
        except (ValueError, OverflowError) as error:
            expected = f"the parameters of a {card.kind}'s law"
            faults.append(located.fault(("fit", "parameters"), expected, cure=f"{error}; {_ANEW}"))
    if rows and (len(rows) != free or any(len(row) != free for row in rows)):
        expected = f"{free} rows of {free} figures, one a parameter that is not 'fixed'"
        faults.append(located.fault(("fit", "correlation"), expected, cure=_ANEW))
    if faults:
        raise CardFaults(faults)


_ANEW = "let 'receiver-sim tubes fit' write the fit again"


def card_types() -> list[str]:
    """Return the types whose cards are shipped, sorted."""
    return list(_types())


@cache
def _types() -> tuple[str, ...]:
    """As `card_types`; the folder is read once, as each card is."""
    return tuple(sorted(path.stem for path in folder("models").glob("*.yaml")))


def card_for(type_name: str) -> TubeCard:
    """Return the shipped card of a type, by any of its names.

    Raises UnknownName that names the nearest type if there is none.
    """
    known = _types()
    if type_of(type_name) not in known:
        near = nearest(type_name, known)
        hint = f"; nearest is '{near}'" if near else ""
        raise UnknownName(f"no card for tube '{type_name}'{hint}; types: {', '.join(known)}")
    return _shipped(type_of(type_name))


@cache
def _shipped(type_name: str) -> TubeCard:
    return load_card(folder("models") / f"{type_name}.yaml", shipped=True)


def _rows(g: Glimpse) -> Iterator[tuple[str, int]]:
    for key in ("points", "facts"):
        for i in range(g.count(key)):
            yield key, i


def _rows_agree(g: Glimpse) -> Iterator[Finding]:
    """Each point has one bias, each fact one quantity; screen volts belong to tubes with a screen."""
    for key, i in _rows(g):
        if key == "points" and g.given(key, i, "grid") == g.given(key, i, "cathode_resistor"):
            yield Finding(
                (key, i), "one of the keys 'grid' and 'cathode_resistor'", "state the bias in one way"
            )
        if key == "facts" and g.given(key, i, "plate_current") == g.given(key, i, "gm"):
            yield Finding((key, i), "one of the keys 'plate_current' and 'gm'", "state one quantity a fact")
        tied = g.word(key, i, "as")
        if tied is not None and g.given(key, i, "screen") == (tied == "triode"):
            expected = "no key 'screen' in a triode connection" if tied == "triode" else "the key 'screen'"
            cure = "remove it" if tied == "triode" else "add a line such as 'screen: 100 V'"
            yield Finding((key, i, "screen"), expected, cure, missing=tied != "triode")


def _stages_agree(g: Glimpse) -> Iterator[Finding]:
    """A screen has a resistor of its own in a chart, a triode has none."""
    kind = g.word("kind")
    for i in range(g.count("stages")):
        if kind is not None and g.given("stages", i, "screen_resistor") == (kind == "triode"):
            tied = kind == "triode"
            expected = "no key 'screen_resistor' for a triode" if tied else "the key 'screen_resistor'"
            cure = "remove it" if tied else "add a line such as 'screen_resistor: 1 Mohm'"
            yield Finding(("stages", i, "screen_resistor"), expected, cure, missing=not tied)


def _kinds_agree(g: Glimpse) -> Iterator[Finding]:
    """Points are of the card's own kind, or triode-connected."""
    kind = g.word("kind")
    for key, i in _rows(g):
        tied = g.word(key, i, "as")
        if kind is not None and tied not in (None, kind, "triode"):
            cure = "correct the kind of the card or of this row"
            yield Finding((key, i, "as"), listed({kind: 0, "triode": 0}), cure)


def describe_bias(point: Point) -> str:
    """Return the bias of a point as text: '-3 V' or '68 ohm'."""
    return f"{point.grid:g} V" if point.grid is not None else f"{point.cathode_resistor:g} ohm"


__all__ = [
    "FIT_MARK",
    "FORMAT",
    "Capacitances",
    "CardFaults",
    "Fact",
    "Fit",
    "Heater",
    "InputLoading",
    "Parameter",
    "Point",
    "Prior",
    "Range",
    "Ratings",
    "Residual",
    "ResistanceStage",
    "TubeCard",
    "card_for",
    "card_types",
    "describe_bias",
    "load_card",
    "outside_range",
]  # fmt: skip
