"""Stones beside each other: what their measurements can tell apart."""
