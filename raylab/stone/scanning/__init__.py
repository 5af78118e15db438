"""How a scanned mesh becomes facet planes: read, checked, grouped into patches, fitted. `raylab.stone.scan` is the door."""
