"""What a potentiometer's wiper does against rotation: linear, log and antilog tracks.

The makers' smooth "log" tracks are two or three straight pieces on the average; the exponential through the
printed mid value stands for them here. That form, and 15 % as the usual mid value, are common practice, no
source.
"""

import numpy as np

from receiver_sim.physics.checks import Real, require_fraction

LAWS = ("linear", "log", "antilog")
LOG_MID = 0.15  # wiper at half rotation of a log track; common practice, no source (10 to 20 % are met)


def wiper_fraction(rotation_fraction: Real, *, law: str, mid: float | None = None) -> Real:
    """Return the fraction of the track's resistance between the low end and the wiper.

    `rotation_fraction` runs from 0 (fully anticlockwise, wiper at the low end) to 1; floats or arrays. `law`
    is one of `LAWS`. `mid` is the fraction of resistance at half rotation: 0.5 for linear; below 0.5 for log
    (0.15 if not given); above 0.5 for antilog (0.85). The curve is (a^x - 1)/(a - 1), a = (1/mid - 1)^2: 0
    at 0, mid at 1/2, 1 at 1. Common practice, no source. An antilog track is a log one read from the other
    end.

    Raises ValueError for a rotation outside 0 to 1, an unknown law, or a mid value that contradicts the law.
    """
    require_fraction(ends=True, rotation_fraction=rotation_fraction)
    base = _base(law, mid)
    if base == 1.0:
        return rotation_fraction * 1.0
    # expm1 keeps the digits near the ends and for a base near 1
    slope = np.log(base)
    return np.expm1(rotation_fraction * slope) / np.expm1(slope)


def rotation_fraction(wiper: Real, *, law: str, mid: float | None = None) -> Real:
    """Return the rotation (0 to 1) at which `wiper_fraction` gives `wiper`: its exact inverse."""
    require_fraction(ends=True, wiper=wiper)
    base = _base(law, mid)
    if base == 1.0:
        return wiper * 1.0
    slope = np.log(base)
    return np.log1p(wiper * np.expm1(slope)) / slope


def _base(law: str, mid: float | None) -> float:
    """Return the base a of the exponential law; 1 stands for the straight line."""
    if law == "linear":
        if mid is not None and mid != 0.5:
            raise ValueError(
                f"mid of a linear track is 0.5, got {mid}; use law log (below 0.5) or antilog (above)"
            )
        return 1.0
    if law == "log":
        mid = LOG_MID if mid is None else mid
        if not 0 < mid < 0.5:
            raise ValueError(f"mid of a log track must be between 0 and 0.5, got {mid}")
    elif law == "antilog":
        mid = 1 - LOG_MID if mid is None else mid
        if not 0.5 < mid < 1:
            raise ValueError(f"mid of an antilog track must be between 0.5 and 1, got {mid}")
    else:
        raise ValueError(f"law must be one of {', '.join(LAWS)}, got {law!r}")
    return (1 / mid - 1) ** 2
