"""How a scanned mesh becomes facet planes: read, checked, grouped into patches, fitted. `scan` is the door."""
