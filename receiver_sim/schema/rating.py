"""What a part in the drawer stands, as its maker says: held by `sheet` against what it meets."""

from __future__ import annotations

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.base import Part, optional


class Rating(Part):
    """Ratings of one part; what is left out is not checked."""

    part: p.Name = Field(
        description="The part: its designator in drawing and parts list ('R6'), or the key that its value "
        "stands under ('regeneration.pot')."
    )
    withstands: p.PeakVolts | None = optional("Volts it stands.")
    dissipates: p.PartPower | None = optional("Watts it stands.")
    carries: p.RatedCurrent | None = optional(
        "Current it stands: d.c. through a choke, regulator or phones, r.m.s. of a mains or heater winding, "
        "ripple (r.m.s.) of an electrolytic, the peak of a rectifier."
    )


__all__ = ["Rating"]
