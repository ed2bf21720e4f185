"""Noise that comes with the signal: the band's, the tank's and the tube's, as currents into the hot end.

The tank and all that loads it make the thermal noise of its own conductance (Nyquist 1928: any passive
network at one temperature does), the tube that of its cathode and grid currents, carried to the tank by its
mode's shape, the band the e.m.f. that P.372 gives for the aerial. Flicker noise, the extra noise of transit
time, and the growth of the grid current with oscillation are left out: the tube's share is that of its volts
at rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.aerial import aerial_radiation
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.measure.audio_noise import PlateNoise, electrode_volts, into_the_plate
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.on_bench import OnBench
from receiver_sim.measure.tubes_ahead import into_hot_end
from receiver_sim.physics.band_noise import (
    aerial_noise_density,
    atmospheric_noise,
    galactic_noise,
    man_made_noise,
    together,
)
from receiver_sim.physics.noise import (
    cathode_noise_density,
    conductance_noise_density,
    partition_noise_density,
    shot_density,
)
from receiver_sim.physics.tube_law import currents, small_signal
from receiver_sim.schema import Band, Build

AUDIO_HZ = np.geomspace(60.0, 12_000.0, 47)
"""Frequencies at which the noise of the audio circuits is measured."""


@dataclass(frozen=True)
class BandNoise:
    """The band's noise at the aerial: figures (dB above kT0b), radiation resistance (ohm), e.m.f.
    (V/sqrt(Hz)).

    height_assumed: the effective height behind the radiation resistance is an assumption.
    """

    man_made_db: float
    atmospheric_db: float
    galactic_db: float | None
    total_db: float
    radiation_ohm: float
    height_assumed: bool
    emf: float


@dataclass(frozen=True)
class SetNoise:
    """What makes noise while one band is listened to.

    band: None without an aerial; tube: density (A/sqrt(Hz)) of the current into the hot end that stands for
    the detector's tube and that of an r.f. stage; audio: of what is made at audio.
    """

    band: BandNoise | None
    tube: float
    audio: PlateNoise

    def thermal(self, mode: Mode) -> float:
        """Return the density (A/sqrt(Hz)) of the tank's own current into its hot end."""
        return conductance_noise_density(mode.conductance)

    def aerial(self, mode: Mode) -> float:
        """Return the same of the band's noise."""
        return 0.0 if self.band is None or mode.aerial is None else self.band.emf * abs(mode.aerial)

    def total(self, mode: Mode) -> float:
        """Return the same of all three together."""
        return math.hypot(self.thermal(mode), self.tube, self.aerial(mode))


def band_noise(build: Build, *, frequency: float, place: str) -> BandNoise | None:
    """Return the noise of a `place` (of physics.band_noise.PLACES) at the aerial of a build, None without
    one."""
    if build.aerial is None:
        return None
    man_made, galactic = man_made_noise(frequency, place=place), galactic_noise(frequency)
    atmospheric = atmospheric_noise(frequency)
    total = together(man_made, atmospheric, galactic)
    _, radiation, assumed = aerial_radiation(build.aerial, frequency=frequency)
    emf = aerial_noise_density(total, radiation_resistance=radiation)
    return BandNoise(man_made, atmospheric, galactic, total, radiation, assumed, emf)


def tube_density(build: Build, cards: Cards, mode: Mode, *, band: Band) -> float:
    """Return the density (A/sqrt(Hz)) of the current into the tank's hot end that stands for the tube's
    noise at the volts at rest of the mode."""
    circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.5)
    at = electrode_volts(circuit, "detector", mode.rest)
    volts = {name: at.get(name, at["cathode"]) - at["cathode"] for name in ("grid", "plate", "screen")}
    law = cards.detector.law()
    own = small_signal(law, grid_v=volts["grid"], plate_v=volts["plate"], screen_v=volts["screen"])
    grid = currents(law, grid_v=volts["grid"], plate_v=volts["plate"], screen_v=volts["screen"]).grid
    to_plate, to_screen = mode.cathode - mode.plate, mode.cathode - mode.screen
    share = own.plate / (own.plate + own.screen)
    parts = [cathode_noise_density(own.gk) * abs(share * to_plate + (1.0 - share) * to_screen)]
    parts.append(shot_density(max(float(grid), 0.0)) * abs(mode.grid - mode.cathode))
    if own.screen > 0.0:
        chance = partition_noise_density(own.plate, screen_current=own.screen)
        parts.append(chance * abs(to_plate - to_screen))
    return math.hypot(*parts)


def set_noise(
    receiver: OnBench,
    mode: Mode,
    *,
    band: Band,
    place: str,
    rotation: float,
    output: int,
) -> SetNoise:
    """Return what makes noise in a set at a place, heard at one output (index of the phones).

    rotation: setting of the control (0..1) at which the noise at audio is taken. Raises EngineError.
    """
    tube = tube_density(receiver.build, receiver.cards, mode, band=band)
    circuit = receiver_circuit(
        receiver.build, receiver.cards, band=band, dial_hz=band.middle_hz, rotation=rotation
    )
    with loaded(receiver.bench, circuit) as on:
        ahead = into_hot_end(on, receiver.cards, frequency=mode.resonance_hz)
    return SetNoise(
        band=band_noise(receiver.build, frequency=mode.resonance_hz, place=place),
        tube=math.hypot(tube, ahead),
        audio=into_the_plate(receiver, rotation=rotation, output=output, frequency=AUDIO_HZ),
    )
