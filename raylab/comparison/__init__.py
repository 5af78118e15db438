"""Comparison of stones: differences and their significance."""
