"""The live page: served on this machine alone, values changed, answers as they come in."""
