"""Scenes: stone, dome, view and settings in one record, and their files."""
