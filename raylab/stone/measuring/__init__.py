"""Measurements on a stone: callipers, alignment, pattern, and the uncertainty of planes."""
