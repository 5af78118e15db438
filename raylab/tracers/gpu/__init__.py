"""The engine on a graphics processor: one thread a ray."""
