"""Noise over time as sources of the envelope deck: what comes with the signal, and what is made at audio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.registry import filled
from receiver_sim.circuit.signals import POINTS_HZ, pieces
from receiver_sim.physics.noise_course import PASS, Course, course

FloatArray = npt.NDArray[np.float64]

REACH_HZ = PASS * POINTS_HZ
"""Distance from the tank's frequency, either side, up to which the noise is even; and its highest audio
frequency."""

IN_PHASE, QUADRATURE, AUDIO = 0, 1, 2
"""Channels of a seed."""


@dataclass(frozen=True)
class NoiseCourses:
    """The courses of one sound's noise: in phase and in quadrature of unit density, and at audio.

    audio_amperes: density (A/sqrt(Hz)) of the audio course where it is 1.
    """

    in_phase: Course
    quadrature: Course
    audio: Course
    audio_amperes: float


def noise_courses(seed: int, *, frequency: FloatArray, density: FloatArray) -> NoiseCourses:
    """Return the courses of a seed; density (A/sqrt(Hz)) at `frequency` (Hz): of what is made at audio."""
    most = float(density.max())
    return NoiseCourses(
        course(seed, channel=IN_PHASE, rate=POINTS_HZ),
        course(seed, channel=QUADRATURE, rate=POINTS_HZ),
        course(seed, channel=AUDIO, rate=POINTS_HZ, frequency=frequency, density=density / most),
        most,
    )


def noise_block(courses: NoiseCourses, *, amperes: float, plate: str, start: float, stop: float) -> Block:
    """Return the sources from `start` to `stop` (s; the circuit's time begins at 0).

    amperes: density (A/sqrt(Hz)) of the noise current into the hot end of the tank. A current of density s
    is the real part of an amplitude whose two parts have sqrt(2) s each (narrow-band noise, textbook).
    plate: node of the detector's plate.
    """
    first, last = np.floor(start * POINTS_HZ) + 1, np.ceil(stop * POINTS_HZ) - 1
    inside = np.arange(first, last + 1) / POINTS_HZ
    times = np.concatenate([[start], inside, [stop]])
    times = times[np.concatenate([[True], np.diff(times) > 1e-7])]
    in_phase, quadrature, audio = (
        pieces(times - start, one.at(times)) for one in (courses.in_phase, courses.quadrature, courses.audio)
    )
    values = {
        "in_phase": in_phase,
        "quadrature": quadrature,
        "audio": audio,
        "amperes": np.sqrt(2.0) * amperes,
        "audio_amperes": courses.audio_amperes,
        "plate": plate,
    }
    return filled("envelope_noise.cir", values)
