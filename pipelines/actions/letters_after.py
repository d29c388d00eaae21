"""The letters that an action makes due: what its claims have come to, told to their agencies.

Belongs here: deciding those claims now, and appending what is due. Does not belong here: which
letters are due (`pipelines.letters.register`), or what a refresh makes known
(`pipelines.steps.letter_register`).
"""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from pipelines.actions.caller import Caller
from pipelines.coverage.decisions import Decided
from pipelines.coverage.evidence import Evidence, seen
from pipelines.coverage.standing import latest_rulings
from pipelines.errors import LimeledgerError
from pipelines.events.database import Desk
from pipelines.events.letters import append_due, read_register
from pipelines.letters.register import due
from pipelines.letters.standing import standing_claims
from pipelines.queries.decided_since import kept_since
from pipelines.queries.deciding_now import Touched, claims_touched, decide_now, evidence_now
from pipelines.queries.store_now import store_now
from pipelines.steps.letter_register import bring_up_to
from pipelines.steps.letter_texts import written_letters
from pipelines.steps.letters import claim_facts, letters_of_evidence
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.reading import open_store
from pipelines.workspace import clock


def letters_after(
    desk: Desk, caller: Caller, claims: Iterable[str], decided: Decided | None = None
) -> None:
    """Brings the register up to what these claims have come to by an action.

    `decided` are their decisions, where the action has decided them already.

    What cannot be told now, such as by a template that does not work, the next refresh tells: the
    action itself was recorded.
    """
    try:
        with open_store(desk.workspace) as con:  # once for all that reads from it below
            bring_up_to(desk.workspace, con)
            _letters_after(desk, caller, sorted(set(claims)), decided)
    except LimeledgerError:
        return


def _letters_after(desk: Desk, caller: Caller, claims: list[str], decided: Decided | None) -> None:
    decided = decided or _known(desk, caller, claims)
    inputs = load_inputs(desk.workspace.root, caller.as_of)
    with store_now(inputs) as now:
        wanted = claims_touched(now, Touched(claims=frozenset(claims)))
        wanted = wanted.filter(pl.col("claim").is_in(claims))
        gone = set(claims) - set(wanted["claim"])
        decided = decided or decide_now(now, wanted)
        evidence = seen(evidence_now(now, wanted["serial"]))
    standing = standing_claims(
        decided.decisions,
        decided.findings,
        latest_rulings(evidence.rulings),
        inputs.reference.agencies,
        inputs.terms.values,
    )
    made_at = clock.now().replace(tzinfo=None)
    settings = inputs.settings.letters
    with desk.writing() as connection:
        register = read_register(desk, connection, claims=[*standing["claim"], *gone])
        due_letters = due(
            register.frame,
            standing,
            caller.as_of,
            made_at,
            ends=register.ends,
            since=settings.since,
            reminders=settings.reminders,
            kinds=settings.kinds,
            gone=gone,
        )
        if due_letters.is_nothing:
            return
        texts = _texts(inputs, evidence, decided, due_letters.entries, register.frame)
        append_due(
            desk,
            connection,
            due_letters,
            texts,
            caller.as_of,
            actor=caller.actor,
            via=caller.via,
            os_user=caller.os_user,
        )


def _known(desk: Desk, caller: Caller, claims: list[str]) -> Decided | None:
    """The decisions of these claims, where this program keeps what was decided."""
    since = kept_since(desk, caller.as_of)
    if since is None or not set(claims) <= set(since.decisions["claim"]):
        return None
    mine = pl.col("claim").is_in(claims)
    return Decided(since.decisions.filter(mine), since.findings.filter(mine))


def _texts(
    inputs: Inputs,
    evidence: Evidence,
    decided: Decided,
    entries: pl.DataFrame,
    register: pl.DataFrame,
) -> pl.DataFrame:
    facts = claim_facts(inputs, evidence, decided.decisions)
    values = letters_of_evidence(inputs, evidence, decided.decisions, decided.findings, facts)
    return written_letters(inputs.letter_templates, values, entries, register)
