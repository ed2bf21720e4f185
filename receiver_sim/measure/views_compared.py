"""Do the loop gain and the balance of amplitudes agree where oscillation begins?

The tank is one resonance to the envelope view. A plate that swings by itself feeds back through the tube's
capacitance beside that resonance, or throttles its own current where it has next to no volts: the loop gain
has it, the balance of amplitudes does not.
"""

from __future__ import annotations

from receiver_sim.measure.imposed_amplitude import Looked
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import Oscillation
from receiver_sim.results.onset import Onset

_AGREE = 0.01
"""Rotation by which the onsets of both views may differ: a hand's setting of the knob. They mostly agree to a
thousandth of that."""

_FAR_OFF = 0.05
"""Loop gain from one beyond which a stop is not taken for the place of the onset itself."""

_DIFFER = (
    "by its loop gain {}, but with the tank taken as one resonance {}: something beside the tank counts, "
    "such as a plate that no plate_capacitor bypasses or that has next to no volts; trust the loop gain, and "
    "amplitudes only roughly"
)


def onsets(found: Oscillation, onset: Onset) -> str | None:
    """Return a sentence where the amplitudes begin at another setting than the onset by loop gain, or at
    none; None where both agree."""
    if onset.onset is None:
        return None
    if found.onset is None:
        other = "no setting of the control sustains a small amplitude"
    elif abs(found.onset.rotation - onset.onset.rotation) > _AGREE:
        other = f"small amplitudes are sustained from {100.0 * found.onset.rotation:.0f} %"
    else:
        return None
    return _DIFFER.format(f"the set starts at {100.0 * onset.onset.rotation:.0f} % of the knob", other)


def stops(looked: Looked, onset: Onset) -> str | None:
    """Return the same for a band without onset on the control, from what the stop nearest to it does to a
    small amplitude; None where both agree."""
    pays = float(looked.pays.surplus[0])
    if onset.status is Status.DOES_NOT and pays > _FAR_OFF:
        return _DIFFER.format("nothing starts the set", "the top of the control sustains a small amplitude")
    if onset.status is Status.NOT_IN_RANGE and pays < -_FAR_OFF:
        return _DIFFER.format("the set starts at every setting", "the lower stop sustains no small amplitude")
    return None
