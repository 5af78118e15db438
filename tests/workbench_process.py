"""A real `raylab workbench` in a process of its own, and plain ways to talk to it."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
from websockets.sync.client import ClientConnection, connect

ROOT = Path(__file__).parent.parent


class BenchProcess:
    """`raylab workbench`, started and stopped at will; `port` stays the same over restarts, `token` does not."""

    def __init__(self, *words: str) -> None:
        self.words, self.port = words, 0
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "raylab", "workbench", *self.words, "--no-browser", "--port", str(self.port)],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        line = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/([\w-]{43})/ ", line)
        assert found, line + self.process.stderr.read()
        self.port, self.token = int(found[1]), found[2]

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    @property
    def address(self) -> str:
        return f"http://{self.host}/{self.token}/"

    def kill(self) -> None:
        """As the power would: no time to say goodbye."""
        self.process.kill()
        self.process.communicate()

    def stop(self) -> str:
        """End it as Ctrl-C does, and hand back what it complained of on stderr: that it compiles is no complaint."""
        self.process.send_signal(signal.SIGINT)
        try:
            said = self.process.communicate(timeout=20)[1]
            return "".join(line for line in said.splitlines(keepends=True) if not line.startswith("raylab: compiling, once"))
        finally:
            self.process.kill()

    def link(self, **headers: str) -> ClientConnection:
        """A WebSocket as the page opens it."""
        origin = headers.pop("Origin", f"http://{self.host}")
        return connect(
            f"ws://{self.host}/{self.token}/link", origin=origin, additional_headers=headers, proxy=None, max_size=None
        )

    def request(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, dict[str, str], bytes]:
        """Status, headers and content of one request below the page's address; headers as given and no others but the usual."""
        return self.request_bare(method, f"/{self.token}{path}", body, **headers)

    def request_bare(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, dict[str, str], bytes]:
        """The same of any path."""
        http_ = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        skip = "Host" in headers
        http_.putrequest(method, path, skip_host=skip)
        for key, value in {"Content-Length": str(len(body)), **headers}.items():
            http_.putheader(key, value)
        http_.endheaders(body)
        answer = http_.getresponse()
        found = answer.status, {key.lower(): value for key, value in answer.getheaders()}, answer.read()
        http_.close()
        return found

    def post(self, path: str, body: bytes) -> tuple[int, dict[str, str], bytes]:
        return self.request("POST", path, body, Origin=f"http://{self.host}")


def unpack(data: bytes) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """An answer's header and arrays, read as `frames` describes them."""
    length = int.from_bytes(data[:4], "little")
    header = json.loads(data[4 : 4 + length])
    arrays = {}
    for part in header["arrays"]:
        kind = np.dtype("<f4") if part["kind"] == "float32" else np.dtype("<i4")
        count = int(np.prod(part["shape"]))
        arrays[part["name"]] = np.frombuffer(data, kind, count, 4 + length + part["at"]).reshape(part["shape"])
    return header, arrays
