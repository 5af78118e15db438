"""Notebooks: what they show of stones, domes, scenes and results, and the explorer."""
