"""The command line: each command mirrors a function of the library.

Exit codes: 0 done, 2 invalid input or a fault of the system, 130 interrupted (143 by SIGTERM, 129 by SIGHUP). A fault is one
line on stderr; where the environment variable RAYLAB_DEBUG is set, its traceback comes first. A traceback without it means a
bug in raylab. The commands import what they need when they run, so that ``raylab --help`` is quick.
"""

from __future__ import annotations

import _thread
import gc
import os
import signal
import sys
import threading
import traceback
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import FrameType
from typing import Any

from cyclopts import App, CycloptsError, Group

from ..compiling import heard_by, put_off
from ..errors import RaylabError, RaylabWarning, one_line
from ..memory import keep_freed_memory
from ..version import __version__
from .brillianteer import brillianteer
from .color import color
from .compare import compare
from .console import Compiling, never_fail_for_characters
from .eyes import eyes
from .film import film
from .inclusion import inclusion
from .lists import cuts, domes, engines, materials, scenes, statistics
from .measure import measure
from .misuse import described
from .recipe import recipe
from .render import render
from .repolish import repolish
from .show import show
from .sweep import sweep
from .tilt import tilt
from .visibility import visibility
from .workbench import workbench

DONE, BAD_INPUT, SIGNALLED, INTERRUPTED = 0, 2, 128, 130
UNPICKLE = "_numba_unpickle"
"""A function of numba's that kernels call."""
IMPORTING = "<frozen importlib._bootstrap>"
"""The source of Python's own functions that import a module."""

app = App(
    name="raylab",
    help="How a faceted stone handles light, computed from physics: maps, leakage, and a ledger of where all light goes.\n\n"
    "Begin with `raylab render --out out` for pictures and numbers of a demo stone, or with `raylab workbench` for a page with "
    "sliders.",
    help_epilogue="raylab reports physics. It gives no grade, no valuation and no cutting order.",
    version=f"raylab {__version__}",
    default_parameter=None,
    help_format="markdown",
    suppress_keyboard_interrupt=False,
    result_action="return_none",
)
_GROUPS = {
    "See a stone": (render, color, show, eyes, tilt, film, inclusion, visibility, workbench),
    "Measure, compare and choose": (measure, compare, brillianteer, repolish, sweep),
    "What there is to use": (recipe, scenes, cuts, materials, domes, engines, statistics),
}
for number, (title, commands) in enumerate(_GROUPS.items()):
    group = Group(title, sort_key=number)
    for command in commands:
        app.command(command, group=group)
app["--help"].group = app["--version"].group = Group("Options", sort_key=len(_GROUPS))


def run() -> int:
    """`main` as a process of its own, as the installed command and ``python -m raylab`` call it.

    The libraries make some 250,000 objects that live to the end. Looking through them for cycles every 700 new ones, and all
    once more at exit, takes a fifth of a short command's time; a look every 50,000 bounds memory as well.
    """
    gc.set_threshold(50_000, 20, 20)
    keep_freed_memory()
    _replace_closed_streams()
    _end_as_by_ctrl_c()
    try:
        with heard_by(Compiling()):
            code = main()
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # nothing is left to interrupt
        if code >= SIGNALLED:  # and nothing to say
            sys.unraisablehook = _say_nothing
            warnings.simplefilter("ignore")
        return code
    except KeyboardInterrupt as signalled:  # one that struck outside of what `main` guards; Python would kill itself by SIGINT
        return _code_of(signalled)
    finally:
        gc.freeze()


def _replace_closed_streams() -> None:
    """What goes to a stream that was closed at the start goes nowhere, and no file that is opened later gets its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - as long as the process


def _code_of(signalled: KeyboardInterrupt) -> int:
    """The exit code of an interrupted command: 128 and the signal's number."""
    return SIGNALLED + int(signalled.args[0]) if signalled.args else INTERRUPTED


def _say_nothing(lost: sys.UnraisableHookArgs) -> None:
    """For an interrupted command, which has said its last line: what it was compiling may fail as it is thrown away."""


def _end_as_by_ctrl_c() -> None:
    """A signal to end, or a lost terminal, tidies up like Ctrl-C. Signals that were ignored at the start stay ignored."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _interrupt)


def _interrupt(number: int, frame: FrameType | None) -> None:
    """Raise KeyboardInterrupt: at once, between two kernels while they are compiled, or a moment later where a kernel would
    crash of it or a library would drop it.

    What a kernel returns is of classes that it unpickles by `UNPICKLE`; it uses them without looking whether that has failed.
    A library that imports another one if it can may take whatever is raised there, an interrupt too, for its absence.
    """

    def interrupt() -> None:
        raise KeyboardInterrupt(number)

    if put_off(interrupt):
        return
    while frame is not None and frame.f_code is not main.__code__:
        if frame.f_code.co_name == UNPICKLE or frame.f_code.co_filename == IMPORTING:
            threading.Timer(0.01, _strike, (number,)).start()
            return
        frame = frame.f_back
    interrupt()


def _strike(number: int = signal.SIGINT) -> None:
    """The signal once more, from another thread; it ends what the main thread waits for, where the system can do that."""
    main_thread = threading.main_thread().ident
    if hasattr(signal, "pthread_kill") and main_thread is not None:
        signal.pthread_kill(main_thread, number)
    else:
        _thread.interrupt_main(signal.Signals(number))


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command line, `sys.argv` by default; returns the exit code."""
    never_fail_for_characters()
    try:
        with _no_interrupt_lost(), _warnings_in_a_line():
            app(sys.argv[1:] if argv is None else list(argv), exit_on_error=False, print_error=False)
            sys.stdout.flush()
    except CycloptsError as error:
        return _refused(described(error))
    except RaylabError as error:
        return _refused(str(error))
    except MemoryError:
        return _refused("not enough memory; expected a smaller resolution or fewer wavelengths")
    except KeyboardInterrupt as signalled:
        sys.stderr.write("; ".join(["raylab: interrupted", *getattr(signalled, "__notes__", ())]) + "\n")
        usual, sys.unraisablehook = sys.unraisablehook, _say_nothing
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a coroutine that nobody awaits any more
            traceback.clear_frames(signalled.__traceback__)
        sys.unraisablehook = usual
        return _code_of(signalled)
    except SystemExit as left:  # by the library that prints --help
        if not isinstance(left.__context__, BrokenPipeError):
            raise
        _drop_output()
    except BrokenPipeError:  # whoever reads us has seen enough
        _drop_output()
    except OSError as error:
        try:
            sys.stdout.flush()
        except OSError:  # it is the output that can't be written, and the rest of it would be tried again at exit
            _drop_output()
        return _refused(f"{error.filename or 'output'}: {error.strerror or error}")
    return DONE


def _drop_output() -> None:
    """What is not yet written to stdout goes nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@contextmanager
def _warnings_in_a_line() -> Iterator[None]:
    """Our own warnings without the line of code that gives them."""
    with warnings.catch_warnings():
        usual = warnings.showwarning

        def show(message: Warning | str, category: type[Warning], *place: Any, **more: Any) -> None:
            if issubclass(category, RaylabWarning):
                sys.stderr.write(f"raylab: {one_line(str(message))}\n")
            else:
                usual(message, category, *place, **more)

        warnings.showwarning = show
        yield


@contextmanager
def _no_interrupt_lost() -> Iterator[None]:
    """Make Ctrl-C end the command at every moment.

    Python drops an exception that is raised in a callback from C code, and the compiler makes such callbacks. An interrupt at
    that moment would be printed and the work would go on. This hook sends the interrupt again after the callback, once where it
    is dropped twice.
    """
    usual, sending = sys.unraisablehook, threading.Timer(0.0, _strike)

    def again(lost: sys.UnraisableHookArgs) -> None:
        nonlocal sending
        if lost.exc_type is KeyboardInterrupt:
            if not sending.is_alive():
                sending = threading.Timer(0.05, _strike, getattr(lost.exc_value, "args", ()))
                sending.start()
        else:
            usual(lost)

    sys.unraisablehook = again
    try:
        yield
    finally:
        sys.unraisablehook = usual
        sending.cancel()  # an interrupt that is on its way would strike the last line


def _refused(line: str) -> int:
    if os.environ.get("RAYLAB_DEBUG"):
        traceback.print_exc()
    sys.stderr.write(f"raylab: {one_line(line)}\n")
    return BAD_INPUT
