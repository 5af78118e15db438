"""Reconstruction of facet planes from a scanned mesh; `scan` is the entry point."""
