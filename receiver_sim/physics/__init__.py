"""Formulas only: SI floats or arrays in, SI floats or arrays out."""
