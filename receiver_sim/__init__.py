"""A virtual test bench for two-valve regenerative receivers (see README.md)."""

__version__ = "0.1.0"
