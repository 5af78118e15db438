"""Workers of a sweep: this process, other local processes, or a dask cluster, with equal numbers.

A chunk is a run of designs. Each way of working takes an iterator of chunks and yields (chunk, rows) as they are done, with a
few chunks under way at a time, so memory doesn't grow with the sweep.

Processes beside this one are started as ``python -m raylab.sweeps.workers`` and talk through their pipes, rather than by
`multiprocessing`: a script needs no ``if __name__ == "__main__"``, a worker that dies is replaced and its chunk done again,
and if this process is killed the workers read the end of their pipe and stop.
"""

from __future__ import annotations

import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any, cast

import numpy as np

from ..code_id import code_id
from ..designs.design import COLUMNS, trace_designs
from ..designs.keys import EXCLUDED
from ..errors import InputError, RaylabError, RaylabWarning
from ..memory import keep_freed_memory
from ..package_files import environment
from ..scene.settings import TraceSettings

PATIENCE = "10s"
"""How long a scheduler has for its answer."""
MAKER = "designs.design"
"""The module that makes a design's numbers."""
TRIES = 3
"""How often a chunk is begun before a sweep gives up on workers that die."""


@dataclass(frozen=True)
class Chunk:
    """A run of designs: its number within the sweep and those that are to be traced.

    `kept`: which of the run's designs these are; all of them where it is None.
    """

    number: int
    designs: list[dict[str, Any]]
    kept: np.ndarray | None = None

    def in_place(self, rows: np.ndarray) -> np.ndarray:
        """Rows of the traced designs among those of the whole run, which are NaN but for the reason."""
        if self.kept is None:
            return rows
        whole = np.full((len(self.kept), len(COLUMNS)), np.nan)
        whole[:, -1] = EXCLUDED
        whole[self.kept] = rows
        return whole


Done = Iterator[tuple[Chunk, np.ndarray]]


def trace_chunk(chunk: Chunk, settings: TraceSettings, code: str) -> np.ndarray:
    """(K, COLUMNS) rows of a chunk. Raises RaylabError where the code at hand isn't the one that the sweep started with."""
    if code_id(MAKER) != code:
        raise RaylabError(
            f"this worker has another raylab than the sweep ({code_id(MAKER)[:12]}, not {code[:12]}); install one version"
        )
    return trace_designs(chunk.designs, settings)


def in_this_process(chunks: Iterator[Chunk], settings: TraceSettings) -> Done:
    """One chunk after the other, here."""
    for chunk in chunks:
        yield chunk, trace_chunk(chunk, settings, code_id(MAKER))


def in_processes(chunks: Iterator[Chunk], settings: TraceSettings, count: int) -> Done:
    """Chunks in `count` processes beside this one, each fed by a thread."""
    results: queue.SimpleQueue[Any] = queue.SimpleQueue()
    workers = [_Worker(settings) for _ in range(count)]
    taking = threading.Lock()

    def next_chunk() -> Chunk | None:
        with taking:
            return next(chunks, None)

    def feed(worker: _Worker) -> None:
        try:
            while not worker.stopped and (chunk := next_chunk()) is not None:
                results.put((chunk, worker.trace(chunk)))
            results.put(None)
        except BaseException as error:  # noqa: BLE001 - raised again by who waits for results
            results.put(error)

    threads = [threading.Thread(target=feed, args=(worker,), daemon=True) for worker in workers]
    try:
        for thread in threads:
            thread.start()
        working = count
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


class _Worker:
    """A process that traces chunks; started when first used, and again when it died."""

    def __init__(self, settings: TraceSettings) -> None:
        self.settings = settings
        self.process: subprocess.Popen[bytes] | None = None
        self.stopped = False
        self.starting = threading.Lock()

    def trace(self, chunk: Chunk) -> np.ndarray:
        """Rows of a chunk."""
        for _ in range(TRIES):
            try:
                found = self._ask(chunk, self._started())
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
                self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment())
            return self.process

    def _ask(self, chunk: Chunk, process: subprocess.Popen[bytes]) -> Any:
        requests, answers = cast(IO[bytes], process.stdin), cast(IO[bytes], process.stdout)
        pickle.dump((chunk, self.settings, code_id(MAKER)), requests)
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
    """Answer chunks with rows; the process ends with the requests."""
    heard: queue.SimpleQueue[Any] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(requests, heard), daemon=True).start()
    while True:
        request = heard.get()
        if isinstance(request, Exception):
            raise request
        chunk, settings, code = request
        try:
            answer: Any = trace_chunk(chunk, settings, code)
        except Exception as error:  # noqa: BLE001 - handed over, and raised there
            answer = error
        try:
            pickle.dump(answer, answers)
            answers.flush()
        except BrokenPipeError:  # nobody waits for it any more
            os._exit(0)


def in_cluster(chunks: Iterator[Chunk], settings: TraceSettings, client: Any) -> Done:
    """Chunks on a dask cluster; those of a lost worker are done again by another."""
    import distributed

    under_way: dict[str, tuple[Any, Chunk]] = {}
    done: Any = distributed.as_completed(with_results=True, loop=client.loop)  # type: ignore[no-untyped-call]

    def send() -> None:
        chunk = next(chunks, None)
        if chunk is not None:
            future = client.submit(trace_chunk, chunk, settings, code_id(MAKER), pure=False)
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
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that started us decides
    warnings.simplefilter("ignore", RaylabWarning)  # it meets the same and tells of it
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    keep_freed_memory()
    serve(sys.stdin.buffer, answers)


if __name__ == "__main__":
    main()
