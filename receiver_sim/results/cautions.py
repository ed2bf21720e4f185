"""The cautions that go with every figure in volts, every pin, wire and parts list."""

PLATE_SUPPLY = (
    "Plate supplies kill. Switch off, pull the mains plug, let the bleeder discharge the capacitors and "
    "prove it with a meter before a hand goes in; keep one hand away from the chassis when measuring live.",
    "Fit a bleeder, a fuse, an isolating transformer and covered terminals. No headphone lead may stand at "
    "plate potential: feed phones through a capacitor rated for the full supply, or from a transformer.",
    "Follow the electrical code where you live, and have a licensed person do what the law reserves for "
    "them.",
)
"""Shown wherever voltages, wiring or parts are printed."""

RADIATION = (
    "An oscillating detector on an aerial transmits: keep the control below onset except on a licensed "
    "frequency, and couple the aerial loosely.",
)
"""Shown wherever oscillation on an aerial is spoken of."""

NO_WARRANTY = ("Figures come from a model of average new tubes; measure the real set before trusting them.",)

ALL = PLATE_SUPPLY + RADIATION + NO_WARRANTY
