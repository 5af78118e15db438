"""What the report shows beyond the comparison: colour pictures, the film, and the two numbers of liveliness."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..comparison.comparison import Comparison
from ..progress import Progress, part_of, reporter
from .file_names import FILM, letters, look_names
from .film import Film, film
from .liveliness import Liveliness, liveliness
from .looks import Look, looks, png

PARTS = (0.5, 0.35, 0.15)
"""Shares of the work, for the progress bar: pictures, film, numbers."""


@dataclass(frozen=True, eq=False)
class Appearance:
    """Attributes: `looks`, one for each light; `film`; `lively`, one for each stone."""

    looks: tuple[Look, ...]
    film: Film
    lively: tuple[Liveliness, ...]

    @cached_property
    def files(self) -> dict[str, bytes]:
        """The colour pictures and the film as files, by their names within the page."""
        made = [png(one) for look in self.looks for row in look.pictures for one in row]
        names = look_names(letters(len(self.lively)), [look.dome for look in self.looks], self.looks[0].views)
        return {**dict(zip(names, made, strict=True)), FILM: self.film.webp}


def appearance_of(comparison: Comparison, progress: bool | Progress = False) -> Appearance:
    """What the stones of a comparison look like.

    `progress` : True for a bar, or a function that is called with the finished and the total amount of work.
    """
    with reporter(progress, "drawing", counted=False) as update:
        seen = looks(comparison, part_of(update, 0.0, PARTS[0]))
        moving = film(comparison, seen[-1], part_of(update, PARTS[0], PARTS[1]))
        lively = liveliness(comparison, part_of(update, 1.0 - PARTS[2], PARTS[2]))
    return Appearance(seen, moving, lively)
