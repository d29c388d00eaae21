"""Acts at a desk until it is killed, and puts down each action once it is acknowledged.

A process of its own for the kill tests: `python -m tests.desk_actor WORKSPACE FILE SEED`.
"""

from __future__ import annotations

import sys

from pipelines.actions import rule_many, ruling_answers, rulings
from pipelines.events import open_desk
from pipelines.workspace.layout import Workspace
from tests.desks import caller, decision


def main(folder: str, acknowledged: str, seed: str) -> None:
    """Rules on two claims at a time, for ever; a line an action that was acknowledged."""
    rulings.decisions_now = lambda _, claims, day: {claim: decision(claim) for claim in claims}
    ruling_answers.rulings_on_file = lambda *_: []
    desk = open_desk(Workspace.open(folder))
    with open(acknowledged, "ab", buffering=0) as file:
        for number in range(1_000_000):
            reason = f"{seed}-{number}"
            claims = [{"claim": f"{reason}-{half}", "version": 0} for half in ("a", "b")]
            told = {"claims": claims, "ruling": "not_covered", "reason": reason}
            rule_many(desk, desk.workspace, caller(role=None), **told)
            file.write(f"{reason}\n".encode())


if __name__ == "__main__":
    main(*sys.argv[1:4])
