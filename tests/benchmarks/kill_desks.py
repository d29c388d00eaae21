"""Kills desks that act until so many actions were acknowledged, on SQLite and on PostgreSQL.

`python tests/benchmarks/kill_desks.py ACTIONS SEED`: prints how many actions and kills there were;
ends with an error where one was lost or half, or the chain is broken.
"""

from __future__ import annotations

import sys
import tempfile
from contextlib import nullcontext
from pathlib import Path

from tests.desks import make_desk
from tests.postgresql import server
from tests.unit.events.test_killed_desks import act_and_kill, check

LONGEST_S = 2.0  # from a process's first action to its kill


def main(actions: int, seed: int) -> None:
    """Both databases, one after the other."""
    for database in ("sqlite", "postgresql"):
        with (
            tempfile.TemporaryDirectory() as folder,
            server() if database == "postgresql" else nullcontext("") as address,
        ):
            workspace, told = Path(folder) / "ws", Path(folder) / "told"
            make_desk(workspace, f'[desk]\ndatabase = "{address}"\n').close()
            kills = done = 0
            while done < actions:
                act_and_kill(workspace, told, seed + kills, LONGEST_S)
                kills += 1
                done = check(workspace, told)
            print(f"{database}: {done} actions acknowledged, {kills} kills: none lost, none half")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
