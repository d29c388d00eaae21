"""A PostgreSQL server of a test's own: Debian's, on loopback, as its own user."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

PROGRAMS = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
REQUIRED = "LIMELEDGER_POSTGRESQL_REQUIRED"
USER = "postgres"


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def server() -> Iterator[str]:
    """The address of an empty database; skips where no server is installed, unless it must be."""
    if not PROGRAMS:
        if os.environ.get(REQUIRED):
            pytest.fail("PostgreSQL is not installed; apt-get install postgresql")
        pytest.skip("PostgreSQL is not installed")
    programs = PROGRAMS[-1]
    folder = Path(tempfile.mkdtemp(prefix="limeledger-pg-"))
    as_user: dict[str, object] = {}
    if os.getuid() == 0:  # the server refuses to run as root
        account = pwd.getpwnam(USER)
        os.chown(folder, account.pw_uid, account.pw_gid)
        as_user = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    data, port = folder / "data", _free_port()
    here = {"cwd": folder, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, **as_user}
    subprocess.run(
        [programs / "initdb", "-D", data, "-A", "trust", "-U", "limeledger", "-E", "UTF8"],
        check=True,
        **here,
    )
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
    start = [programs / "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start"]
    subprocess.run(start, check=True, **here)
    try:
        yield f"postgresql://limeledger@127.0.0.1:{port}/postgres"
    finally:
        subprocess.run(
            [programs / "pg_ctl", "-D", data, "-m", "immediate", "stop"], check=False, **here
        )
        shutil.rmtree(folder, ignore_errors=True)
