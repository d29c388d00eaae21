"""Runs every step in this process, one after the other: what the commands do.

Belongs here: walking the steps, and stopping where a check does not pass. Does not belong here: any
one step, the order of them (`all_steps`), or Dagster (`pipelines.orchestration.assets`), which
walks the same steps in its own runs and keeps what each of them told.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection

from pipelines.nightly.recorded_run import settle
from pipelines.steps.all_steps import STEPS, STORE_TABLES
from pipelines.steps.letter_register import bring_up
from pipelines.steps.planning import Plan, plan
from pipelines.steps.step import Check, Step
from pipelines.store.inputs import Inputs
from pipelines.store.leftovers import remove_leftovers
from pipelines.store.transaction import Progress, RefreshSession, open_session
from pipelines.workspace.stopping import stopped_by_hand

FITS_SCHEMA = "fits_schema"
ALL_TABLES = frozenset(name for step in STEPS for name in step.tables)


class CheckFailedError(Exception):
    """A table that the run has made does not pass a check that stops it: a fault of the tool."""


def refresh(
    inputs: Inputs, progress: Progress, run: str, selected: Collection[str] = ALL_TABLES
) -> Plan:
    """Makes what is selected and not of the inputs yet; returns what it planned to.

    Raises:
        LimeledgerError: the workspace is wrong or busy, its disk cannot be written, or something
            that is read and not selected is not of the inputs.
        CheckFailedError: a table does not pass its check; store and pages are as they were.
    """
    workspace = inputs.workspace
    bring_up(workspace)
    opened = open_session(workspace.root, inputs.as_of, progress, run, STORE_TABLES)
    with stopped_by_hand(), opened as session:
        settle(workspace.root, alone=True)
        planned = walk(session, selected)
        session.close_view()
        # A part leaves alone what another run has finished.
        if session.is_published and {*selected} >= ALL_TABLES:
            with contextlib.suppress(OSError):
                remove_leftovers(workspace)
    return planned


def walk(session: RefreshSession, selected: Collection[str]) -> Plan:
    """Makes what is selected and not of the inputs yet; returns what it planned to.

    Raises:
        RefusedError: something that is read and not selected is not of the session's inputs.
    """
    planned = plan(session, selected)
    for step in STEPS:
        if to_make := planned.to_make[step.name]:
            _make(session, step, to_make)
    return planned


def _make(session: RefreshSession, step: Step, to_make: Collection[str]) -> None:
    with session.step(step.title):
        for written in step.work(session, to_make):
            _refuse_misfit(session, written.table)
        for check in step.checks:
            if check.blocking and check.table in to_make:
                _look(session, check)


def _look(session: RefreshSession, check: Check) -> None:
    if wrong := check.look(session.readable()):
        session.distrust(check.table, f"did not pass its check {check.name}")
        raise CheckFailedError(_sentence(check.name, check.table, wrong))


def _refuse_misfit(session: RefreshSession, table: str) -> None:
    if cases := session.cases(table):
        raise CheckFailedError(_sentence(FITS_SCHEMA, table, cases))


def _sentence(check: str, table: str, cases: list[str]) -> str:
    return f"The table {table} does not pass its check {check}: {'; '.join(cases)}."
