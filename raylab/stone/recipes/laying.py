"""From a recipe to planes: each facet from its azimuth, its slope and the points it passes through.

A plane has three freedoms. An azimuth, a slope and one point settle it; so do an azimuth and two points, whose slope follows;
and three points. A mate stands for a point, and a distance does instead of one.
"""

from __future__ import annotations

import math

import numpy as np

from ...errors import InputError, StoneError
from ...units import number_in
from ..finish import get_finish
from ..known_cuts import tiers_by_name
from ..planes import normal_of_deg, planes_through
from ..symmetry_group import SymmetryGroup
from ..tier import GIRDLE
from .girdle import LEVEL, Girdle
from .laid import NUMBERED, Body, Laid
from .points import mate_of, placed
from .recipe import GIRDLE_EDGE, RecipeTier

ENOUGH = "an azimuth, a slope and one point, mate or distance; an azimuth and two points; or three points"
MOST_FACETS = 1000
_SAME = 1e-9


class Layout:
    """A stone in the making: its girdle, its symmetry, and the facets laid so far."""

    def __init__(self, girdle: Girdle, symmetry: SymmetryGroup) -> None:
        self.girdle, self.symmetry, self.body = girdle, symmetry, Body()
        self.entries = 0

    def lay(self, tier: RecipeTier) -> list[Laid]:
        """Lay the facets of an entry; the one stated first comes first.

        Raises InputError, with tier and azimuth, where the entry states no plane, one that contradicts itself, or one that is
        laid already.
        """
        _check_names(tier)
        stated = tier.azimuth_deg
        if tier.one_per is not None and stated is not None:
            raise InputError("one_per and azimuth_deg are alternatives; give only one", key="one_per", value=tier.one_per)
        if tier.one_per is not None:
            azimuths: tuple[float | None, ...] = self.girdle.azimuths(tier.one_per)
        else:
            azimuths = stated if isinstance(stated, tuple) else (stated,)
        repeated = tier.one_per is None and not isinstance(stated, tuple)
        found: list[Laid] = []
        for azimuth in azimuths:
            facet = self._facet(tier, azimuth)
            for image in self._images(facet) if repeated else [facet]:
                if len(self.body.facets) + len(found) == MOST_FACETS:
                    raise _at(tier, image.azimuth_deg, InputError(f"more than {MOST_FACETS} facets", expected="fewer"))
                twin = self._twin(image, found)
                if twin is None:
                    found.append(image)
                elif not repeated or all(twin is not one for one in found):
                    error = StoneError(f"lies in the plane of a {twin.tier}", expected="a plane of its own")
                    raise _at(tier, image.azimuth_deg, error)
        self.body.add(found)
        self.entries += 1
        return found

    def _twin(self, facet: Laid, beside: list[Laid]) -> Laid | None:
        """The facet, laid before or beside, whose plane a facet has; None where its plane is its own."""
        others = [*self.body.facets, *beside]
        if not others:
            return None
        normals, distances = np.array([one.normal for one in others]), np.array([one.distance for one in others])
        level = LEVEL * self.girdle.outline.width
        same = (np.abs(normals - facet.normal).max(axis=1) < _SAME) & (np.abs(distances - facet.distance) < level)
        return others[int(same.argmax())] if same.any() else None

    def _facet(self, tier: RecipeTier, azimuth_deg: float | None) -> Laid:
        """One facet of an entry."""
        if azimuth_deg is not None:
            number_in("azimuth_deg", azimuth_deg, -360.0, 360.0, "degrees")
        elif tier.slope_deg == 0.0:
            azimuth_deg = 0.0  # a level facet faces nowhere
        try:
            met, mate, on_line = self._mate(tier, azimuth_deg)
            aimed: list[np.ndarray] = []
            for point in tier.through:
                place = placed(point, self.body, self.girdle, tier.faces, azimuth_deg)
                (met if point.axis_mm is None else aimed).append(place)
            normal, distance = _plane(tier, azimuth_deg, [*met, *on_line, *aimed])
        except InputError as error:
            raise _at(tier, azimuth_deg, error) from error
        return Laid(self.entries, tier.name, tier.finish, normal, distance, np.array(met).reshape(-1, 3), mate)

    def _mate(self, tier: RecipeTier, azimuth_deg: float | None) -> tuple[list[np.ndarray], Laid | None, list[np.ndarray]]:
        """What a facet is laid to: its foot on the girdle; or its mate, and a point of the line where it takes over from it."""
        if tier.meets is None:
            if tier.height_mm is not None:
                raise InputError("belongs to a mate", key="height_mm", value=tier.height_mm, expected="meets beside it")
            return [], None, []
        if azimuth_deg is None:
            raise InputError("missing", key="azimuth_deg", expected=f"an azimuth beside meets = {tier.meets!r}")
        if tier.meets != GIRDLE_EDGE:
            mate, point = mate_of(tier.meets, tier.height_mm, self.body, azimuth_deg)
            return [], mate, [point]
        if tier.height_mm is not None:
            raise InputError("the girdle has its height", key="height_mm", value=tier.height_mm, expected="no height")
        return [np.array([*self.girdle.foot(azimuth_deg), tier.faces * self.girdle.rim_mm])], None, []

    def _images(self, facet: Laid) -> list[Laid]:
        """A facet under the rotations and mirrors of the stone, counter-clockwise from itself."""
        images = []
        for matrix in self.symmetry.matrices():
            turn = np.eye(3)
            turn[:2, :2] = matrix
            images.append(facet._replace(normal=turn @ facet.normal, points=facet.points @ turn.T))
        images[0] = facet
        if facet.mate is not None:  # each image has the image of the mate
            images = [facet] + [self._with_mate(image, facet.mate.tier) for image in images[1:]]
        first = facet.azimuth_deg
        return sorted(images, key=lambda one: (one.azimuth_deg - first + _SAME) % 360.0)

    def _with_mate(self, image: Laid, tier: str) -> Laid:
        return image._replace(mate=self.body.named((tier,), image.azimuth_deg)[0])


def _check_names(tier: RecipeTier) -> None:
    if tier.name == GIRDLE.name or NUMBERED.fullmatch(tier.name) or tier.name != tier.name.strip() or not tier.name:
        raise InputError("not a tier's name", key="name", value=tier.name, expected="a name without a number; not 'girdle'")
    if not tier.name.isprintable():
        raise InputError("not a tier's name", key="name", value=tier.name, expected="letters on one line")
    known = tiers_by_name().get(tier.name)
    if known is not None and known.side != tier.side:
        raise InputError(f"a {tier.name} on the {tier.side}", key="side", value=tier.side, expected=repr(known.side))
    get_finish(tier.finish, "finish")
    if len(tier.through) > 3:
        raise InputError(f"{tier.name}: too many points", key="through", value=len(tier.through), expected="up to three")


def _plane(tier: RecipeTier, azimuth_deg: float | None, points: list[np.ndarray]) -> tuple[np.ndarray, float]:
    """The plane that an entry states: unit normal (3,) and distance, mm."""
    slope, distance = tier.slope_deg, tier.distance_mm
    count = (azimuth_deg is not None) + (slope is not None) + (distance is not None) + len(points)
    if count != 3 or (distance is not None and (azimuth_deg is None or slope is None)):
        parts = {"an azimuth": azimuth_deg is not None, "a slope": slope is not None, "a distance": distance is not None}
        stated = [word for word, given in parts.items() if given] + [f"{len(points)} point{'s' * (len(points) != 1)}"]
        raise InputError(f"states too {'little' if count < 3 else 'much'}: {' and '.join(stated)}", expected=ENOUGH)
    if azimuth_deg is None:
        return _through_three(tier, points)
    if slope is None:
        slope = _slope_through(tier, azimuth_deg, *points)
    normal = normal_of_deg(number_in("slope_deg", slope, 0.0, 90.0, "degrees"), azimuth_deg, tier.faces)
    if distance is not None:
        return normal, number_in("distance_mm", distance, -1e4, 1e4, "mm")
    return normal, float(normal @ points[0])


def _slope_through(tier: RecipeTier, azimuth_deg: float, one: np.ndarray, other: np.ndarray) -> float:
    """The slope, degrees, of the plane that faces an azimuth and holds two points."""
    azimuth = math.radians(azimuth_deg)
    run = float((other - one)[:2] @ [math.cos(azimuth), math.sin(azimuth)])
    fall = -tier.faces * float((other - one)[2])
    if run < 0.0:
        run, fall = -run, -fall
    if math.hypot(run, fall) < LEVEL * float(np.abs([one, other]).max()):
        raise StoneError("its two points lie beside each other along the azimuth", expected="points farther apart")
    if fall < 0.0:
        raise StoneError("its two points make it rise outward", expected="the outer point nearer to the girdle")
    return math.degrees(math.atan2(fall, run))


def _through_three(tier: RecipeTier, points: list[np.ndarray]) -> tuple[np.ndarray, float]:
    corners = np.array(points)
    across = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    if np.linalg.norm(across) < LEVEL * float(np.abs(corners).max()) ** 2:
        raise StoneError("its three points lie on one line", expected="points that span a plane")
    (normal,), (distance,) = planes_through(corners[None])
    if normal[2] * tier.faces < 0.0:
        raise StoneError("its three points make it face the other side", expected=f"points of a {tier.side} facet")
    return normal, float(distance)


def _at(tier: RecipeTier, azimuth_deg: float | None, error: InputError) -> InputError:
    """An error that says which facet it is about."""
    where = "" if azimuth_deg is None or tier.slope_deg == 0.0 else f" at azimuth {azimuth_deg:.6g}"
    return error.but(problem=f"{tier.name}{where}: {error.problem}")
