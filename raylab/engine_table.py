"""The table of engines: one row each, in the order of preference.

A row names the module that holds the engine as ``ENGINE`` (see `tracers.engine.Engine`); the module is imported when the engine
is first used. The table stands at the bottom, with no import of its own, so that settings can refuse a name that is not in it.
"""

ENGINES: dict[str, str] = {
    "beams": "raylab.tracers.exact.engine",
    "rays": "raylab.tracers.sampled.engine",
    "gpu": "raylab.tracers.gpu.engine",
    "gpu-single": "raylab.tracers.gpu.single_engine",
}
"""Name of the engine -> its module."""
