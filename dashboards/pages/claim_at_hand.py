"""What is at hand on a claim's page: the next steps, what people did, the claim that came first.

Belongs here: gathering and wording these. Does not belong here: which step comes next
(`pipelines.worklist`), the decision and its grounds (`claim`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats
from dashboards.pages.originals import original_said

# What of a claim's row in the worklist its page shows.
AT_HAND = (
    "claim", "original", "assigned_to", "held", "hold_until", "appealed_on", "appeal_reason",
    "waiting_event", "waiting_by",
)  # fmt: skip


def at_hand(
    listed: Mapping[str, Any] | None,
    steps: Sequence[Mapping[str, Any]],
    stale: Sequence[Mapping[str, Any]],
    currency: str,
) -> dict[str, Any]:
    """These parts of a claim's page.

    Args:
        listed: AT_HAND, and `original_href`, the page of the claim that came first.
        steps: label and command of each.
        stale: the sentence of each correction whose row is another one now.
    """
    return {
        "next_steps": [(step["label"], step["command"]) for step in steps],
        "original": original_said(listed and listed["original"], currency),
        "original_href": listed and listed["original_href"],
        "at_desk": _at_desk(listed) if listed else [],
        "stale": [one["sentence"] for one in stale],
    }


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
