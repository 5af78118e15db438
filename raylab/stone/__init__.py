"""The stone: facet planes, everything that follows from them, and the ways to make and measure one."""
