"""`Scene`: one stone, one dome, one view and the settings; everything that affects a result in one record."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass, field, replace
from typing import Any

from ..displays import shown_by
from ..errors import InputError
from ..lighting.dome import Dome
from ..lighting.dome_file import dome_of
from ..stone.stone import Stone
from ..units import whole_in
from .pixel_grid import MAX_RESOLUTION
from .settings import TraceSettings
from .view import View, silhouette


@dataclass(frozen=True, eq=False)
class Scene:
    """A stone, a dome, a view and the settings of the trace. The constructor checks them.

    Attributes
    ----------
    stone, dome, view : the stone, its light (a dome, or the name or file of one), and the direction of view.
    settings : settings of the trace.
    resolution : pixels along each side of the maps, 1 to 16384.
    name, title : a short name and a line for headings; they do not affect the result.

    Raises
    ------
    InputError : a wrong type, a wavelength outside the data of the material, an eye inside the stone.
    """

    stone: Stone
    dome: Dome
    view: View = field(default_factory=View)
    settings: TraceSettings = field(default_factory=TraceSettings)
    resolution: int = 512
    name: str = "scene"
    title: str = ""

    _repr_html_ = shown_by("scene_card")

    def __post_init__(self) -> None:
        object.__setattr__(self, "dome", dome_of(self.dome))
        parts = {"stone": Stone, "view": View, "settings": TraceSettings, "name": str, "title": str}
        for key, kind in parts.items():
            if not isinstance(getattr(self, key), kind):
                raise InputError("wrong type", key=key, value=getattr(self, key), expected=f"a {kind.__name__}")
        object.__setattr__(self, "resolution", whole_in("resolution", self.resolution, 1, MAX_RESOLUTION))
        for wavelength_nm in self.settings.all_nm:
            try:
                self.stone.material.n(wavelength_nm)
                self.stone.material.absorption_per_mm(wavelength_nm)
            except InputError as error:  # the material knows only the one wavelength; the scene knows the setting's name
                raise error.but(key="wavelengths_nm", value=wavelength_nm) from error
        if not self.view.parallel:
            silhouette(self.stone, self.view)  # refuses an eye inside the stone

    def with_settings(self, **changes: Any) -> Scene:
        """The same scene with some of its settings changed, by the names of `TraceSettings`."""
        return replace(self, settings=replace(self.settings, **changes))

    def hash(self) -> str:
        """SHA-256 (hexadecimal) of everything that affects the result; names and files do not."""
        stone, view, dome, settings = self.stone, self.view, self.dome, self.settings
        digest = hashlib.sha256(b"raylab scene 2\n")
        facts = {
            "facets": stone.facts(),
            "material": stone.material.digest(settings.all_nm),
            "view": [None if part is None else float(part) for part in dataclasses.astuple(view)],
            "dome": dome.digest,
            "settings": [
                [self.resolution, settings.samples, settings.max_bounces, settings.seed],
                [
                    settings.engine,
                    settings.polarized,
                    settings.min_weight,
                    settings.precision,
                    settings.standard_error,
                    list(settings.precision_of),
                    isinstance(settings.wavelengths_nm, tuple),
                ],
            ],
        }
        digest.update(json.dumps(facts, sort_keys=True).encode())
        digest.update(stone.plane_bytes())
        return digest.hexdigest()
