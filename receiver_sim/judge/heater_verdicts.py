"""Do the heaters get their rated volts, and can a filament stand where the set puts it? (guide: verdicts)"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from receiver_sim.circuit.blocks.heater import feed_of
from receiver_sim.circuit.registry import Cards
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.schema import Build
from receiver_sim.schema.audio_stages import HeaterFeed
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.coil_figures import coil_figures
from receiver_sim.schema.quantity import INDUCTANCE, POWER, RESISTANCE, VOLTAGE, format_quantity
from receiver_sim.schema.verdicts import Verdicts

CHOKE_RATIO = 200.0
"""Least inductance of each r.f. choke of a filament, as a multiple of the tank's as seen at the tap.

The two lie in parallel for r.f., so they shunt it by a hundredth; with a choke's Q a quarter of the coil's
that is 4 % more loss. Common practice, no source.
"""


@dataclass(frozen=True)
class _Heated:
    """A tube, its name in verdicts, how its heater is fed, and the volts it gets."""

    subject: str
    card: TubeCard
    feed: HeaterFeed
    line: float

    @property
    def fed(self) -> float:
        """Volts ahead of the chokes in its leads."""
        return self.line if self.feed.volts is None else self.feed.volts

    @property
    def at(self) -> float:
        """Volts at the heater, behind dropper and chokes; a hot filament draws its rated current."""
        return self.fed - 2.0 * self.feed.choke_resistance * self.amps

    @property
    def rated(self) -> float:
        """The rated volts that are meant: of two equal halves, in parallel or in series."""
        one = self.card.heater.volts
        series = self.card.heater.split and abs(self.fed - 2.0 * one) < abs(self.fed - one)
        return 2.0 * one if series else one

    @property
    def amps(self) -> float:
        return self.card.heater.amps * self.card.heater.volts / self.rated

    @property
    def follows_line(self) -> bool:
        """Whether changing the volts of the line would change those of this heater."""
        return self.feed.source == "line" and self.feed.volts is None


def _heated(build: Build, cards: Cards) -> dict[str, _Heated]:
    """Return the tubes by socket; straight from the line where nothing is said."""
    known = {"rf": cards.rf, "detector": cards.detector, "first": cards.first, "audio": cards.audio}
    names = {"rf": "r.f.", "detector": "detector", "first": "first audio", "audio": "audio"}
    return {
        socket: _Heated(
            f"{names[socket]} {card.type}", card, feed_of(build, socket) or HeaterFeed(), build.heater.volts
        )
        for socket, card in known.items()
        if card is not None
    }


def judge_heaters(build: Build, cards: Cards) -> list[Verdict]:
    """Judge the volts of every heater against its card, and what a filament as cathode does not allow."""
    tubes = _heated(build, cards)
    limits = build.verdicts
    found = [_volts(tube, list(tubes.values()), limits) for tube in tubes.values()]
    for socket, tube in tubes.items():
        if tube.card.heater.direct:
            found += _filament(build, socket, tube, limits)
    return found


def _volts(tube: _Heated, tubes: list[_Heated], limits: Verdicts) -> Verdict:
    most, least = (1.0 + limits.heater_over_max) * tube.rated, (1.0 - limits.heater_under_max) * tube.rated
    rated = f"{tube.at:.3g} V on a heater rated {tube.rated:g} V"
    # a hair beyond the limit is the limit: 1.1 times 2.5 V is no exact float
    if tube.at > most * (1.0 + 1e-9):
        text = f"{rated}: it wears out fast or burns out; {_cure(tube, tubes)}"
        return Verdict(tube.subject, "heater_over_max", Grade.BAD, tube.at, most, "V", text)
    if tube.at < least * (1.0 - 1e-9):
        cure = _cure_of_chokes(tube, least) if tube.fed > least else _cure(tube, tubes)
        text = f"{rated}: the cathode stays too cool to emit what its card says; {cure}"
        return Verdict(tube.subject, "heater_under_max", Grade.BAD, tube.at, least, "V", text)
    text = "the heater gets its rated volts"
    return Verdict(tube.subject, "heater_volts", Grade.GOOD, tube.at, tube.rated, "V", text)


def _cure_of_chokes(tube: _Heated, least: float) -> str:
    """Say how little resistance the chokes of a filament must have that is fed with enough volts."""
    taken = format_quantity(tube.fed - tube.at, VOLTAGE, 2)
    most = format_quantity((tube.fed - least) / (2.0 * tube.amps), RESISTANCE, 2)
    return f"the chokes in its leads take {taken}: {most} in each is the most"


def _cure(tube: _Heated, tubes: list[_Heated]) -> str:
    """Say what gives this heater its volts: another line where that suits all on it, else a feed of its
    own.
    """
    wanted = format_quantity(tube.rated, VOLTAGE, 3)
    if not tube.follows_line:
        return f"its own feed has to give {wanted}"
    on_line = [other for other in tubes if other.follows_line]
    if all(other.rated == tube.rated for other in on_line):
        return f"run the heater line at {wanted}"
    volts = ", ".join(f"{other.card.type} {other.rated:g} V" for other in on_line)
    over = tube.line - tube.rated
    dropper = ""
    if over > 0.0:
        ohms = format_quantity(over / tube.amps, RESISTANCE, 2)
        dropper = f", or drop it through {ohms}, {format_quantity(over * tube.amps, POWER, 2)} of heat"
    return (
        f"the tubes on this line want different volts ({volts}): give it a winding of {wanted}{dropper} "
        "(key 'heater_feed')"
    )


def _filament(build: Build, socket: str, tube: _Heated, limits: Verdicts) -> Iterator[Verdict]:
    if socket == "detector" and build.bands[0].coil.tickler is None:
        yield _on_the_tap(build, tube, limits)
    if socket != "detector":
        yield from _bias(build, socket, tube)
    feed = tube.feed.source
    if feed == "cell" or (feed == "line" and build.heater.supply == "dc"):
        return
    if socket == "detector":
        text = (
            "a.c. in the filament of a detector hums at any setting of the hum pot, and the hum figures do "
            "not "
            "have that part in them: heat it by d.c."
        )
        yield Verdict(tube.subject, "filament_hum", Grade.BAD, None, None, "", text)
        return
    text = "a.c. in a filament hums more than a heater does, which the hum figures do not have in them"
    grade, cure = Grade.DOUBTFUL, "heat it by d.c."
    if build.heater.wiring == "one_side":
        grade, cure = Grade.BAD, "ground a hum pot or a centre tap, not one side, or heat it by d.c."
    yield Verdict(tube.subject, "filament_hum", grade, None, None, "", f"{text}: {cure}")


def _on_the_tap(build: Build, tube: _Heated, limits: Verdicts) -> Verdict:
    """A filament that is the cathode carries the carrier at the tap: its leads have to stand it."""
    subject, feed, card = tube.subject, tube.feed, tube.card
    coils = [coil_figures(band.coil).sections for band in build.bands]
    needed = CHOKE_RATIO * max(s.tap_ratio**2 * (s.upper + s.lower + 2.0 * s.mutual) for s in coils)
    shown = format_quantity(needed, INDUCTANCE, 2)
    if feed.chokes is not None:
        grade = Grade.GOOD if feed.chokes >= needed else Grade.DOUBTFUL
        text = (
            "the chokes in the filament's leads barely load the tap"
            if grade is Grade.GOOD
            else f"the chokes in the filament's leads shunt the tap: {shown} or more each"
        )
        return Verdict(subject, "filament_tap", grade, feed.chokes, needed, "H", text)
    if feed.source != "line":
        text = (
            f"a {feed.source} of its own lets the filament follow the tap: keep its leads short and its "
            "capacitance to ground small"
        )
        return Verdict(subject, "filament_tap", Grade.GOOD, None, None, "", text)
    most = limits.heater_under_max * card.heater.volts / card.heater.amps / 2.0
    text = (
        f"the cathode of a {card.type} is its filament: on the coil tap the heater line shorts it to ground. "
        f"Put an r.f. choke in each filament lead, each {shown} or more and at most "
        f"{format_quantity(most, RESISTANCE, 2)}, with a capacitor across the filament, or heat it from a "
        "winding or cell of its own (key 'heater_feed')"
    )
    return Verdict(subject, "filament_tap", Grade.BAD, None, needed, "H", text)


def _bias(build: Build, socket: str, tube: _Heated) -> Iterator[Verdict]:
    if tube.feed.source != "line":
        return
    if socket == "rf":
        text = (
            f"the cathode of a {tube.card.type} is its filament, and the line grounds it for all tubes: a "
            "cathode resistor cannot bias it. Heat it from a winding or cell of its own with the resistor in "
            "its return (key 'heater_feed')"
        )
        yield Verdict(tube.subject, "filament_bias", Grade.BAD, None, None, "", text)
        return
    stage = build.audio if socket == "audio" or build.audio is None else build.audio.first
    if stage is None or stage.bias != "cathode":
        return
    text = (
        f"the cathode of a {tube.card.type} is its filament, and the line grounds it for all tubes: a "
        "cathode "
        "resistor cannot bias it. Bias it by a grid leak, or heat it from a winding or cell of its own "
        "with the "
        "resistor in its return (key 'heater_feed')"
    )
    yield Verdict(tube.subject, "filament_bias", Grade.BAD, None, None, "", text)


__all__ = ["CHOKE_RATIO", "judge_heaters"]
