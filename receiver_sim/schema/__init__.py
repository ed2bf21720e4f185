"""Build files and tube cards: parse, validate, defaults."""

from receiver_sim.schema.build import Band, Build
from receiver_sim.schema.faults import BuildFaults, Fault, FileFaults
from receiver_sim.schema.loading import (
    changed_build,
    load_build,
    load_build_text,
    shipped_tubes,
    write_starter,
)

__all__ = [
    "Band",
    "Build",
    "BuildFaults",
    "Fault",
    "FileFaults",
    "changed_build",
    "load_build",
    "load_build_text",
    "shipped_tubes",
    "write_starter",
]
