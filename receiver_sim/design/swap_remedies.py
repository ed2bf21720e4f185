"""What brings another tube to where the tube in place works? Found on the circuit, rounded, shown to work.

Detector: the end resistor above the control (one value, all bands; sought on one of them), or the coil's tap
(band by band), so that oscillation begins at the same place of the knob. Audio: the cathode resistor that
draws the same plate current.
"""

from __future__ import annotations

import math

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.roles import Role
from receiver_sim.design import tap_finder
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.physics.part_series import E24, nearest_preferred
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.onset import Onset
from receiver_sim.results.swap import Adjustment
from receiver_sim.schema import Band, BuildFaults, changed_build
from receiver_sim.schema.coil_figures import coil_figures
from receiver_sim.studies import operating_point

CLOSE_ROTATION = 0.03
"""How near the knob must come: half a step of E24 (5 %) in one of several resistors of the control moves its
volts by some 2 to 3 %."""

CLOSE_CURRENT = 0.05
"""The same of a plate current: half a step of E24 in the cathode resistor moves it by less than 5 %."""

_TURNS_STEP, _TAP_STEP = 0.05, 0.0005
"""A tap can be set to a twentieth of a turn, of some hundred turns at most (common practice, no source)."""

_HIGHEST_OHM = 1e6


def _onset(receiver: Receiver, band: Band) -> Onset:
    """Search the onset of a changed set in the middle of a band."""
    return receiver.at(band).onset


def _judged(remedy: Adjustment, found: Onset | None) -> Adjustment:
    """Return the remedy with what the onset search gave once the change was made."""
    place = None if found is None or found.onset is None else found.onset.rotation
    works = place is not None and abs(place - remedy.wanted) <= CLOSE_ROTATION
    reason = None
    if not works:
        reason = "no onset with it" if place is None else "the rounded value misses the knob's place"
    return Adjustment(**{**remedy.__dict__, "found": place, "works": works, "reason": reason})


def top_resistor(tuned: Tuned, *, rotation: float) -> Adjustment:
    """Find the end resistor above the control with which oscillation begins at `rotation` of the knob.

    tuned: the set with the candidate in its socket. Raises EngineError.
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

    control = tuned.build.regeneration
    blank = Adjustment(
        what="end resistor above the control",
        band=tuned.band.name,
        key="regeneration.top",
        before=control.top,
        after=None,
        wanted=rotation,
        found=None,
        works=False,
        reason=None,
    )
    circuit = receiver_circuit(
        tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation
    )
    share = circuit.control.share(rotation)
    with loaded(tuned.bench, circuit) as on:
        probe = Probe(on, band=tuned.band, dial_hz=tuned.dial_hz)
        probe.trim()

        def excess(ohms: float) -> float:
            on.set(Role.CONTROL_TOP, max(ohms, CONTACT_OHM))
            return probe.measure(share).gain - 1.0

        if excess(0.0) < 0.0:
            return _refused(blank, "too little even with none: the regulated voltage is too low")
        if excess(_HIGHEST_OHM) > 0.0:
            return _refused(blank, "oscillates there whatever it is: lower the tap")
        exact = float(brentq(excess, 0.0, _HIGHEST_OHM, rtol=1e-3, xtol=1.0))
    # below a fiftieth of the track a resistor makes no difference that the knob shows
    value = 0.0 if exact < (control.pot or 0.0) / 50.0 else nearest_preferred(exact, E24)
    changed = changed_build(tuned.build, {"regeneration.top": value})
    return _judged(
        Adjustment(**{**blank.__dict__, "after": value}), _onset(tuned.receiver.changed(changed), tuned.band)
    )


def _refused(blank: Adjustment, reason: str) -> Adjustment:
    return Adjustment(**{**blank.__dict__, "reason": reason})


def tap(tuned: Tuned, *, rotation: float) -> Adjustment:
    """Find the tap of one band's coil with which oscillation begins at `rotation`; as `top_resistor`.

    Of a wound coil the tap is in turns, to a twentieth; of one known by figures to 0.05 % of the turns.
    """
    number = next(i for i, one in enumerate(tuned.build.bands) if one.name == tuned.band.name)
    coil = tuned.band.coil
    turns = coil_figures(coil).turns or 1.0
    step = _TAP_STEP if coil.winding is None else _TURNS_STEP
    key = f"bands[{number}].coil.tap" if coil.winding is None else f"bands[{number}].coil.winding.tap"
    before = coil.tap * turns
    blank = Adjustment(
        what="tap" if coil.winding is None else "tap (turns)",
        band=tuned.band.name,
        key=key,
        before=before,
        after=None,
        wanted=rotation,
        found=None,
        works=False,
        reason=None,
    )

    # the build as given but for this coil: a changed build's rectifier supply has not been run
    place = tap_finder.Seeker(tuned, rotation).solved()
    if place is None:
        return _refused(blank, "no tap up to half of the turns does it")
    value = max(round(place / step), 1) * step
    if abs(value - before) < step / 2.0:
        value = before
    try:
        changed = changed_build(tuned.build, {key: value})
    except BuildFaults:
        return _refused(blank, "the coil does not take such a tap")
    found = _onset(tuned.receiver.changed(changed), changed.bands[number])
    return _judged(Adjustment(**{**blank.__dict__, "after": value}), found)


def cathode_resistor(tuned: Tuned, *, plate_a: float) -> Adjustment | None:
    """Find the cathode resistor of the audio stage that draws `plate_a`; None where the bias is another."""
    from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

    before = None if tuned.build.audio is None else tuned.build.audio.cathode_resistor
    if tuned.build.audio is None or before is None or tuned.build.audio.bias != "cathode":
        return None
    blank = Adjustment(
        what="cathode resistor",
        band=None,
        key="audio.cathode_resistor",
        before=before,
        after=None,
        wanted=plate_a,
        found=None,
        works=False,
        reason=None,
    )
    circuit = receiver_circuit(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=0.5)
    socket = circuit.sockets["audio"]
    ammeter = circuit.branch(socket.meters["plate"].element)
    with loaded(tuned.bench, circuit) as on:

        def excess(place: float) -> float:
            on.set(socket.parts["cathode resistor"], math.exp(place))
            found = float(on.session.op(vectors=[ammeter])[ammeter][0].real)
            return math.log(max(found, 1e-12) / plate_a)

        low, high = math.log(10.0), math.log(100e3)
        if excess(low) < 0.0:
            return _refused(blank, "it draws less even with none")
        if excess(high) > 0.0:
            return _refused(blank, "it draws more even with 100 kohm")
        exact = math.exp(float(brentq(excess, low, high, xtol=1e-3)))
    value = nearest_preferred(exact, E24)
    changed = tuned.receiver.changed(changed_build(tuned.build, {"audio.cathode_resistor": value}))
    point = operating_point.run(changed.at(tuned.band, tuned.dial_hz), settings=[("working", 0.5)])[0]
    found = next(tube.plate_a for tube in point.tubes if tube.socket == "audio")
    works = abs(found / plate_a - 1.0) <= CLOSE_CURRENT
    reason = None if works else "the rounded value misses the current"
    return Adjustment(**{**blank.__dict__, "after": value, "found": found, "works": works, "reason": reason})
