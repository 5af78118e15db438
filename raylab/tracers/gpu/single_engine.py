"""The engine `gpu-single`, see `engine`."""

import numpy as np

from .engine import GpuEngine

ENGINE = GpuEngine(
    "gpu-single",
    description="like gpu in single precision: faster; numbers differ by some 1e-5",
    real=np.float32,
)
