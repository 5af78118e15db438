"""Light around a stone: domes and pictures of the sky."""
