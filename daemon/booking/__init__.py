"""Booking in: what is kept of a unit before its soak, and the questions that physics and practice ask of it."""
