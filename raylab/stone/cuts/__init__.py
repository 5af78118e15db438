"""The known cuts, one module each. To add a cut, write its module and add its row here."""

from __future__ import annotations

from .cut import Cut
from .round_brilliant import ROUND_BRILLIANT

CUTS: dict[str, Cut] = {
    cut.name: cut
    for cut in (
        ROUND_BRILLIANT,
    )
}  # fmt: skip
"""Every cut by its name."""

USUAL = ROUND_BRILLIANT.name
"""The default cut."""
