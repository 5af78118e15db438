"""A design as numbers: its statistics, their derivatives, and the best within bounds."""
