"""A virtual test bench for two-valve regenerative receivers (see README.md).

    import receiver_sim as rs

    with rs.Receiver(rs.shipped("demo")) as receiver:
        print(receiver.loop(bands=["40 m"]))

Names are fetched when they are first asked for: importing the package brings neither the simulator nor a
plotting library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from receiver_sim.errors import ReceiverSimError
    from receiver_sim.front import Receiver, load, shipped

__all__ = ["Receiver", "ReceiverSimError", "__version__", "load", "shipped"]

_HOMES = {
    "Receiver": "receiver_sim.front",
    "load": "receiver_sim.front",
    "shipped": "receiver_sim.front",
    "ReceiverSimError": "receiver_sim.errors",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'receiver_sim' has no attribute '{name}'")
    import importlib  # noqa: PLC0415 - inside, for start-up's sake

    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
