"""All steps of a refresh, each after those whose tables it reads.

Belongs here: the list, and what follows from it. Does not belong here: any step.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from pipelines.steps import (
    archive,
    cause_suggestions,
    decide,
    figures,
    joins,
    landing,
    letter_register,
    night,
    payment_ledger,
    records,
    reference,
    second_opinions,
    startups,
    units,
)
from pipelines.steps.publish import publication_step
from pipelines.steps.step import Step, Written
from pipelines.store.states import TABLE_STATES
from pipelines.store.transaction import RefreshSession
from schemas.states import TableStates

MAKING = (
    reference.STEP,
    landing.STEP,
    records.STEP,
    joins.STEP,
    decide.STEP,
    payment_ledger.STEP,
    units.STEP,
    units.WATERS,
    startups.STEP,
    letter_register.STEP,
    figures.STEP,
    second_opinions.STEP,
    cause_suggestions.STEP,
    night.STEP,
    archive.STEP,
)


def _names(steps: Collection[Step]) -> tuple[str, ...]:
    return tuple(name for step in steps for name in step.tables)


def _table_states(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    del wanted  # one table
    session.put_table_states()
    yield Written(TABLE_STATES)


STATES = Step(
    name="states_of_tables",
    group="publication",
    title="States of all tables",
    tables={TABLE_STATES: TableStates},
    reads=_names(MAKING),
    work=_table_states,
    rooms=("pipelines/store/states.py",),
    about={TABLE_STATES: "Two tables agree where their state is the same."},
)
PUBLICATION = publication_step(_names([*MAKING, STATES]))
STEPS = (*MAKING, STATES, PUBLICATION)
# Every table of the store.
STORE_TABLES = tuple(name for name in _names(STEPS) if not name.startswith("published_"))
