"""The claim that came first, where one claims the same failure again.

Belongs here: what is told of it, on the list and on the claim's page. Does not belong here: telling
which claim comes first (`pipelines.coverage`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import formats


def original_said(original: Mapping[str, Any] | None, currency: str = "") -> str | None:
    """What is known of the claim that comes first, in one sentence; None without one.

    Args:
        original: claim, standing, credited, last_credited_on, equal (`schemas.worklist.ORIGINAL`).
        currency: to stand behind the amount.
    """
    if original is None:
        return None
    word = formats.VERDICTS[original["standing"]].lower()
    when = f" on {original['last_credited_on']}" if original["last_credited_on"] else ""
    credited = formats.money(original["credited"], currency)
    paid = f"{credited} paid{when}" if original["credited"] else "nothing paid"
    same = (
        "the amounts claimed are the same to the cent"
        if original["equal"]
        else "other amounts are claimed"
    )
    return f"First claimed as {original['claim']}: {word}, {paid}; {same}."
