"""The command line: each command mirrors a function of the library.

Exit codes: 0 done, 2 invalid input (one line on stderr, no traceback), 130 interrupted. A traceback means a bug in
raylab. The commands import what they need when they run, so that ``raylab --help`` is quick.
"""

from __future__ import annotations

import _thread
import gc
import os
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from cyclopts import App, CycloptsError

from ..errors import InputError
from ..memory import keep_freed_memory
from ..version import __version__
from .brillianteer import brillianteer
from .color import color
from .compare import compare
from .eyes import eyes
from .film import film
from .lists import cuts, domes, engines, materials, scenes, statistics
from .measure import measure
from .render import render
from .repolish import repolish
from .sweep import sweep
from .tilt import tilt
from .workbench import workbench

DONE, BAD_INPUT, INTERRUPTED = 0, 2, 130

app = App(
    name="raylab",
    help="How a faceted stone handles light, computed from physics: contrast maps, leakage and a ledger that closes.",
    help_epilogue="raylab reports physics. It gives no grade, no valuation and no cutting order.",
    version=f"raylab {__version__}",
    default_parameter=None,
    help_format="markdown",
    suppress_keyboard_interrupt=False,
    result_action="return_none",
)
_SEEING = (render, color, eyes, tilt, film, workbench)
_JUDGING = (measure, compare, brillianteer, repolish, sweep)
_LISTING = (scenes, cuts, materials, domes, engines, statistics)
for command in (*_SEEING, *_JUDGING, *_LISTING):
    app.command(command)


def run() -> int:
    """`main` as a process of its own, as the installed command and ``python -m raylab.cli`` call it.

    The libraries make some 250,000 objects that live to the end. Looking through them for cycles every 700 new ones, and all
    once more at exit, takes a fifth of a short command's time; a look every 50,000 bounds memory as well.
    """
    gc.set_threshold(50_000, 20, 20)
    keep_freed_memory()
    try:
        return main()
    finally:
        gc.freeze()


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command line, `sys.argv` by default; returns the exit code."""
    try:
        with _no_interrupt_lost():
            app(sys.argv[1:] if argv is None else list(argv), exit_on_error=False, print_error=False)
            sys.stdout.flush()
    except (InputError, CycloptsError) as error:
        return _refused(str(error))
    except MemoryError:
        return _refused("not enough memory; expected a smaller resolution or fewer wavelengths")
    except KeyboardInterrupt:
        sys.stderr.write("raylab: interrupted\n")
        return INTERRUPTED
    except BrokenPipeError:  # whoever reads us has seen enough; nothing is left to flush at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


@contextmanager
def _no_interrupt_lost() -> Iterator[None]:
    """Make Ctrl-C end the command at every moment.

    Python drops an exception that is raised in a callback from C code, and the compiler makes such callbacks. An interrupt at
    that moment would be printed and the work would go on. This hook sends the interrupt again after the callback.
    """
    usual = sys.unraisablehook

    def again(lost: sys.UnraisableHookArgs) -> None:
        if lost.exc_type is KeyboardInterrupt:
            threading.Timer(0.05, _thread.interrupt_main).start()
        else:
            usual(lost)

    sys.unraisablehook = again
    try:
        yield
    finally:
        sys.unraisablehook = usual


def _refused(line: str) -> int:
    sys.stderr.write(f"raylab: {' '.join(line.split())}\n")
    return BAD_INPUT
