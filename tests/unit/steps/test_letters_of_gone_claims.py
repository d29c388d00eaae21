"""Letters of claims that a refresh no longer has: nothing of them is sent any more."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.letters.matters import SCHEMA, STANDING
from pipelines.letters.register import Ends
from pipelines.steps.letter_register import _due

DAY = dt.date(2026, 9, 30)


def entry(number: int, claim: str | None, state: str, **more: object) -> dict[str, object]:
    told = {"entry": number, "claim": claim, "state": state, "kind": "decision", "basis": "a"}
    return told | {"as_of": DAY} | more


ENTRIES = [
    entry(1, "K1", "to_send"), entry(2, "K2", "to_send"), entry(3, "K3", "told_before"),
    entry(4, None, "to_send", kind="installation", serial="S1"),
]  # fmt: skip


@pytest.mark.parametrize(("newer", "overtaken"), [((), [1]), (("K1",), [])])
def test_what_waits_on_a_claim_that_went_is_overtaken(newer, overtaken) -> None:
    """Neither that of a claim on file or of a unit, nor what a person moved since the run read."""
    frame = pl.DataFrame(ENTRIES, schema_overrides=SCHEMA, infer_schema_length=None)
    missing = [pl.lit(None, kind).alias(n) for n, kind in SCHEMA.items() if n not in frame.columns]
    frame = frame.with_columns(missing).select(SCHEMA.names())
    register = SimpleNamespace(
        frame=frame, ends=Ends.of(frame), claims_moved_after=lambda _: set(newer)
    )
    standing = pl.DataFrame([{"claim": "K2", "kind": "decision", "basis": "a"}], schema=STANDING)
    letters = SimpleNamespace(since=DAY, reminders=1, kinds=None)
    inputs = SimpleNamespace(settings=SimpleNamespace(letters=letters), as_of=DAY)
    due_letters = _due(inputs, register, standing, dt.datetime(2026, 9, 30, 3, 0), 7)
    assert due_letters.entries.is_empty()
    assert due_letters.states["entry"].to_list() == overtaken
    assert set(due_letters.states["state"]) <= {"overtaken"}
