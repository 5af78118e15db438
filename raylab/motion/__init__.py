"""The stone in motion: its light against tilt and turn, and what flashes on the way."""
