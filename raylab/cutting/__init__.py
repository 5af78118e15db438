"""Cutting: last facets of a blocked stone, and repolished facets."""
