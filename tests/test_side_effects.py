"""Importing raylab changes nothing in the process that imports it."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

import raylab

ROOT = Path(raylab.__file__).parent
OURS = sorted(
    ".".join(("raylab", *path.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
    for path in ROOT.rglob("*.py")
    if path.name != "__main__.py"
)

WATCHED = '''
import ctypes, gc, importlib, json, locale, logging, os, signal, socket, sys, threading, warnings
import numpy as np

def kept(size):
    """Does the C library keep a freed block of so many bytes? It does not where it maps such a block by itself."""
    class Info(ctypes.Structure):
        _fields_ = [(name, ctypes.c_size_t) for name in
                    ("arena", "ordblks", "smblks", "hblks", "hblkhd", "usmblks", "fsmblks", "uordblks", "fordblks", "keepcost")]
    libc = ctypes.CDLL(None)
    libc.mallinfo2.restype, libc.malloc.restype = Info, ctypes.c_void_p
    libc.malloc.argtypes, libc.free.argtypes = [ctypes.c_size_t], [ctypes.c_void_p]
    before = libc.mallinfo2().hblks
    block = libc.malloc(size)
    mapped = libc.mallinfo2().hblks > before
    if not mapped:  # else freeing it would raise the limit
        libc.free(block)
    return not mapped

def state():
    return {
        "environment": dict(os.environ),
        "folder": os.getcwd(),
        "umask": os.umask(os.umask(0o22)),
        "signals": {int(number): repr(signal.getsignal(number)) for number in signal.valid_signals()},
        "logging": [logging.root.level, repr(logging.root.handlers), logging.root.manager.disable, logging.raiseExceptions],
        "warnings": [repr(one) for one in warnings.filters],
        "numpy": [np.geterr(), np.get_printoptions(), repr(np.random.get_state())],
        "collector": [gc.get_threshold(), gc.isenabled(), gc.get_freeze_count()],
        "hooks": [repr(sys.excepthook), repr(sys.displayhook), repr(threading.excepthook), sys.getrecursionlimit()],
        "path": list(sys.path),
        "locale": locale.setlocale(locale.LC_ALL),
        "timeout": socket.getdefaulttimeout(),
        "threads": [one.name for one in threading.enumerate()],
        "kept memory": kept(24 << 20),
    }

strangers, steps = json.loads(sys.argv[1])
for name in strangers:
    importlib.import_module(name)
changes = []
for step in steps:
    before = state()
    exec(step)
    after = state()
    changes.append({key: [before[key], after[key]] for key in before if before[key] != after[key]})
print(json.dumps(changes, default=str))
'''


def strangers() -> list[str]:
    """What our modules import from elsewhere when they are imported themselves."""
    found = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                found.add(str(node.module))
    return sorted(found)


def changed(*steps: str) -> list[dict[str, list[object]]]:
    """What each step changes in a process that has imported what our modules import."""
    given = json.dumps([strangers(), steps])
    done = subprocess.run([sys.executable, "-c", WATCHED, given], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def test_importing_every_module_changes_nothing():
    assert len(OURS) > 150
    assert changed(f"for name in {OURS}:\n    importlib.import_module(name)") == [{}]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a limit of glibc's")
def test_keeping_freed_memory_changes_just_that():
    keep = "from raylab.memory import keep_freed_memory; keep_freed_memory()"
    assert changed(keep) == [{"kept memory": [False, True]}]


def test_a_change_would_be_seen():
    """Step by step in one process, so that what hinders the rest comes last."""
    steps = {
        "os.environ['RAYLAB'] = '1'": "environment",
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)": "signals",
        "logging.basicConfig()": "logging",
        "np.random.random()": "numpy",
        "np.empty(31 << 20, np.uint8)": "kept memory",
        "np.seterr(all='raise')": "numpy",
        "warnings.simplefilter('error')": "warnings",
    }
    assert [set(one) for one in changed(*steps)] == [{what} for what in steps.values()]
