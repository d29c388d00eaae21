"""How a step becomes assets: one factory for all of them.

Belongs here: specs, checks and the call of a step. Does not belong here: any one table, or what a
step does (`pipelines.steps`).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import dagster as dg

from pipelines.errors import LimeledgerError
from pipelines.orchestration.resources import SESSION, Opener
from pipelines.orchestration.telling import blocking_result, materialized, warning_result
from pipelines.steps.in_order import FITS_SCHEMA
from pipelines.steps.step import Step, Written
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.tool import source_hash

# What every step rests on, beside the rooms of its own.
_EVERYWHERE = ("pipelines/store", "pipelines/steps/step.py", "schemas")


def assets_of(step: Step) -> dg.AssetsDefinition:
    """The assets of a step's tables, each of which can be selected alone."""
    code = source_hash((*_EVERYWHERE, *step.rooms))

    @dg.multi_asset(
        name=step.name,
        specs=[_spec(step, name, code) for name in step.tables],
        check_specs=[*_schema_checks(step), *_own_checks(step)],
        required_resource_keys={SESSION},
        can_subset=True,
    )
    def run_step(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult[Any]]:
        opener: Opener = context.resources.session
        with sentences():
            session = opener.opened(context)
        wanted = {key.to_user_string() for key in context.selected_asset_keys}
        yield from _results(step, opener, session, wanted)

    return run_step


def _spec(step: Step, name: str, code: str) -> dg.AssetSpec:
    rests_on = (*step.sources, *step.read_for([name]), *step.within.get(name, ()))
    return dg.AssetSpec(
        name,
        deps=list(dict.fromkeys(rests_on)),
        group_name=step.group,
        kinds=set(step.kinds),
        code_version=code,
        description=step.description(name),
    )


def _schema_checks(step: Step) -> Iterator[dg.AssetCheckSpec]:
    for name in step.tables:
        if step.table_class(name) is not None:
            yield dg.AssetCheckSpec(
                FITS_SCHEMA,
                asset=name,
                blocking=True,
                description="Every column, type and value is as the table's class declares it.",
            )


def _own_checks(step: Step) -> Iterator[dg.AssetCheckSpec]:
    for check in step.checks:
        yield dg.AssetCheckSpec(
            check.name, asset=check.table, blocking=check.blocking, description=check.description
        )


def _results(
    step: Step, opener: Opener, session: RefreshSession, wanted: set[str]
) -> Iterator[dg.MaterializeResult[Any]]:
    """What is there already and what is made now, each table as soon as it stands."""
    to_make = [
        name for name in step.tables if name in wanted and not step.is_current(session, name)
    ]
    made: dict[str, Written] = {}
    if to_make:
        with sentences(), session.step(step.title):
            made = {written.table: written for written in step.work(session, to_make)}
    elif not opener.plan.is_current:
        session.progress(f"{step.title}: already of these inputs")
    for name in step.tables:
        if name in wanted:
            yield _result(step, opener, session, made.get(name), name)


def _result(
    step: Step, opener: Opener, session: RefreshSession, made: Written | None, name: str
) -> dg.MaterializeResult[Any]:
    checks = [blocking_result(FITS_SCHEMA, name, session.cases(name))]
    if step.table_class(name) is None:
        checks = []
    for check in step.checks:
        if check.table == name:
            wrong = check.look(session.readable())
            if check.blocking and wrong:
                session.distrust(name, f"did not pass its check {check.name}")
            result = blocking_result if check.blocking else warning_result
            checks.append(result(check.name, name, wrong))
    return materialized(session, made, name, checks, in_full=opener.in_full)


@contextmanager
def sentences() -> Iterator[None]:
    """Turns a stop that a person can act on into Dagster's failure with the same sentence."""
    try:
        yield
    except LimeledgerError as error:
        raise dg.Failure(description=str(error), allow_retries=False) from error
