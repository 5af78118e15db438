"""Drawings, plots, pictures in colour and in 3D, and films."""
