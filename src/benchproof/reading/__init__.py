"""Measured values: what the meter said, how well it knows, and the files they come in."""
