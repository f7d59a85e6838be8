"""Calibrations: what is kept of them, which are in force, and what they say of a soak's figures."""
