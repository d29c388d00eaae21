"""`limeledger refresh`: the steps of the nightly job, one after the other in this process."""

from __future__ import annotations

import argparse
import contextlib
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_as_of, takes_workspace
from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import BusyError, StorageError, WorkspaceError, is_fault

if TYPE_CHECKING:
    from pipelines.nightly.recorded_run import RecordedRun
    from pipelines.orchestration.summary import Summary
    from pipelines.workspace.layout import Workspace

HELP = "Read what is new, validate, decide, compute and publish."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    takes_as_of(parser)
    parser.add_argument(
        "--desk-is-lost",
        action="store_true",
        help="publish without what people recorded, where desk/ is gone and no backup has it",
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.refresh import summary

    return summary()


def run(args: argparse.Namespace) -> int:
    """Refreshes the workspace and tells what came of it."""
    from pipelines.orchestration.summary import tell

    summary = refresh(Path(args.workspace), args.as_of, args.desk_is_lost)
    if args.json:
        print_json(summary.to_dict())
    tell(summary, teller(args.json))
    return summary.exit_code


def refresh(workspace: Path, as_of: str | None, desk_is_lost: bool = False) -> Summary:
    """One refresh; raises what stopped it, after log, pages and people have been told."""
    from pipelines.nightly.recorded_run import recorded_run
    from pipelines.store.run_log import ALL, Run, new_run_id
    from pipelines.workspace.layout import Workspace
    from pipelines.workspace.stopping import stops_as_such

    run = None
    try:
        opened = Workspace.open(workspace)
        run = Run(new_run_id(), _as_of(opened, as_of), ALL, "command")
        with recorded_run(opened, run) as recorded, stops_as_such():
            return _refresh(workspace, as_of, recorded, desk_is_lost)
    except BaseException as error:
        if not is_fault(error):
            raise
        from pipelines.nightly.notifications import after_failure

        for sentence in after_failure(workspace, error, run):
            progress(sentence)
        raise


def _as_of(workspace: Workspace, given: str | None) -> str | None:
    """The day to decide as of, as far as the settings can be read."""
    from pipelines.store.inputs import as_of_date
    from pipelines.workspace.settings import load_settings

    try:
        return as_of_date(given, load_settings(workspace)).isoformat()
    except WorkspaceError:
        return given


def _refresh(
    workspace: Path, as_of: str | None, recorded: RecordedRun, desk_is_lost: bool
) -> Summary:
    from pipelines.engine.engines import refuse_without_extra
    from pipelines.nightly.recorded_run import settle
    from pipelines.orchestration.summary import summarize
    from pipelines.steps.register_seen import is_behind
    from pipelines.store.archive.seals import catch_up
    from pipelines.store.help_files import renew_help
    from pipelines.store.inputs import load_inputs
    from pipelines.store.leftovers import remove_leftovers
    from pipelines.store.lost_desk import refuse_lost_desk
    from pipelines.store.run_log import Ended
    from pipelines.store.up_to_date import is_up_to_date
    from pipelines.workspace.lock import refresh_lock

    started = time.monotonic()
    inputs = load_inputs(workspace, as_of)  # faults of the workspace end here
    refuse_without_extra(inputs.settings)  # also where nothing is new: the next night would need it
    if is_up_to_date(inputs):
        if is_behind(inputs.workspace):
            from pipelines.steps.letter_register import bring_up

            bring_up(inputs.workspace)
        with contextlib.suppress(BusyError), refresh_lock(inputs.workspace.store):
            settle(workspace, alone=True)
            catch_up(inputs.workspace)  # of a run that was killed behind its swap
            remove_leftovers(inputs.workspace)
            with contextlib.suppress(StorageError):
                renew_help(inputs.workspace.root)
        sentence = "Nothing is new since the last refresh: store and pages are up to date."
        progress(sentence)
        summary = summarize(inputs, time.monotonic() - started)
        recorded.ends(Ended("already_current", summary.exit_code, sentence))
        return summary
    if not desk_is_lost:
        refuse_lost_desk(inputs.workspace, inputs.settings)
    from pipelines.steps import in_order  # with all that makes anything, which takes a while

    in_order.refresh(inputs, progress, recorded.run.run)
    summary = summarize(inputs, time.monotonic() - started)
    recorded.ends(Ended("done", summary.exit_code, f"Published as of {inputs.as_of}."))
    return summary
