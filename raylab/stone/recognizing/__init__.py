"""What a stone's planes say of its cut and its tiers; see `raylab.stone.recognition`."""
