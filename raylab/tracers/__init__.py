"""Three tracers, one answer: `reference` (plain, slow, the oracle), `rays` (sampled) and `beams` (exact)."""
