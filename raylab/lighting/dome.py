"""`Dome`: the light around the stone, as radiance against direction.

Directions are seen from the stone, in the dome's frame: +z is where the observer looks down from, elevation runs from
-90 to 90 degrees, azimuth counter-clockwise from +x seen from above. The dome stands still when the stone is tilted. A
direction's radiance is decided in this order, later parts covering earlier ones: the sky, the zones in the order given,
the lamps. Two more parts are not tied to the sky's frame:

* the **head** is a dark cone about +z, the observer's own silhouette; it covers everything;
* the **tray** holds the stone: it moves with the stone and fills the space below its girdle plane.

An image is read bilinearly in one direction, or, for a ray that stands for a cone of directions (a pixel's under a perspective
view), as its exact mean over a patch of the cone's solid angle: see `sky_image.running_integral` and `sky_image.patch_mean`.

Radiance is in units of the brightest part unless the dome says ``absolute``.

A direction within MARGIN of an edge is *on* the edge: only rounding would put it to one side or the other. One rule holds
everywhere: on the edge of a zone, a lamp or the head is inside it, and in the girdle plane is above it. `sky_radiance` says too
between which radiances the light lies whatever rounding does.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal, NamedTuple

import numpy as np

from ..displays import shown_by
from ..errors import InputError
from ..jit import njit
from ..units import direction, number_in
from .sky_image import patch_mean, running_integral

EVEN, OVERCAST, IMAGE = 0, 1, 2
MARGIN = 1e-10
"""Directions nearer to an edge than this are on it: in the cosine of a lamp or of the head, in the sine of an elevation, and in
the distance on the unit sphere from an azimuth. Rounding moves a direction by some 1e-15 at each reflection."""
_SAME = 1e-14
"""Two edges nearer than this, as sines of elevations or as azimuths in radians, are one: only rounding tells them apart."""
_SKIES = {"even": EVEN, "overcast": OVERCAST, "image": IMAGE}


@dataclass(frozen=True)
class Zone:
    """A patch of sky between two elevations and two azimuths, degrees; azimuths may wrap through 360.

    Attributes: `elevation_deg` (low, high), `azimuth_deg` (from, to) counter-clockwise, `radiance`.
    """

    elevation_deg: tuple[float, float]
    azimuth_deg: tuple[float, float] = (0.0, 360.0)
    radiance: float = 1.0

    def __post_init__(self) -> None:
        low, high = (number_in("elevation_deg", end, -90.0, 90.0, "degrees") for end in self.elevation_deg)
        if not low < high:
            raise InputError("empty zone", key="elevation_deg", value=self.elevation_deg, expected="the low end first")
        for end in self.azimuth_deg:
            number_in("azimuth_deg", end, -360.0, 720.0, "degrees")
        if not 0.0 < self.azimuth_deg[1] - self.azimuth_deg[0] <= 360.0:
            raise InputError(
                "empty zone, or a zone that overlaps itself",
                key="azimuth_deg",
                value=self.azimuth_deg,
                expected="start before end, at most 360 degrees apart (350 to 370 crosses +x)",
            )
        number_in("radiance", self.radiance, 0.0, math.inf)


@dataclass(frozen=True)
class Lamp:
    """A round lamp: the centre's elevation and azimuth and the angular radius, degrees, and the radiance."""

    elevation_deg: float
    azimuth_deg: float = 0.0
    radius_deg: float = 1.0
    radiance: float = 1.0

    def __post_init__(self) -> None:
        number_in("elevation_deg", self.elevation_deg, -90.0, 90.0, "degrees")
        number_in("azimuth_deg", self.azimuth_deg, -360.0, 720.0, "degrees")
        number_in("radius_deg", self.radius_deg, 0.0, 90.0, "degrees", open_ends=True)
        number_in("radiance", self.radiance, 0.0, math.inf)


class DomeTable(NamedTuple):
    """A dome as flat arrays for kernels.

    `sky` (kind), `level` (sky radiance), `zones` (Z, 5): sin of the low and high elevation, azimuth from in [0, 2 pi) and
    span in radians, radiance; `lamps` (L, 5): unit direction, cosine of the radius, radiance; `image` (H, W);
    `integral` (H + 1, W + 1) its running integral; `head_cos` (cosine of the head's half-angle, 2 if there is none); `tray`
    (radiance).
    """

    sky: int
    level: float
    zones: np.ndarray
    lamps: np.ndarray
    image: np.ndarray
    integral: np.ndarray
    head_cos: float
    tray: float


@dataclass(frozen=True, eq=False)
class Dome:
    """Radiance against direction.

    Attributes
    ----------
    sky : ``"even"``, ``"overcast"`` (CIE standard overcast sky: (1 + 2 sin elevation)/3 of the zenith's radiance, the
        horizon's value below the horizon; CIE S 011:2003) or ``"image"``.
    sky_radiance : radiance of the even sky, of the overcast zenith, or the factor on the image; 0 is a dark sky.
    zones, lamps : patches laid over the sky in this order.
    head_half_angle_deg : half-angle of the head cone about +z; 0 is no head.
    tray_radiance : radiance of all directions below the girdle plane.
    image : (H, W) equirectangular map; row 0 at the zenith, azimuth 180 at the left edge, 0 in the middle, -180 at the
        right edge, as seen from inside; bilinear between pixel centres.
    absolute : keep the given radiances instead of dividing by the brightest one.
    """

    name: str = "dome"
    sky: Literal["even", "overcast", "image"] = "even"
    sky_radiance: float = 1.0
    zones: tuple[Zone, ...] = ()
    lamps: tuple[Lamp, ...] = ()
    head_half_angle_deg: float = 0.0
    tray_radiance: float = 0.0
    image: np.ndarray | None = field(default=None, repr=False)
    absolute: bool = False
    description: str = ""

    _repr_html_ = shown_by("dome_card")

    def __post_init__(self) -> None:
        if self.sky not in _SKIES:
            raise InputError("unknown sky", key="sky", value=self.sky, expected="one of " + ", ".join(_SKIES))
        number_in("sky_radiance", self.sky_radiance, 0.0, math.inf)
        number_in("tray_radiance", self.tray_radiance, 0.0, math.inf)
        number_in("head_half_angle_deg", self.head_half_angle_deg, 0.0, 90.0, "degrees")
        if (self.image is None) != (self.sky != "image"):
            raise InputError("needs sky = 'image' together with an image", key="sky", value=self.sky)
        if self.image is not None:
            image = np.asarray(self.image, dtype=float)
            if image.ndim != 2 or min(image.shape) < 2 or not np.all(np.isfinite(image)) or image.min() < 0.0:
                raise InputError(
                    "invalid sky image", key="image", value=image.shape, expected="(H, W) finite radiances of at least 0"
                )
        if not self.brightest > 0.0:
            raise InputError("the dome has no light", key="dome", value=self.name, expected="at least one source of light")

    @cached_property
    def brightest(self) -> float:
        """The largest radiance given, in the units given."""
        sky = self.sky_radiance * (1.0 if self.image is None else float(np.max(self.image)))
        return max([sky, self.tray_radiance, *(z.radiance for z in self.zones), *(lamp.radiance for lamp in self.lamps)])

    @property
    def peak_radiance(self) -> float:
        """The brightest radiance, the unit of `brightness`: 1 unless the dome is absolute."""
        return self.brightest if self.absolute else 1.0

    @cached_property
    def table(self) -> DomeTable:
        """The dome as flat arrays, radiances in final units."""
        unit = 1.0 if self.absolute else 1.0 / self.brightest
        zones = np.zeros((len(self.zones), 5))
        for row, zone in zip(zones, self.zones, strict=True):
            low, high = (math.sin(math.radians(end)) for end in zone.elevation_deg)
            start, span = math.radians(zone.azimuth_deg[0] % 360.0), math.radians(zone.azimuth_deg[1] - zone.azimuth_deg[0])
            row[:] = (low, high, start, span, zone.radiance * unit)
        lamps = np.zeros((len(self.lamps), 5))
        for row, lamp in zip(lamps, self.lamps, strict=True):
            row[:3] = direction(lamp.elevation_deg, lamp.azimuth_deg)
            row[3:] = (math.cos(math.radians(lamp.radius_deg)), lamp.radiance * unit)
        image = np.zeros((2, 2)) if self.image is None else np.asarray(self.image, dtype=float) * self.sky_radiance * unit
        head = math.cos(math.radians(self.head_half_angle_deg)) if self.head_half_angle_deg > 0.0 else 2.0
        level, tray, integral = self.sky_radiance * unit, self.tray_radiance * unit, running_integral(image)
        return DomeTable(_SKIES[self.sky], level, zones, lamps, image, integral, head, tray)

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hexadecimal) of the light: equal for domes with equal light, independent of their names."""
        found = hashlib.sha256(repr(float(self.peak_radiance)).encode())
        for array in self.table:
            numbers = np.asarray(array, dtype="<f8") + 0.0  # no difference between 0 and -0
            found.update(repr(numbers.shape).encode() + numbers.tobytes())
        return found.hexdigest()

    def radiance(self, directions: Any) -> np.ndarray:
        """Radiance of sky, zones and lamps towards unit directions (..., 3) in the dome's frame; shape (...).

        Head and tray are not applied: they depend on where a ray leaves the stone.
        """
        unit = np.asarray(directions, dtype=float)
        out = np.empty(unit.reshape(-1, 3).shape[0])
        _radiance_over(np.ascontiguousarray(unit.reshape(-1, 3)), self.table, out)
        return out.reshape(unit.shape[:-1])


@njit(in_place=True)
def sky_radiance(x, y, z, dome, cone):
    """Radiance of sky, zones and lamps towards the unit direction (x, y, z), with the edges inside, and its bounds.

    Parameters
    ----------
    dome : a `DomeTable`. cone : solid angle, sr, over which an image is averaged where it is wider than a pixel of it; else 0.

    Returns
    -------
    found : the radiance. low, high : the smallest and the largest radiance that any booking of the edges within MARGIN gives.
    """
    found = dome.level
    if dome.sky == 1:
        found = dome.level * (1.0 + 2.0 * max(z, 0.0)) / 3.0
    elif dome.sky == 2:
        narrow = cone <= (math.pi / dome.image.shape[0]) ** 2
        # as a number of the precision asked for: a place in the table of sums needs more of it
        found = float(_image_radiance(x, y, z, dome.image)) if narrow else float(patch_mean(x, y, z, cone, dome.integral))
    sky, on_an_edge = found, False
    for k in range(dome.zones.shape[0]):
        # How far inside the zone, below 0: outside. The zenith and the nadir are no edges.
        above = z - dome.zones[k, 0] if dome.zones[k, 0] > -1.0 else 2.0
        below = dome.zones[k, 1] - z if dome.zones[k, 1] < 1.0 else 2.0
        inside = min(above, below)
        if inside >= -MARGIN and dome.zones[k, 3] < 2.0 * math.pi:
            past, aside = (math.atan2(y, x) - dome.zones[k, 2]) % (2.0 * math.pi), math.sqrt(x * x + y * y)
            within = past <= dome.zones[k, 3]
            edge = min(past, dome.zones[k, 3] - past) if within else min(past - dome.zones[k, 3], 2.0 * math.pi - past)
            inside = min(inside, aside * edge if within else -aside * edge)
        if inside >= -MARGIN:
            found = dome.zones[k, 4]
            on_an_edge = on_an_edge or inside <= MARGIN
    low = high = found
    if on_an_edge:
        low, high = _bounds_beside_edges(x, y, z, dome.zones, sky)
    for k in range(dome.lamps.shape[0]):
        inside = x * dome.lamps[k, 0] + y * dome.lamps[k, 1] + z * dome.lamps[k, 2] - dome.lamps[k, 3]
        if inside >= -MARGIN:
            found = dome.lamps[k, 4]
            sure = inside > MARGIN
            low, high = found if sure else min(low, found), found if sure else max(high, found)
    return found, low, high


@njit()
def _bounds_beside_edges(x, y, z, zones, sky):
    """The smallest and the largest radiance around the unit direction (x, y, z), which lies on edges of zones.

    All directions around it are looked at: above and below each edge in elevation within MARGIN, and to both sides of each one
    in azimuth. So two zones that share an edge leave no gap between them. `sky` is the radiance where no zone is.
    """
    azimuth, aside, low, high = math.atan2(y, x), math.sqrt(x * x + y * y), math.inf, -math.inf
    edges = 2 * zones.shape[0]
    for level in range(-1, edges):  # -1: the direction itself. No lists, which a graphics processor has not.
        height = z if level < 0 else zones[level // 2, level % 2]
        if abs(z - height) > MARGIN or (level >= 0 and abs(height) >= 1.0):  # the zenith and the nadir are no edges
            continue
        for aside_of in range(-1, edges):
            turn = azimuth
            if aside_of >= 0:
                zone = zones[aside_of // 2]
                turn = zone[2] + float(aside_of % 2) * zone[3]
                apart = (azimuth - turn + math.pi) % (2.0 * math.pi) - math.pi
                if aside * abs(apart) > MARGIN or zone[3] >= 2.0 * math.pi:
                    continue
            for side in range(4):
                found = sky
                for k in range(zones.shape[0]):
                    if _holds(zones[k], height, side % 2 == 1, turn, side >= 2):
                        found = zones[k, 4]
                low, high = min(low, found), max(high, found)
    return low, high


@njit(in_place=True)
def _holds(zone, height, above, turn, after):
    """Whether a zone (5,) holds the direction just above or below a height, the sine of an elevation, and just after or before
    a turn, an azimuth."""
    over = height - zone[0] if zone[0] > -1.0 else 2.0
    under = zone[1] - height if zone[1] < 1.0 else 2.0
    past = (turn - zone[2]) % (2.0 * math.pi)
    if min(past, 2.0 * math.pi - past) <= _SAME:
        within = after
    elif abs(past - zone[3]) <= _SAME:
        within = not after
    else:
        within = past < zone[3]
    held = (over > _SAME or (over >= -_SAME and above)) and (under > _SAME or (under >= -_SAME and not above))
    return held and (within or zone[3] >= 2.0 * math.pi)


@njit(in_place=True)
def _image_radiance(x, y, z, image):
    """Bilinear look-up in an equirectangular map (H, W), wrapped in azimuth, held at the poles."""
    rows, columns = image.shape
    row = math.acos(min(1.0, max(-1.0, z))) / math.pi * rows - 0.5
    column = (0.5 - math.atan2(y, x) / (2.0 * math.pi)) * columns - 0.5
    above, left = math.floor(row), math.floor(column)
    down, right = row - above, column - left
    r0, r1 = min(max(int(above), 0), rows - 1), min(max(int(above) + 1, 0), rows - 1)
    c0, c1 = int(left) % columns, (int(left) + 1) % columns
    upper = image[r0, c0] * (1.0 - right) + image[r0, c1] * right
    lower = image[r1, c0] * (1.0 - right) + image[r1, c1] * right
    return upper * (1.0 - down) + lower * down


@njit(in_place=True)
def _radiance_over(directions, dome, out):
    """Fill out (K,) with the radiance towards unit directions (K, 3)."""
    for k in range(directions.shape[0]):
        out[k], _, _ = sky_radiance(directions[k, 0], directions[k, 1], directions[k, 2], dome, 0.0)
