"""The known cuts, one module each. To add a cut, write its module and add its row here."""

from __future__ import annotations

from .baguette import BAGUETTE
from .cushion_brilliant import CUSHION_BRILLIANT
from .cut import Cut
from .cut_cornered_brilliant import CUT_CORNERED_BRILLIANT
from .emerald_cut import EMERALD_CUT
from .hexagonal_step_cut import HEXAGONAL_STEP_CUT
from .marquise_brilliant import MARQUISE_BRILLIANT
from .old_european_cut import OLD_EUROPEAN_CUT
from .oval_brilliant import OVAL_BRILLIANT
from .pear_brilliant import PEAR_BRILLIANT
from .princess_cut import PRINCESS_CUT
from .rose_cut import ROSE_CUT
from .round_brilliant import ROUND_BRILLIANT
from .single_cut import SINGLE_CUT
from .square_emerald_cut import SQUARE_EMERALD_CUT
from .tapered_baguette import TAPERED_BAGUETTE
from .triangular_brilliant import TRIANGULAR_BRILLIANT

CUTS: dict[str, Cut] = {
    cut.name: cut
    for cut in (
        ROUND_BRILLIANT,
        SINGLE_CUT,
        OLD_EUROPEAN_CUT,
        OVAL_BRILLIANT,
        PEAR_BRILLIANT,
        MARQUISE_BRILLIANT,
        CUSHION_BRILLIANT,
        TRIANGULAR_BRILLIANT,
        PRINCESS_CUT,
        CUT_CORNERED_BRILLIANT,
        EMERALD_CUT,
        SQUARE_EMERALD_CUT,
        BAGUETTE,
        TAPERED_BAGUETTE,
        HEXAGONAL_STEP_CUT,
        ROSE_CUT,
    )
}  # fmt: skip
"""Every cut by its name."""

USUAL = ROUND_BRILLIANT.name
"""The default cut."""
