"""Stones traced live: one HTML file in which a browser's own graphics processor traces each pixel."""
