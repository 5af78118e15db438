"""Options that several commands share: subject, view and illuminant.

cyclopts flattens these classes: each field is an option of its own, such as ``--tilt-deg``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import CoercionError, Parameter, Token

from ..engine_table import ENGINES
from .console import faults_by_option, reading

if TYPE_CHECKING:
    from ..color.wavelength_choice import WavelengthChoice
    from ..optics.spectrum import WavelengthSet
    from ..scene.scene import Scene
    from ..stone.stone import Stone

    EngineName = str
else:
    EngineName = Literal[tuple(ENGINES)]  # so that --help lists them and another name is refused with the nearest


def _whole(_: object, tokens: Sequence[Token]) -> int:
    """A whole number; cyclopts would round 2.5."""
    try:
        return int(tokens[0].value)
    except ValueError:
        raise CoercionError(token=tokens[0], target_type=int) from None


Whole = Annotated[int, Parameter(converter=_whole)]
WholeIfAny = Annotated[int | None, Parameter(converter=_whole)]
Flag = Annotated[bool, Parameter(negative="")]
SceneFile = Annotated[
    Path,
    Parameter(
        help="Scene file (TOML), or a stone: a stone file (TOML), a facet table (.csv) or a scan (.stl, .obj, .ply, .glb,"
        " .3mf); or the name of a demo one (see `raylab scenes`). A stone alone is traced under the dome head-shadow unless"
        " --dome is given."
    ),
]
OutFolder = Annotated[Path, Parameter(help="Output folder; created if it does not exist.")]
Force = Annotated[bool, Parameter(negative="", help="Overwrite existing files in the output folder.")]
Engine = Annotated[
    EngineName | None,
    Parameter(help="Engine to use (see `raylab engines`). By default the first one that supports the scene."),
]
About = Literal["length", "width"]
Json = Annotated[bool, Parameter(negative="", help="Print the numbers as JSON instead of a table.")]


@Parameter(name="*")
@dataclass(frozen=True)
class Sight:
    """The view and the sampling; None keeps the value of the scene.

    Parameters
    ----------
    tilt_deg
        Tilt of the stone, degrees; overrides the scene. 180 shows it from below.
    tilt_azimuth_deg
        Azimuth towards which the table leans, degrees counter-clockwise from +x.
    about
        Instead of an azimuth: tilt the stone about its `length` or about its `width`.
    resolution
        Pixels along each side of a picture.
    samples
        View rays per pixel, a square number: more take longer and leave less noise (sampled engine).
    seed
        Seed of the random samples (sampled engine).
    """

    tilt_deg: float | None = None
    tilt_azimuth_deg: float | None = None
    about: About | None = None
    resolution: WholeIfAny = None
    samples: WholeIfAny = None
    seed: WholeIfAny = None


AS_THE_SCENE_SAYS = Sight()


@Parameter(name="*")
@dataclass(frozen=True)
class Subject:
    """The stone and its light; None keeps the value of the file.

    Parameters
    ----------
    unit
        Unit of length of a scan: mm, um, cm, m or in.
    material
        Material of a scanned stone. [default: diamond]
    tint
        Body colour: faint-yellowish or faint-brownish (both invented), or a CSV file with an absorption spectrum.
    edge_radius_um
        Round the edges by this radius, um; of a scan also `scanned`, the radius that its own edges show.
    dome
        Dome that replaces the one of the scene: a built-in name (see `raylab domes`) or a dome file (TOML).
    """

    unit: str | None = None
    material: str | None = None
    tint: str | None = None
    edge_radius_um: str | None = None
    dome: str | None = None

    def scene(self, path: Path, sight: Sight = AS_THE_SCENE_SAYS, **settings: Any) -> Scene:
        """The scene in a file, or a stone alone under the usual dome, with the given options; errors name the option."""
        from ..demo import own_or_demo
        from ..errors import UnsupportedScene
        from ..lighting.dome_file import load_dome
        from ..optics.absorption import load_tint
        from ..tracers.engines import engine_for

        path = own_or_demo(path)
        with faults_by_option("edge_radius_um", radius_um="edge_radius_um"):
            scene = self._read(path)
        given = {key: value for key, value in {**asdict(sight), **settings}.items() if value is not None}
        view = {key: given.pop(key) for key in ("tilt_deg", "tilt_azimuth_deg") if key in given}
        about = given.pop("about", None)
        size = {key: given.pop(key) for key in ("resolution",) if key in given}
        with faults_by_option("tint", "dome", *view, *size, *given):
            if self.tint is not None:
                tinted = scene.stone.material.tinted(load_tint(self.tint).pairs)
                scene = replace(scene, stone=replace(scene.stone, material=tinted))
            if self.dome is not None:
                scene = replace(scene, dome=load_dome(self.dome))
            if about is not None:
                view["tilt_azimuth_deg"] = azimuth_of(scene.stone, about, view.get("tilt_azimuth_deg"), scene.view.turn_deg)
            scene = replace(scene, view=replace(scene.view, **view), **size).with_settings(**given)
            try:
                engine_for(scene)
            except UnsupportedScene as error:  # of the option's engine, or of the file's
                raise (error if "engine" in given else error.within(file=str(path), section="output")) from error
            return scene

    def scenes(self, paths: Sequence[Path], sight: Sight = AS_THE_SCENE_SAYS) -> list[Scene]:
        """The scenes of several files, the first with `sight`. Raises InputError where there is none."""
        from ..errors import InputError

        if not paths:
            raise InputError("missing", key="SCENES", expected="at least one scene or stone")
        return [self.scene(path, sight if k == 0 else AS_THE_SCENE_SAYS) for k, path in enumerate(paths)]

    def _read(self, path: Path) -> Scene:
        from ..lighting.dome_file import load_dome
        from ..scene.scene import Scene
        from ..scene.scene_file import load_scene
        from ..stone.stone_file import STONE_READERS, is_alone

        alone = path.suffix.lower() in STONE_READERS and is_alone(path)
        if alone or self.unit is not None or self.material is not None:
            with reading(path):
                stone = self._stone(path)
            return Scene(stone=stone, dome=load_dome("head-shadow"), name=path.stem, title=stone.name)
        scene = load_scene(path)
        return scene if self.edge_radius_um is None else replace(scene, stone=self._rounded(scene.stone))

    def _stone(self, path: Path) -> Stone:
        """The stone in a file of its own; a scan may tell how round its edges are."""
        from ..stone.scanning.mesh_file import SUFFIXES
        from ..stone.stone_file import SCANNED, load_stone, rounded_as_scanned

        if self.edge_radius_um == SCANNED and path.suffix.lower() in SUFFIXES:
            from ..stone.scanning.scan import load_scan  # half a second to import: only when used

            return rounded_as_scanned(load_scan(path, unit=self.unit, material=self.material or "diamond"))
        stone = load_stone(path, unit=self.unit, material=self.material)
        return stone if self.edge_radius_um is None else self._rounded(stone)

    def _rounded(self, stone: Stone) -> Stone:
        """The stone with edges of the radius that the option states. Raises InputError where it is no number."""
        from ..errors import InputError
        from ..stone.rounding import rounded

        try:
            radius = float(str(self.edge_radius_um))
        except ValueError:
            expected = "a radius in um; of a scan's mesh also scanned"
            raise InputError("not a radius", key="edge_radius_um", value=self.edge_radius_um, expected=expected) from None
        return rounded(stone, radius)


def azimuth_of(stone: Stone, about: About, stated_deg: float | None, turn_deg: float) -> float:
    """The azimuth of a tilt by the option `--about`; another one must not be stated too."""
    from ..stone.extent import azimuth_about

    refuse_beside(about, stated_deg)
    return azimuth_about(stone, about, turn_deg)


def refuse_other_kind(option: str, file: Path, what: str, suffix: str) -> None:
    """Raise InputError for a file to write whose name doesn't end in the suffix of its one kind, `what`."""
    from ..errors import InputError

    if file.suffix.lower() != suffix:
        raise InputError(what, key=option, value=str(file), expected=f"a file name that ends in {suffix}")


def refuse_beside(about: About | None, stated_deg: float | None) -> None:
    """Raise InputError where an azimuth is stated beside the option `--about`."""
    from ..errors import InputError

    if about is not None and stated_deg is not None:
        raise InputError("stands for an azimuth", key="--about", value=about, expected="no azimuth beside it")


AS_IN_THE_FILE = Subject()


@Parameter(name="*")
@dataclass(frozen=True)
class Shining:
    """The illuminant, the exposure and the wavelengths.

    Parameters
    ----------
    light
        Illuminant: daylight (D65), tungsten (A), equal energy (E) or a white LED (LED-B3).
    exposure
        Factor on luminance; at 1 the brightest direction of the dome is white.
    low_nm
        Shortest wavelength, nm. Moissanite needs 436 because its index is unknown below; blue light is then missing.
    spectrum
        Number of wavelengths between the shortest one and 700 nm. By default as many are chosen as keep the
        error of every pixel's colour below 1 CIEDE2000, by estimate; in a film none are chosen.
    most_wavelengths
        The largest number that is chosen: 128 if not given. A film has 16 wavelengths unless this is given.
    """

    light: Literal["D65", "A", "E", "LED-B3"] = "D65"  # those of `optics.spectrum.illuminants`, so that --help needs no table
    exposure: float = 1.0
    low_nm: float = 400.0
    spectrum: WholeIfAny = None
    most_wavelengths: WholeIfAny = None

    def waves(self, usual: WavelengthChoice | int) -> WavelengthSet | WavelengthChoice:
        """The wavelengths that the options ask for; `usual` is the choice, or the number, where they ask for none."""
        from ..color.wavelength_choice import BY_ERROR
        from ..optics.spectrum import seen_set, wavelength_set

        if self.spectrum is not None:
            return wavelength_set(self.spectrum, low_nm=self.low_nm)
        if isinstance(usual, int):
            if self.most_wavelengths is None:
                return seen_set(usual, self.light, low_nm=self.low_nm)
            usual = BY_ERROR
        most = usual.most if self.most_wavelengths is None else self.most_wavelengths
        with faults_by_option("most_wavelengths", most="most_wavelengths"):
            return replace(usual, most=most, low_nm=self.low_nm)


DAYLIGHT = Shining()
