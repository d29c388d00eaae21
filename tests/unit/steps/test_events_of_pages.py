"""Pages leave events unread that say nothing of a claim: letters are far the most of them."""

from __future__ import annotations

import datetime as dt

import pytest

from pipelines.events.event import Recorded
from pipelines.events.worklist_rows import worklist_row
from pipelines.steps.desk_pages import NO_NEWS

PAYLOADS = {
    "letter": {"kind": "decision", "stage": "written", "to": "ada", "until": "2026-03-10"},
    "sending": {"kind": "decision", "stage": "sending", "to": "ada", "until": "2026-03-10"},
    "user": {"user": "ada", "name": "Ada", "to": "ada", "until": "2026-03-10"},
    "closing": {"month": "2026-02", "to": "ada", "until": "2026-03-10"},
    "hold": {"until": "2026-03-10"},
    "assignment": {"to": "ada"},
}


def _moves(kind: str) -> bool:
    event = Recorded(
        event=1, at="2026-03-09T08:00:00.000000+00:00", as_of=dt.date(2026, 3, 9), actor="ada",
        via="desk", os_user=None, kind=kind, claim="C-1", subject=None, payload=PAYLOADS[kind],
        previous="", digest="",
    )  # fmt: skip
    row = worklist_row("C-1", [event])
    return any(value is not None for name, value in row.items() if name != "claim")


@pytest.mark.parametrize("kind", NO_NEWS)
def test_what_is_left_unread_moves_no_claim(kind: str) -> None:
    """With it the claim stands in the list as it does without any event."""
    assert not _moves(kind)


@pytest.mark.parametrize("kind", ["hold", "assignment"])
def test_what_moves_a_claim_is_read(kind: str) -> None:
    """Were it left unread, the list would not know of it."""
    assert _moves(kind)
    assert kind not in NO_NEWS
