"""What the verbs of the envelope view begin with: one band, its onset by loop gain, its amplitudes."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.builds import band_named
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import EngineError
from receiver_sim.errors import WrongValue
from receiver_sim.oscillating import mode_at
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import (
    Oscillation,
)
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build
from receiver_sim.studies import amplitude


@dataclass(frozen=True)
class Found:
    """What all verbs of the envelope view begin with: one band, its onset by loop gain, its amplitudes."""

    tuned: Tuned
    oscillation: Oscillation

    @property
    def build(self) -> Build:
        """The settled build."""
        return self.tuned.build

    @property
    def cards(self) -> Cards:
        """The cards of its tubes."""
        return self.tuned.cards

    @property
    def band(self) -> Band:
        """The band."""
        return self.tuned.band

    @property
    def search(self) -> Onset:
        """Its onset by loop gain."""
        return self.tuned.onset

    @property
    def mode(self) -> Mode:
        """The tank's mode there. Raises NoAnswer, EngineError."""
        return mode_at(self.tuned, self.oscillation)


def no_onset(found: Oscillation) -> str:
    """Return a sentence on why a band has no setting to listen at."""
    reason = f": {'; '.join(found.warnings)}" if found.warnings else ""
    return f"{found.band}: {found.status.value}{reason}"


def with_screen_resistance(build: Build, extra_ohm: float) -> Build:
    """Return the build with `extra_ohm` more between the wiper of the control and the screen."""
    if build.regeneration.acts_on != "screen":
        raise WrongValue("the control of this set does not feed a screen: no resistance goes there")
    control = build.regeneration.model_copy(update={"stopper": build.regeneration.stopper + extra_ohm})
    return build.model_copy(update={"regeneration": control})


def find(
    receiver: Receiver,
    *,
    band: Band,
    extra_screen_ohm: float = 0.0,
    time_runs: bool = False,
) -> Found:
    if extra_screen_ohm != 0.0:
        receiver = receiver.changed(with_screen_resistance(receiver.build, extra_screen_ohm))
    tuned = receiver.at(band)
    return Found(tuned, amplitude.run(tuned, extra_screen_ohm=extra_screen_ohm, time_runs=time_runs))


def first_found(receiver: Receiver, band: str | None) -> Found:
    """Return the named band, or the first with an onset, or the first there is where none has one.

    Raises EngineError where a simulation failed and no band has an onset: nothing is known then.
    """
    chosen = list(receiver.build.bands) if band is None else [band_named(receiver.build, band)]
    silent = []
    for one in chosen:
        found = find(receiver, band=one)
        if found.oscillation.onset is not None:
            return found
        silent.append(found)
    for found in silent:
        if found.oscillation.status is Status.FAILED:
            raise EngineError(no_onset(found.oscillation))
    return silent[0]
