"""A receiver on the bench: a settled build with its cards, tuned to a dial setting; what was measured once is
kept.
"""

from __future__ import annotations

import threading

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.audio import own_screen
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.mode import tuned_mode
from receiver_sim.measure.on_bench import OnBench
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build, BuildFaults, Fault
from receiver_sim.schema.card import TubeCard, card_for
from receiver_sim.schema.located_yaml import located_text
from receiver_sim.schema.not_covered import told
from receiver_sim.schema.supply import DcSupply


def dial_frequencies(band: Band) -> tuple[float, float, float]:
    """Return the low end, the geometric middle and the high end of a band (Hz)."""
    return band.from_, band.middle_hz, band.to


def cards_for(build: Build) -> Cards:
    """Return the cards of the tubes in a build's sockets.

    Raises BuildFaults if a tube is of a kind its socket does not take, or its card holds no fit.
    """
    detector, audio = card_for(build.detector.tube), build.audio
    faults = _screenless(build, detector)
    found = {"detector.tube": detector}
    if build.rf_stage is not None:
        radio = found["rf_stage.tube"] = card_for(build.rf_stage.tube)
        if radio.kind == "triode":
            cure = f"{told('a triode as r.f. stage')}: take a tube with a screen"
            expected = "a pentode or screen-grid tube"
            faults.append(_kind_fault(build, "rf_stage.tube", radio.type, expected, cure))
    for key, stage in (("audio", audio), ("audio.first", None if audio is None else audio.first)):
        if stage is None:
            continue
        card = card_for(stage.tube)
        found[f"{key}.tube"] = card
        if own_screen(stage, card) and stage.screen is None:
            cure = "a triode, or a pentode with the key 'screen' (or 'connection: triode') beside it"
            faults.append(_kind_fault(build, f"{key}.tube", card.type, cure))
    for key, card in found.items():
        if card.fit is None:
            cure = f"a tube whose card holds a fit; run 'receiver-sim tubes fit {card.type}'"
            faults.append(_kind_fault(build, key, card.type, cure))
    if faults:
        raise BuildFaults(faults)
    return Cards(detector, found.get("audio.tube"), found.get("audio.first.tube"), found.get("rf_stage.tube"))


_SETTLED: dict[str, Build] = {}


def current_drawn(receiver: OnBench, rotation: float = 0.5) -> float:
    """Return the d.c. (A) that receiver and bleeder take from the supply at a setting of the control."""
    band = receiver.build.bands[0]
    circuit = receiver_circuit(
        receiver.build, receiver.cards, band=band, dial_hz=band.middle_hz, rotation=rotation
    )
    branch = circuit.branch(Role.SUPPLY)
    with loaded(receiver.bench, circuit) as on:
        return -float(on.session.op(vectors=[branch])[branch].real[0])


def settle(build: Build, bench: Bench) -> Build:
    """Return the build with a rectifier supply run at the load it has, as the studies need it; others as they
    are.

    The last few are remembered. Raises BuildFaults, EngineError.
    """
    if build.supply.kind != "rectifier":
        return build
    from receiver_sim.measure import rectifier  # noqa: PLC0415 - most sets have none, for start-up's sake

    key = f"{build.sha256} {build!r}"
    if key not in _SETTLED:
        cards = cards_for(build)

        def current_at(volts: float) -> float:
            plain = DcSupply.model_construct(kind="dc", volts=volts, resistance=0.0, ripple=0.0, bleeder=None)
            return current_drawn(Receiver(build.model_copy(update={"supply": plain}), bench, cards=cards))

        while len(_SETTLED) >= 16:
            _SETTLED.pop(next(iter(_SETTLED)))
        _, supply = rectifier.run(build, bench, current_at=current_at)
        _SETTLED[key] = build.model_copy(update={"supply": supply})
    return _SETTLED[key]


def _screenless(build: Build, card: TubeCard) -> list[Fault]:
    """Return what does not fit between the detector's tube and what feeds its screen."""
    on_screen, fixed = build.regeneration.acts_on == "screen", build.detector.screen is not None
    key = "detector.tube"
    if card.kind == "triode" and on_screen:
        expected = "a pentode or screen-grid tube, since the control sets a screen voltage"
        cure = "take a tube with a screen, or write 'acts_on: plate' under 'regeneration'"
        return [_kind_fault(build, key, card.type, expected, cure)]
    if card.kind == "triode" and fixed:
        expected = "a pentode or screen-grid tube, since 'detector.screen' feeds a screen"
        return [_kind_fault(build, key, card.type, expected, "take 'detector.screen' out")]
    if card.kind != "triode" and not on_screen and not fixed:
        expected = "a triode, or a feed for the screen, since the control does not set its volts"
        cure = "add the key 'screen' with its resistor under 'detector'"
        return [_kind_fault(build, key, card.type, expected, cure)]
    return []


def _kind_fault(build: Build, key: str, tube: str, expected: str, cure: str | None = None) -> Fault:
    name = build.title if build.path is None else str(build.path)
    # not as the file stands by now
    line = located_text(build.written, name, BuildFaults).line(key.split(".")) if build.written else 0
    return Fault(file=name, line=line, key=key, value=tube, expected=expected, cure=cure)


class Receiver:
    """A settled build on a bench, with the cards of its tubes; its dial settings are kept once measured."""

    def __init__(self, build: Build, bench: Bench, *, cards: Cards | None = None) -> None:
        """Settle the build, if its supply has to be run first; a settled one stays as it is.

        cards: of its tubes, as drawn or fitted; None takes those that ship. Raises BuildFaults, EngineError.
        """
        self.cards = cards_for(build) if cards is None else cards
        self.given = build
        self.build = settle(build, bench)
        self.bench = bench
        self._tuned: dict[tuple[str, float], Tuned] = {}
        self._lock = threading.Lock()

    def changed(self, build: Build, cards: Cards | None = None) -> Receiver:
        """Return a receiver of a changed build on the same bench; cards: the same ones if None."""
        return Receiver(build, self.bench, cards=self.cards if cards is None else cards)

    def at(self, band: Band, dial_hz: float | None = None, *, search: Onset | None = None) -> Tuned:
        """Return the receiver tuned to a dial setting of a band, its middle if None; the same each time.

        search: the onset search at that setting, if it has been made. Another search, or another band of the
        same name (a tap moved, say), begins anew.
        """
        dial = band.middle_hz if dial_hz is None else dial_hz
        if search is not None:
            dial = search.dial_hz
        with self._lock:
            kept = self._tuned.get((band.name, dial))
            if kept is None or not kept.answers(band, search):
                kept = self._tuned[band.name, dial] = Tuned(self, band, dial, search=search)
            return kept


class Tuned:
    """A receiver tuned to one dial setting of a band. What is measured is kept; threads may share it."""

    def __init__(
        self, receiver: Receiver, band: Band, dial_hz: float, *, search: Onset | None = None
    ) -> None:
        """Tune a receiver; search: the onset search at that dial setting, if it has been made."""
        self.receiver, self.band, self.dial_hz = receiver, band, dial_hz
        self._search = search
        self._modes: dict[float, Mode] = {}
        self._lock = threading.RLock()

    @property
    def given(self) -> Build:
        """The build as its file states it."""
        return self.receiver.given

    @property
    def build(self) -> Build:
        """The settled build."""
        return self.receiver.build

    @property
    def cards(self) -> Cards:
        """The cards of its tubes."""
        return self.receiver.cards

    @property
    def bench(self) -> Bench:
        """The bench it stands on."""
        return self.receiver.bench

    def answers(self, band: Band, search: Onset | None) -> bool:
        """Tell whether what is kept here belongs to that band, and to that search if one is given."""
        same = self.band is band or self.band == band
        return same and (search is None or self._search is search)

    @property
    def onset(self) -> Onset:
        """The onset by loop gain; a search that failed says so in its status."""
        if self._search is not None:  # known: not to wait for a mode that is being measured
            return self._search
        with self._lock:
            if self._search is None:
                self._search = onset.run(self)
            return self._search

    def mode(self, rotation: float) -> Mode:
        """Return the tank's mode with the volts at rest that belong to a setting of the control (0..1).

        Raises NoAnswer where the onset search failed, EngineError when a simulation fails.
        """
        search = self.onset
        if search.tuning_farad is None:
            raise NoAnswer(f"{search.band}: {'; '.join(search.warnings) or search.status.value}")
        with self._lock:
            if rotation not in self._modes:
                self._modes[rotation] = tuned_mode(self, tuning=search.tuning_farad, rotation=rotation)
            return self._modes[rotation]
