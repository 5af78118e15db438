"""Two numbers of each stone that the comparison doesn't hold: fire and scintillation.

Neither has an uncertainty of measurement, so there are no verdicts on them.

* **Fire**: mean angle between the Fraunhofer lines F and C as they leave the face-up stone along its strongest paths, see
  `color.fire`. It is that of the planes as given; an error of tracing is not known.
* **Scintillation**: share of the face that changes between bright and dark for each degree, as the stone leans by `LEAN_DEG`
  under the light of the comparison; see `motion.scintillation`. Its error is an estimate that comes from the grid of points.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..color.fire import fire_map
from ..comparison.comparison import Comparison
from ..motion.scintillation import scintillation
from ..progress import Progress, silent
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..threads import in_order

LEAN_DEG = 15
"""The stone leans from 0 to this angle, in steps of 1 degree."""
POINTS = 160
"""Points along each side of the grid on which flashes are counted."""
PRECISION = 2e-2
"""Of the traces: at most this share of the light stays untraced."""


@dataclass(frozen=True)
class Liveliness:
    """The numbers of one stone.

    Attributes: `fire_deg`; `flash_per_deg`, a share of the face; `flash_error`, the estimate of its error.
    """

    fire_deg: float
    flash_per_deg: float
    flash_error: float


def liveliness(comparison: Comparison, progress: Progress = silent) -> tuple[Liveliness, ...]:
    """The numbers of each stone of a comparison, as laid for it. `progress`: stones done, and their number."""
    settings, azimuth = replace(comparison.settings, precision=PRECISION), comparison.views[0].tilt_azimuth_deg

    def of(stone: Stone) -> Liveliness:
        fire = fire_map(Scene(stone, comparison.dome, View(), settings, resolution=16))
        seen = scintillation(stone, comparison.dome, range(LEAN_DEG + 1), azimuth, resolution=POINTS, settings=settings)
        error = float(seen.share_error @ seen.angle_deg / seen.angle_deg.sum())
        return Liveliness(fire.mean_deg, seen.mean_share_per_deg, error)

    found = []
    for one in in_order(of, comparison.shown):
        found.append(one)
        progress(len(found), len(comparison.shown))
    return tuple(found)
