"""The views of a receiver's circuit, each a transformation of the same elements."""
