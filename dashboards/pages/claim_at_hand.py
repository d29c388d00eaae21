"""What is at hand on a claim's page: the next steps, what people did, the claim that came first.

Belongs here: gathering and wording these. Does not belong here: which step comes next
(`pipelines.worklist`), the decision and its grounds (`claim`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dashboards import formats
from dashboards.data import PageData
from dashboards.pages.originals import original_said


def at_hand(
    data: PageData, address: Callable[[str], str | None]
) -> Callable[[str], dict[str, Any]]:
    """What gives these parts of the page of any claim; `address` gives a claim's page."""
    listed = {row["claim"]: row for row in data.worklist.iter_rows(named=True)}
    steps: dict[str, list[tuple[str, str]]] = {}
    for claim, label, command in data.next_steps.select("claim", "label", "command").iter_rows():
        steps.setdefault(claim, []).append((label, command))
    stale: dict[str, list[str]] = {}
    for claim, sentence in data.stale_corrections.select("claim", "sentence").iter_rows():
        stale.setdefault(claim, []).append(sentence)

    def of_claim(claim: str) -> dict[str, Any]:
        row = listed.get(claim)
        original = row["original"] if row else None
        return {
            "next_steps": steps.get(claim, []),
            "original": original_said(original, data.currency),
            "original_href": address(original["claim"]) if original else None,
            "at_desk": _at_desk(row) if row else [],
            "stale": stale.get(claim, []),
        }

    return of_claim


def _at_desk(row: Mapping[str, Any]) -> list[str]:
    """Who looks after the claim, until when it waits, and what was asked of us."""
    said = []
    if row["assigned_to"]:
        said.append(f"Assigned to {row['assigned_to']}.")
    if row["held"]:
        said.append(f"On hold until {formats.day(row['hold_until'])}.")
    if row["appealed_on"]:
        said.append(f"Appealed on {formats.day(row['appealed_on'])}: {row['appeal_reason'] or ''}")
    if row["waiting_event"] is not None:
        said.append(
            f"A ruling by {row['waiting_by']} waits for a second person; until then it counts for "
            "nothing."
        )
    return said
