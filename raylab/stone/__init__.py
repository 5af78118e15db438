"""The stone: facet planes, derived quantities, sources and measurements."""
