"""Ten letters of the sample, each read by a person: what it decides, asks for and warns of.

Which work touches which hazard, and which document settles what: common practice, no source.
"""

from __future__ import annotations

import contextlib
import re
from typing import NamedTuple

import pytest

from pipelines.events.connecting import looked_at
from pipelines.events.letters import read_register, read_texts
from pipelines.letters.cautions import HAZARDS
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings


class Read(NamedTuple):
    """What one letter must say: its kind, a sentence of its decision, what it asks for by its
    list's numbers, the last day for it, and the hazards that it warns of."""

    kind: str
    says: str
    asks: tuple[str, ...]
    due_on: str | None
    warns: set[str]


FILED, CAUSE = "filing date of the claim", "cause of the failure"
TEST = "complete supply water test from before the failure"
LOG, REQUEST = "the owner's deliming log", "request date of the start-up"
READ = {
    # A contactor; parts are not claimed, hours and rate are cut to what is agreed.
    "WC-000376": Read(
        "decision", "The claim is covered: 189.00 USD is payable.", (), None, {"electricity"}
    ),
    # The fill times out: the cause's words tell of no water, its class is of the water supply.
    "WC-000838": Read(
        "decision", "The claim is covered: 262.34 USD is payable.", (), None, {"water"}
    ),
    "WC-000566": Read(
        "decision", "The claim is covered: 199.99 USD is payable.", (), None, {"water"}
    ),
    "WC-000896": Read(
        "documents", "one document is missing", (TEST,), "21 OCTOBER 2026",
        {"deliming", "electricity"},
    ),
    # No cause is told, so nothing tells of a hazard.
    "WC-000608": Read("documents", "one document is missing", (CAUSE,), "21 OCTOBER 2026", set()),
    "WC-000414": Read(
        "documents", "2 documents are missing", (FILED, CAUSE), "30 OCTOBER 2026", set()
    ),
    "WC-000622": Read(
        "documents", "one document is missing", (LOG,), "30 OCTOBER 2026",
        {"deliming", "electricity"},
    ),
    # The cause is of no class; the part that was put in is of the water side.
    "WC-000030": Read(
        "ruling", "The claim is not covered, and nothing is payable.", (), None, {"water"}
    ),
    # Both days are told; documents are asked for beside the question.
    "WC-000631": Read(
        "question",
        "On file: installed on 2024-10-22, shipped on 2024-11-03. Both cannot be.",
        (REQUEST, LOG), "30 OCTOBER 2026", {"deliming", "water"},
    ),
    # Treated water ran out: a tank, a cutout that guards the heater, a treatment system.
    "WC-000623": Read(
        "question",
        "On file: claim filed on 2026-02-09, failed on 2026-02-18. Both cannot be.",
        (), None, {"steam", "electricity", "water"},
    ),
}  # fmt: skip
# Words of the house that mean nothing to an agency.
INNER = re.compile(
    r"\b(stands?|standing|null|None|verdict|_\w+|\w+_\w+|overtaken|documents_within_days)\b"
)


@pytest.fixture(scope="module")
def texts(sample) -> dict[str, tuple[str, str]]:
    """Kind and plain text of each letter, on one line."""
    workspace = Workspace.open(sample[0])
    desk = looked_at(workspace, load_settings(workspace))
    assert desk is not None
    with contextlib.closing(desk), desk.reading() as connection:
        register = read_register(desk, connection, claims=READ)
        frozen = read_texts(connection, register, list(register.rows))
    return {
        row["claim"]: (row["kind"], " ".join(frozen[entry]["text"].split()))
        for entry, row in register.rows.items()
    }


@pytest.mark.parametrize("claim", READ)
def test_a_letter_says_what_a_person_would_expect(texts, claim) -> None:
    """Decision, requests with their day, and just the cautions that its matter calls for."""
    wanted, (kind, text) = READ[claim], texts[claim]
    assert kind == wanted.kind
    assert f"Claim {claim}," in text
    assert wanted.says in text
    _, _, asked = text.partition("WHAT IS MISSING, BY ")
    for number, document in enumerate(wanted.asks, start=1):
        assert f"{number}. {document} " in asked
    assert f" {len(wanted.asks) + 1}. " not in asked
    assert asked.startswith(wanted.due_on or "")
    assert bool(asked) == bool(wanted.asks)
    warned = {name for name, (_, _, caution) in HAZARDS.items() if caution in text}
    assert warned == wanted.warns
    assert ("BEFORE ANY WORK ON THE UNIT" in text) == bool(wanted.warns)
    assert INNER.findall(text) == []
