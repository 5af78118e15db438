"""A stone in motion: statistics against tilt and turn, and scintillation."""
