"""The command line, a file a verb; `main` is the program."""

from receiver_sim.cli.program import main

__all__ = ["main"]
