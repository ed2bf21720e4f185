"""Frozen results with their units, hashes, status and JSON."""
