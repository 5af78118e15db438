"""Workers of a sweep: this process, other local processes, or a dask cluster, with equal numbers.

A chunk is a run of designs. Each way of working takes an iterator of chunks and yields (chunk, rows) as they are done, with a
few chunks under way at a time, so memory doesn't grow with the sweep. Processes of this machine get the plan once and then only
the ends of runs: designs are made where they are traced. A chunk that is a block of a result in pieces is written there too, so
that neither designs nor numbers pass through this process. A cluster, whose workers may see other disks, gets designs and gives
rows.

Processes beside this one are started as ``python -m raylab.sweeps.workers`` and talk through their pipes, rather than by
`multiprocessing`: a script needs no ``if __name__ == "__main__"``, a worker that dies is replaced and its chunk done again,
and if this process is killed the workers read the end of their pipe and stop.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import IO, Any, NamedTuple, Protocol, cast

import numpy as np

from ..code_id import code_id
from ..designs.columns import Columns
from ..designs.design import COLUMNS, trace_designs
from ..designs.keys import EXCLUDED
from ..errors import InputError, RaylabError, RaylabWarning
from ..memory import keep_freed_memory
from ..package_files import environment
from ..scene.settings import TraceSettings
from .axes import Plan
from .pieces import Pieces

PATIENCE = "10s"
"""How long a scheduler has for its answer."""
MAKER = "designs.design"
"""The module that makes a design's numbers."""
TRIES = 3
"""How often a chunk is begun before a sweep gives up on workers that die."""
_OWN_GROUP = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
"""On Windows, what keeps Ctrl-C from a process; elsewhere `process_group` does. It is meant for the one that started it, which
ends its workers: a worker that is being imported would show a traceback."""


class Traces(Protocol):
    """What a worker process is told once, and then asked."""

    @property
    def traced(self) -> Callable[..., Any]:
        """What gives the answer; it is called with what is asked each time, as a chunk."""


class Chunk(NamedTuple):
    """A run of designs: its number within the sweep, the number of its first design and of the one after its last.

    `kept`: which of them are traced, where functions of the user say so; None where the plan's conditions are bounds.
    """

    number: int
    start: int
    stop: int
    kept: np.ndarray | None = None


@dataclass(frozen=True)
class Work:
    """What the chunks of a sweep have in common.

    Attributes
    ----------
    plan : the designs, with those conditions that can be asked anywhere: bounds. settings : of the traces.
    pieces : where a chunk, which is a block then, is written at once; None where its rows are wanted.
    """

    plan: Plan
    settings: TraceSettings
    pieces: Pieces | None

    def traced(self, chunk: Chunk) -> np.ndarray | None:
        """(K, COLUMNS) rows of a chunk, or None where they are written."""
        rows = trace_kept(*self.run(chunk), self.settings)
        if self.pieces is None:
            return rows
        self.pieces.write(chunk.number, rows)
        return None

    def run(self, chunk: Chunk) -> tuple[Columns, np.ndarray]:
        """The designs of a chunk, and which of them are traced."""
        kept = self.plan.kept(chunk.start, chunk.stop) if chunk.kept is None else chunk.kept
        return self.plan.run(chunk.start, chunk.stop), kept


Done = Iterator[tuple[Chunk, np.ndarray | None]]


def trace_kept(run: Columns, kept: np.ndarray, settings: TraceSettings) -> np.ndarray:
    """(K, COLUMNS) rows of a run; of what isn't kept they are NaN but for the reason."""
    if kept.all():
        return trace_designs(run, settings)
    rows = np.full((len(run), len(COLUMNS)), np.nan)
    rows[:, -1] = EXCLUDED
    rows[kept] = trace_designs(run.at(kept), settings)
    return rows


def trace_sent(run: Columns, kept: np.ndarray, settings: TraceSettings, code: str) -> np.ndarray:
    """`trace_kept` of a run that comes from elsewhere. Raises RaylabError where the code at hand isn't the sweep's."""
    _same_code(code)
    return trace_kept(run, kept, settings)


def _same_code(code: str) -> None:
    """Raise RaylabError where the code at hand isn't the one that the sweep started with."""
    if code_id(MAKER) != code:
        raise RaylabError(
            f"this worker has another raylab than the sweep ({code_id(MAKER)[:12]}, not {code[:12]}); install one version"
        )


def in_this_process(chunks: Iterator[Chunk], work: Work) -> Done:
    """One chunk after the other, here."""
    for chunk in chunks:
        yield chunk, work.traced(chunk)


def in_processes(chunks: Iterator[Chunk], work: Work, around: Sequence[Mapping[str, str]]) -> Done:
    """Chunks in processes beside this one, each fed by a thread; `around` has what is added to the environment of each."""
    results: queue.SimpleQueue[Any] = queue.SimpleQueue()
    workers = [_Worker(work, more) for more in around]
    taking = threading.Lock()

    def next_chunk() -> Chunk | None:
        with taking:
            return next(chunks, None)

    def feed(worker: _Worker) -> None:
        try:
            while not worker.stopped and (chunk := next_chunk()) is not None:
                results.put((chunk, worker.answer(chunk)))
            results.put(None)
        except BaseException as error:  # noqa: BLE001 - raised again by who waits for results
            results.put(error)

    threads = [threading.Thread(target=feed, args=(worker,), daemon=True) for worker in workers]
    try:
        for thread in threads:
            thread.start()
        working = len(workers)
        while working:
            found = results.get()
            if isinstance(found, BaseException):
                raise found
            if found is None:
                working -= 1
            else:
                yield found
    finally:
        for worker in workers:
            worker.stop()
        for thread in threads:
            thread.join()
        for worker in workers:
            worker.end()


def answer_of(work: Traces, around: Mapping[str, str]) -> Any:
    """What `work` gives in a process beside this one, which ends with it; `around` is added to its environment."""
    worker = _Worker(work, around)
    try:
        return worker.answer()
    finally:
        worker.end()


class _Worker:
    """A process that traces chunks; started when first used, and again when it died."""

    def __init__(self, work: Traces, around: Mapping[str, str]) -> None:
        self.work, self.around = work, around
        self.process: subprocess.Popen[bytes] | None = None
        self.stopped = False
        self.starting = threading.Lock()

    def answer(self, *asked: Any) -> Any:
        """What `work` gives for what is asked: of a chunk the rows, or None where they are written."""
        for _ in range(TRIES):
            try:
                found = self._ask(asked, self._started())
            except (EOFError, OSError, pickle.UnpicklingError):  # it died, perhaps in the middle of an answer
                self.end()
                continue
            if isinstance(found, BaseException):
                raise found
            return found
        raise RaylabError(f"a worker process died {TRIES} times on the same designs (out of memory?)")

    def _started(self) -> subprocess.Popen[bytes]:
        with self.starting:
            if self.stopped:
                raise RaylabError("the sweep has ended")
            if self.process is None:
                command = [sys.executable, "-m", __name__]
                around = {**environment(), **self.around}
                self.process = subprocess.Popen(
                    command,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    env=around,
                    process_group=0,
                    creationflags=_OWN_GROUP,
                )
                self.told = False
            return self.process

    def _ask(self, asked: tuple[Any, ...], process: subprocess.Popen[bytes]) -> Any:
        requests, answers = cast(IO[bytes], process.stdin), cast(IO[bytes], process.stdout)
        if not self.told:
            pickle.dump((self.work, code_id(MAKER)), requests)
            self.told = True
        pickle.dump(asked, requests)
        requests.flush()
        return pickle.load(answers)  # noqa: TID251 - written by a process that we started

    def stop(self) -> None:
        """Start nothing any more and kill the process; a thread that waits for it gets an error."""
        with self.starting:
            self.stopped = True
            if self.process is not None:
                self.process.kill()

    def end(self) -> None:
        """Kill the process and bury it."""
        if self.process is not None:
            self.process.kill()
            self.process.communicate()
            self.process = None


def _listen(requests: IO[bytes], heard: queue.SimpleQueue[Any]) -> None:
    """Pass requests on as they come. At their end, whoever started us is gone: end at once, even in the middle of a chunk."""
    while True:
        try:
            heard.put(pickle.load(requests))  # noqa: TID251 - written by the process that started us
        except (EOFError, OSError, pickle.UnpicklingError):
            os._exit(0)
        except Exception as error:  # noqa: BLE001 - raised by who waits for requests
            heard.put(error)


def serve(requests: IO[bytes], answers: IO[bytes]) -> None:
    """Answer what is asked of the work that is told first; the process ends with the requests."""
    heard: queue.SimpleQueue[Any] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(requests, heard), daemon=True).start()

    def next_one() -> Any:
        request = heard.get()
        if isinstance(request, Exception):
            raise request
        return request

    work, code = next_one()
    while True:
        asked = next_one()
        try:
            _same_code(code)
            answer: Any = work.traced(*asked)
        except Exception as error:  # noqa: BLE001 - handed over, and raised there
            answer = error
        try:
            pickle.dump(answer, answers)
            answers.flush()
        except BrokenPipeError:  # nobody waits for it any more
            os._exit(0)


def in_cluster(chunks: Iterator[Chunk], work: Work, client: Any) -> Done:
    """Chunks on a dask cluster; those of a lost worker are done again by another."""
    import distributed

    under_way: dict[str, tuple[Any, Chunk]] = {}
    done: Any = distributed.as_completed(with_results=True, loop=client.loop)  # type: ignore[no-untyped-call]

    def send() -> None:
        chunk = next(chunks, None)
        if chunk is not None:
            run, kept = work.run(chunk)
            future = client.submit(trace_sent, run.trimmed(), kept, work.settings, code_id(MAKER), pure=False)
            under_way[future.key] = (future, chunk)
            done.add(future)

    try:
        for _ in range(max(2, 2 * sum(client.ncores().values()))):
            send()
        for future, rows in done:
            _, chunk = under_way.pop(future.key)
            yield chunk, rows
            send()
    except distributed.KilledWorker as error:
        raise RaylabError(f"cluster workers died repeatedly on the same designs: {error}") from error
    finally:
        client.cancel([future for future, _ in under_way.values()])


def client_of(scheduler: Any) -> tuple[Any, bool]:
    """A dask client for an address, or the client given; and whether it is ours to close.

    Raises InputError where dask is not installed, or where nobody answers.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError("dask is not installed", key="scheduler", expected="pip install 'raylab[cluster]'") from error
    if isinstance(scheduler, Client):
        return scheduler, False
    try:
        return Client(scheduler, timeout=PATIENCE, set_as_default=False), True  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise InputError(
            "no answer from the scheduler", key="scheduler", value=scheduler, expected="tcp://host:port"
        ) from error


def main() -> None:
    """A worker process: chunks from stdin, rows to stdout; what is printed goes to stderr."""
    warnings.simplefilter("ignore", RaylabWarning)  # it meets the same and tells of it
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    keep_freed_memory()
    serve(sys.stdin.buffer, answers)


if __name__ == "__main__":
    main()
