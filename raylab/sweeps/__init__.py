"""Many designs: axes, workers, and a store that survives interruption."""
