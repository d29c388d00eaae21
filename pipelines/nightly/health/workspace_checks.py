"""The doctor's looks, each a generator of findings; none of them writes or takes a lock.

Belongs here: what is looked at in the files around the exports and the store. Does not belong
here: what the store itself tells (`store_checks`), or how findings add up (`report`).
"""

from __future__ import annotations

import datetime as dt
import os
import shutil
import socket
from collections.abc import Iterator

from pipelines.errors import WorkspaceError
from pipelines.exports.delivery import find_exports
from pipelines.nightly.health.access_checks import permission_findings, reader_findings
from pipelines.nightly.health.archive_checks import archive_findings
from pipelines.nightly.health.finding import Finding, looked
from pipelines.nightly.health.input_checks import input_findings
from pipelines.nightly.health.state_checks import runs_elsewhere, working_copy_findings
from pipelines.nightly.health.store_checks import store_findings
from pipelines.nightly.page_note import note_of, read_note
from pipelines.store.inputs import sound_mappings
from pipelines.store.leftovers import leftovers
from pipelines.store.run_log import last_whole_run, read_log
from pipelines.workspace.clock import clock
from pipelines.workspace.layout import Workspace
from pipelines.workspace.lock import Holder, named_holder
from pipelines.workspace.settings import Settings, load_settings
from schemas.codes import FEEDS

LONG_HOURS = 6  # the largest workspaces refresh in minutes
SPACE_FACTOR = 3  # a working copy of the store, new pages beside the old ones, and room to spill
LEAST_SPACE_BYTES = 200_000_000
CLOCK_SLACK = dt.timedelta(minutes=5)


def all_findings(workspace: Workspace, now: dt.datetime) -> Iterator[Finding]:
    """Everything that is wrong, or good to know, about a workspace."""
    settings = None
    try:
        settings = load_settings(workspace)
    except WorkspaceError as error:
        for fault in error.faults:
            yield Finding("fault", "settings", fault)
    else:
        yield from looked("inputs", input_findings(workspace, now.astimezone(settings.zone).date()))
    yield from looked("exports", _exports(workspace, now))
    holder = named_holder(workspace.store)
    running = holder is not None and _is_running(holder)
    yield from _lock(holder, running, now)
    if not running:
        yield from looked("leftovers", _leftovers(workspace))
        yield from looked("working copy", working_copy_findings(workspace))
    yield from looked("permissions", permission_findings(workspace))
    if settings is not None:
        yield from looked("permissions", reader_findings(workspace, settings))
    yield from _space(workspace)
    yield from looked("last refresh", _last_night(workspace))
    yield from looked("last refresh", runs_elsewhere(workspace))
    yield from looked("store", store_findings(workspace, settings, now))
    yield from looked("archive", archive_findings(workspace))
    if settings is not None:
        yield from (*_telling(settings), *_clock(settings, now))


def _exports(workspace: Workspace, now: dt.datetime) -> Iterator[Finding]:
    try:
        mappings = sound_mappings(workspace)
        files = find_exports(workspace.root, FEEDS, mappings.names)
    except WorkspaceError as error:
        yield Finding("fault", "exports", str(error))
        return
    for sentence in mappings.unused_sentences([file.path for file in files]):
        yield Finding("warning", "mappings", sentence)
    for file in files:
        if file.refusal is not None:
            yield Finding("warning", "exports", file.refusal[1])
            continue
        try:
            written = dt.datetime.fromtimestamp(file.absolute.stat().st_mtime, dt.UTC)
        except OSError:
            continue
        if written > now + CLOCK_SLACK and clock() == "system":
            yield Finding(
                "warning",
                "clock",
                f"exports/{file.path} was written at {written:%Y-%m-%d %H:%M} UTC, which is still "
                "to come.",
                "Set the clock of this machine, or of the one that writes the exports.",
            )
    if not files:
        yield Finding(
            "warning", "exports", "exports/ holds no export.", "Put the CSV or .xlsx exports there."
        )


def _lock(holder: Holder | None, running: bool, now: dt.datetime) -> Iterator[Finding]:
    if holder is None:
        return
    who = f"process {holder.pid} on {holder.host}, since {holder.since}"
    if not running:
        elsewhere = holder.host != socket.gethostname()
        yield Finding(
            "warning",
            "lock",
            f"The refresh of {who} did not end"
            + (", or still runs on that machine." if elsewhere else "."),
            "Look there whether it runs; if not, refresh again."
            if elsewhere
            else "Refresh again: its half-done work is removed.",
        )
        return
    hours = _hours_since(holder.since, now)
    long = hours is not None and hours > LONG_HOURS
    yield Finding(
        "warning" if long else "note",
        "lock",
        f"A refresh is running ({who}).",
        f"It has run for {hours:.0f} hours; look whether it still works, and end that process if "
        "not."
        if long
        else "",
    )


def _is_running(holder: Holder) -> bool:
    """Whether the holder's process lives; of another machine's nothing is known."""
    if holder.host != socket.gethostname():
        return False
    try:
        os.kill(holder.pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True  # somebody else's process
    return True


def _hours_since(moment: str, now: dt.datetime) -> float | None:
    try:
        return (now - dt.datetime.fromisoformat(moment)).total_seconds() / 3600
    except (ValueError, TypeError):
        return None


def _leftovers(workspace: Workspace) -> Iterator[Finding]:
    names = [str(path.relative_to(workspace.root)) for path in leftovers(workspace)]
    if names:
        yield Finding(
            "warning",
            "leftovers",
            f"An interrupted refresh left {', '.join(names)} behind.",
            "Refresh again: the next one removes it, or goes on from it.",
        )


def _space(workspace: Workspace) -> Iterator[Finding]:
    try:
        used = workspace.database.stat().st_size if workspace.database.exists() else 0
        free = shutil.disk_usage(workspace.root).free
    except OSError:
        return
    needed = max(SPACE_FACTOR * used, LEAST_SPACE_BYTES)
    if free < needed:
        yield Finding(
            "warning",
            "disk",
            f"{free / 1e6:,.0f} MB are free, and a refresh may need {needed / 1e6:,.0f} MB.",
            "Free some space; a refresh that meets a full disk leaves all as it was.",
        )


def _last_night(workspace: Workspace) -> Iterator[Finding]:
    last = last_whole_run(read_log(workspace.store))
    note = read_note(workspace.published) or (note_of(last) if last is not None else None)
    if note is not None:
        what = "was found killed" if note.get("outcome") == "killed" else "failed"
        yield Finding(
            "warning",
            "last refresh",
            f"The refresh at {note.get('failed_at')} {what}: {note.get('reason')}",
            "Mend that and refresh; the pages are those of the last good refresh.",
        )


def _telling(settings: Settings) -> Iterator[Finding]:
    command, mail = settings.on_failure_command, settings.mail
    if command and shutil.which(command[0]) is None:
        yield Finding(
            "warning",
            "telling",
            f"nightly.on_failure_command names {command[0]}, which is no program here.",
            "Write the program's whole path.",
        )
    for name in (mail.user_env, mail.password_env) if mail else ():
        if name and name not in os.environ:
            yield Finding(
                "note",
                "telling",
                f"nightly.mail names the environment variable {name}, which is not set here.",
                "Set it where the refresh runs at night.",
            )


def _clock(settings: Settings, now: dt.datetime) -> Iterator[Finding]:
    ours = now.astimezone(settings.zone)
    machines = now.astimezone()
    if ours.utcoffset() != machines.utcoffset():
        yield Finding(
            "note",
            "time zone",
            f"It is {ours:%Y-%m-%d %H:%M} in the workspace's time zone ({settings.timezone}) and "
            f"{machines:%Y-%m-%d %H:%M} on this machine's clock, which is the one that cron goes "
            "by.",
        )
