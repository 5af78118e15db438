"""The engine `gpu-single`, see `engine`."""

from .engine import GpuEngine

ENGINE = GpuEngine(
    "gpu-single",
    description="like gpu in single precision: several times as fast, numbers differ by some 1e-5",
    single=True,
)
