"""A virtual test bench for two-valve regenerative receivers (see README.md)."""

from receiver_sim.errors import ReceiverSimError

__all__ = ["ReceiverSimError", "__version__"]

__version__ = "0.1.0"
