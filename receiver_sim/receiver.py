"""A receiver on the bench: a settled build with its cards, tuned to a dial setting; what was measured once is
kept.
"""

from __future__ import annotations

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.audio import own_screen
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench
from receiver_sim.measure import rectifier
from receiver_sim.measure.loaded import loaded
from receiver_sim.schema import Band, Build, BuildFaults, Fault
from receiver_sim.schema.card import card_for
from receiver_sim.schema.located_yaml import read_located
from receiver_sim.schema.not_covered import told
from receiver_sim.schema.supply import DcSupply


def dial_frequencies(band: Band) -> tuple[float, float, float]:
    """Return the low end, the geometric middle and the high end of a band (Hz)."""
    return band.from_, float(np.sqrt(band.from_ * band.to)), band.to


def cards_for(build: Build) -> Cards:
    """Return the cards of the tubes in a build's sockets.

    Raises BuildFaults if a tube is of a kind its socket does not take, or its card holds no fit.
    """
    detector, audio = card_for(build.detector.tube), build.audio
    faults = []
    if detector.kind == "triode":
        faults.append(
            _kind_fault(build, "detector.tube", detector.type, "a pentode or screen-grid tube", _TRIODE)
        )
    sockets = [("detector.tube", detector)]
    for key, stage in (("audio", audio), ("audio.first", audio.first)):
        if stage is None:
            continue
        card = card_for(stage.tube)
        sockets.append((f"{key}.tube", card))
        if own_screen(stage, card) and stage.screen is None:
            cure = "a triode, or a pentode with the key 'screen' (or 'connection: triode') beside it"
            faults.append(_kind_fault(build, f"{key}.tube", card.type, cure))
    for key, card in sockets:
        if card.fit is None:
            cure = f"a tube whose card holds a fit; run 'receiver-sim tubes fit {card.type}'"
            faults.append(_kind_fault(build, key, card.type, cure))
    if faults:
        raise BuildFaults(faults)
    return Cards(detector, sockets[1][1], sockets[2][1] if audio.first is not None else None)


_SETTLED: dict[str, Build] = {}


def current_drawn(build: Build, cards: Cards, bench: Bench, rotation: float = 0.5) -> float:
    """Return the d.c. (A) that receiver and bleeder take from the supply at a setting of the control."""
    band = build.bands[0]
    circuit = receiver_circuit(build, cards, band=band, dial_hz=dial_frequencies(band)[1], rotation=rotation)
    branch = circuit.branch(Role.SUPPLY)
    with loaded(bench, circuit) as on:
        return -float(on.session.op(vectors=[branch])[branch].real[0])


def settle(build: Build, bench: Bench) -> Build:
    """Return the build with a rectifier supply run at the load it has, as the studies need it; others as they
    are.

    The last few are remembered. Raises BuildFaults, EngineError.
    """
    if build.supply.kind != "rectifier":
        return build
    key = f"{build.sha256} {build!r}"
    if key not in _SETTLED:
        cards = cards_for(build)

        def current_at(volts: float) -> float:
            plain = DcSupply.model_construct(kind="dc", volts=volts, resistance=0.0, ripple=0.0, bleeder=None)
            return current_drawn(build.model_copy(update={"supply": plain}), cards, bench)

        while len(_SETTLED) >= 16:
            _SETTLED.pop(next(iter(_SETTLED)))
        _, supply = rectifier.run(build, bench, current_at=current_at)
        _SETTLED[key] = build.model_copy(update={"supply": supply})
    return _SETTLED[key]


_TRIODE = f"{told('a triode as detector')}: take a tube with a screen"


def _kind_fault(build: Build, key: str, tube: str, expected: str, cure: str | None = None) -> Fault:
    line = 0
    if build.path is not None:
        line = read_located(build.path, faults=BuildFaults).line(key.split("."))
    name = build.title if build.path is None else str(build.path)
    return Fault(file=name, line=line, key=key, value=tube, expected=expected, cure=cure)
