"""The sampled engine: one path per view ray."""
