"""Values that keep a deck free of zero-ohm resistors, zero inductances and floating nodes."""

CONTACT_OHM = 0.1
"""Resistance of a wiper or of a link at the end of its travel; keeps a deck free of zero-ohm resistors."""

OPEN_OHM = 1e12
"""Stands for no connection."""

SOCKET_OHM = 1e9
"""Insulation of a socket with nothing plugged in."""

SHORT_HENRY = 1e-9
"""Stands for an inductance of zero; at 100 kHz it is below a milliohm."""

RSHUNT_OPTION = "rshunt=1e12"
"""A tera-ohm from every node to ground for runs over time: 0.2 nA at 200 V, nothing beside a grid leak.

Without it the second step of one run in ten failed with 'timestep too small' (12 of 120 runs of 0.1 s over
four builds, whatever the tolerances); with it none of 180 did.
"""

NEWTON_OPTION = "itl1=100"
"""Iterations after which ngspice leaves plain Newton and steps conductances.

An operating point takes 10 to 25. Where it takes more than 100 it mostly never comes: a screen fed through
half a megohm has Newton's method swing between two iterates (an audio tube's screen at 68 and 140 V by
turns), and the steps that follow cost but 60.
"""
