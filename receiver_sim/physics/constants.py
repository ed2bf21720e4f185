"""Constants of nature, as the 2022 adjustment recommends them (CODATA; physics.nist.gov/constants).

Written out, for scipy.constants takes a quarter of a second to load; a test holds them against it.
"""

LIGHT_SPEED = 299792458.0
"""Speed of light in vacuum, m/s (exact)."""

MU_0 = 1.25663706127e-06
"""Magnetic constant, H/m."""

EPSILON_0 = 8.8541878188e-12
"""Electric constant, F/m."""
