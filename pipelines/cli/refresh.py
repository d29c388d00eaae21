"""`limeledger refresh`: the nightly job's assets, materialized in this process."""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.cli.console.arguments import takes_as_of, takes_json, takes_workspace
from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import LimeledgerError, WorkspaceError

if TYPE_CHECKING:
    from pipelines.orchestration.summary import Summary
    from pipelines.store.inputs import Inputs
    from pipelines.store.transaction import RefreshSession

HELP = "Read what is new, validate, decide, compute and publish."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_json(parser)
    takes_workspace(parser)
    takes_as_of(parser)


def run(args: argparse.Namespace) -> int:
    """Refreshes the workspace and tells what came of it."""
    from pipelines.orchestration.summary import tell

    summary = refresh(Path(args.workspace), args.as_of)
    if args.json:
        print_json(summary.to_dict())
    tell(summary, teller(args.json))
    return summary.exit_code


def refresh(workspace: Path, as_of: str | None) -> Summary:
    """One refresh; raises what stopped it, after the pages and the people have been told."""
    try:
        return _refresh(workspace, as_of)
    except Exception as error:
        from pipelines.nightly.notifications import after_failure

        # Settings, terms or reference files that are wrong end with the promise of exit code 2:
        # nothing was written.
        leaves_note = not isinstance(error, WorkspaceError)
        for sentence in after_failure(workspace, error, leaves_note=leaves_note):
            progress(sentence)
        raise


def _refresh(workspace: Path, as_of: str | None) -> Summary:
    from pipelines.orchestration.summary import summarize
    from pipelines.store.inputs import load_inputs
    from pipelines.store.transaction import is_up_to_date

    started = time.monotonic()
    inputs = load_inputs(workspace, as_of)  # faults of the workspace end here, before Dagster
    if is_up_to_date(inputs):
        progress("Nothing is new since the last refresh: store and pages are up to date.")
        return summarize(inputs, time.monotonic() - started)
    sessions: list[RefreshSession] = []
    try:
        _materialize(inputs, sessions)
    except Exception as error:
        cause = sessions[0].failure if sessions and sessions[0].failure else _root(error)
        if isinstance(cause, Exception):
            raise cause from None
        raise
    return summarize(inputs, time.monotonic() - started)


def _materialize(inputs: Inputs, sessions: list[RefreshSession]) -> None:
    import dagster as dg

    from pipelines.orchestration.definitions import build_definitions
    from pipelines.orchestration.jobs import JOB

    definitions = build_definitions(
        inputs.workspace.root, inputs.as_of.isoformat(), progress, sessions.append
    )
    with dg.DagsterInstance.ephemeral() as instance:
        quiet = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}
        definitions.resolve_job_def(JOB).execute_in_process(instance=instance, run_config=quiet)


def _root(error: BaseException) -> BaseException:
    """The error behind Dagster's own, which wraps what a resource raises, down to one of ours."""
    while error.__cause__ is not None and not isinstance(error, LimeledgerError):
        error = error.__cause__
    return error
