"""What a scene allows at all: the most that a unit of its light may add to a channel of the ledger.

Brackets follow from it: light that was not followed to its end may yet become part of an entry, but only of one that the scene
can have. A stone without body colour and inclusions absorbs nothing, and one whose facets are all polished scatters nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ...lighting.dome import Dome
from ...optics.materials import Material
from ...scene.scene import Scene
from ...stone.finish import Finish
from ...stone.inclusions.inclusion import Inclusion
from ...tracers.ledger import ABSORBED
from ...tracers.randomizations import could_meet

Limits = Mapping[int, float]
"""Channel -> the most that a unit of light may add to it: 1 for an entry of the ledger, the dome's brightest radiance for
LUMINANCE. An entry that a scene can't have is not in it."""


def limits_of(scene: Scene, wavelength_nm: float) -> Limits:
    """The limits of a scene at a wavelength, nm."""
    stone = scene.stone
    return limits_under(scene.dome, stone.material, wavelength_nm, stone.finishes, stone.inclusions)


def limits_under(
    dome: Dome, material: Material, wavelength_nm: float, finishes: Iterable[Finish], inclusions: Iterable[Inclusion] = ()
) -> Limits:
    """The limits of all stones of a material under a dome, of which no facet has another one of the `finishes`."""
    could = could_meet(dome, finishes, inclusions)
    return {**could, ABSORBED: 1.0} if material.absorption_per_mm(wavelength_nm) > 0.0 else could
