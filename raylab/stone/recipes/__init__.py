"""Stones as recipes: an outline, a girdle, and tiers in cutting order; read, laid as planes, and written."""
