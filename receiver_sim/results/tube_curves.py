"""Curves of one tube as its model gives them, with the published points that belong to them."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FloatArray


@dataclass(frozen=True)
class PrintedMark:
    """A published operating point, electrode volts counted from the cathode.

    A self-biased point stands at the volts that its printed currents make in its resistor. gm in siemens;
    None where the source prints nothing.
    """

    plate_v: float
    screen_v: float | None
    grid_v: float
    plate_a: float | None
    screen_a: float | None
    gm_siemens: float | None
    flag: str
    source: str


@dataclass(frozen=True)
class PlateLine:
    """Plate and screen current against plate volts at one grid bias; screen_a is None without a screen."""

    grid_v: float
    plate_v: FloatArray
    plate_a: FloatArray
    screen_a: FloatArray | None


@dataclass(frozen=True)
class TransferLine:
    """Plate current against grid volts at fixed plate and screen."""

    plate_v: float
    screen_v: float | None
    grid_v: FloatArray
    plate_a: FloatArray


@dataclass(frozen=True)
class GmLine:
    """gm against screen volts at fixed plate: grid at `bias_v`, or floating at its leak (None).

    grid_v: where the grid rests; gm of the plate, gk of the cathode current (siemens); arrays of one length.
    """

    bias_v: float | None
    plate_v: float
    screen_v: FloatArray
    grid_v: FloatArray
    gm_siemens: FloatArray
    gk_siemens: FloatArray


@dataclass(frozen=True, repr=False)
class TubeCurves(Answer):
    """All curves of a tube in one connection, computed by ngspice from the shipped law.

    tied: a tube with a screen, connected as a triode. family_screen_v: screen volts of the plate lines. The
    ranges (V) are those the card's points cover: anything beyond is extrapolated. rating_v and rating_w:
    greatest plate volts and dissipation, None where not known. leak_ohm: grid leak of the floating-grid line.
    """

    type: str
    connection: str
    tied: bool
    family_screen_v: float | None
    plate_lines: tuple[PlateLine, ...]
    transfer_lines: tuple[TransferLine, ...]
    gm_lines: tuple[GmLine, ...]
    leak_ohm: float
    marks: tuple[PrintedMark, ...]
    plate_range: tuple[float, float]
    screen_range: tuple[float, float] | None
    grid_range: tuple[float, float]
    rating_v: float
    rating_w: float | None
    evaluations: int

    def beyond_grid(self, grid_v: float) -> bool:
        """Whether a bias lies outside the published ones."""
        return not self.grid_range[0] <= grid_v <= self.grid_range[1]
