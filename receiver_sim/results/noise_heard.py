"""What of a sound is noise, and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class StationOverNoise:
    """A station: offset from the oscillation at onset (Hz), e.m.f. of its carrier (V r.m.s.; of single
    sideband the peak envelope's), and by how much that exceeds all noise in the bandwidth of the result
    (dB)."""

    offset_hz: float
    level_v: float
    over_noise_db: float


@dataclass(frozen=True)
class NoiseHeard:
    """The noise in a sound.

    place: category of ITU-R P.372, None without an aerial; seed: the same gives the same noise; reach_hz:
    how far from the tank's frequency it is even; bandwidth_hz: of the e.m.f.s below; man_made_db,
    atmospheric_db, galactic_db, total_db: external noise figures, dB above kT0b, galactic None where the
    ionosphere keeps it out; radiation_ohm: radiation resistance of the aerial that turns them into volts;
    height_assumed: the height behind it is an assumption; band_emf_v: e.m.f. of the band's noise in the
    aerial, V r.m.s.; own_emf_v: e.m.f. that would make as much as tank and tube do; thermal_a, tube_a,
    band_a: currents into the tank's hot end in that bandwidth, A r.m.s.; audio_a: current into the detector's
    plate that stands for what is made at audio, by its density at 1 kHz. None where there is no aerial.
    """

    place: str | None
    seed: int
    reach_hz: float
    bandwidth_hz: float
    man_made_db: float | None
    atmospheric_db: float | None
    galactic_db: float | None
    total_db: float | None
    radiation_ohm: float | None
    height_assumed: bool
    band_emf_v: float | None
    own_emf_v: float | None
    thermal_a: float
    tube_a: float
    band_a: float
    audio_a: float
    stations: tuple[StationOverNoise, ...] = ()
