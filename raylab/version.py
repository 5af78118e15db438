"""The version number, which files and reports state."""

__version__ = "0.1.0"
