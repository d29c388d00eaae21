"""Acknowledged actions under SIGKILL: none lost, none half, the chain whole.

A longer run of the same: `python tests/benchmarks/kill_desks.py ACTIONS SEED`.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from contextlib import nullcontext
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from pipelines.events.event import chain_faults
from pipelines.events.opening import open_desk
from pipelines.workspace.layout import Workspace
from tests.desks import make_desk
from tests.postgresql import server

ROOT = Path(__file__).parents[3]


def act_and_kill(workspace: Path, acknowledged: Path, seed: int, longest: float = 0.3) -> None:
    """One process that acts, killed within `longest` seconds of its first action."""
    before = acknowledged.stat().st_size if acknowledged.exists() else 0
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.desk_actor", workspace, acknowledged, f"s{seed}"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    until = time.monotonic() + 60
    while not acknowledged.exists() or acknowledged.stat().st_size == before:
        assert process.poll() is None, "the process ended by itself"
        assert time.monotonic() < until, "nothing was acknowledged"
        time.sleep(0.005)
    time.sleep(random.Random(seed).random() * longest)
    process.send_signal(signal.SIGKILL)
    process.wait()


def check(workspace: Path, acknowledged: Path) -> int:
    """How many actions were acknowledged; all are there, both halves of each, in a whole chain."""
    desk = open_desk(Workspace.open(workspace))
    with desk.reading() as connection:
        events = desk.events(connection)
    desk.close()
    assert list(chain_faults(events)) == []
    halves: dict[str, list[str]] = {}
    for event in events:
        halves.setdefault(event.payload["reason"], []).append(event.claim[-1])
    assert [reason for reason, told in halves.items() if told != ["a", "b"]] == []
    told = acknowledged.read_text().splitlines()
    assert set(told) - set(halves) == set()
    return len(told)


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_a_killed_desk_loses_nothing_that_it_acknowledged(database, tmp_path):
    """Three processes are killed while they act; the next one begins without any repair."""
    with server() if database == "postgresql" else nullcontext("") as address:
        make_desk(tmp_path / "ws", f'[desk]\ndatabase = "{address}"\n').close()
        for seed in range(3):
            act_and_kill(tmp_path / "ws", tmp_path / "told", seed)
        assert check(tmp_path / "ws", tmp_path / "told") >= 3


def test_postgresql_is_as_strict_as_sqlite(tmp_path):
    """The server refuses to change, delete or truncate events, and a stopped one is told."""
    with server() as address:
        desk = make_desk(tmp_path / "ws", f'[desk]\ndatabase = "{address}"\n')
        act_and_kill(tmp_path / "ws", tmp_path / "told", 7)
        for statement in (
            "update events set actor = 'x'",
            "delete from events",
            "truncate events",
        ):
            with pytest.raises(DBAPIError, match="never changed"):
                change(desk, statement)
        assert check(tmp_path / "ws", tmp_path / "told") >= 1
        desk.close()


def change(desk, statement):
    """Runs a statement that the database refuses."""
    with desk.engine.begin() as connection:
        connection.execute(sa.text(statement))
