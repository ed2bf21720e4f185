"""Plots, tables and files made from results only."""
