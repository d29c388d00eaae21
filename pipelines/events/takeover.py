"""Rulings that earlier versions kept in store/rulings.csv, taken over once as events.

Belongs here: reading that file, by the rules of feeds, and appending what it says. Does not belong
here: rulings that are made now (`pipelines.actions.rulings`). The file keeps lying where it is and
is read no more.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import sqlalchemy as sa

from pipelines.events.database import Desk
from pipelines.events.event import Event
from pipelines.events.states import AMOUNTS
from pipelines.events.tables import EVENTS
from pipelines.workspace.append_log import Contents
from pipelines.workspace.layout import Workspace
from schemas.columns import column_names
from schemas.feeds import Rulings

FEED = "rulings"
FILE = f"{FEED}.csv"


def old_rulings(workspace: Workspace) -> Path:
    """Where rulings of earlier versions stand; the file may not be there."""
    return workspace.store / FILE


def take_over(desk: Desk) -> list[str]:
    """Appends the rulings of an earlier version, where that has not been done.

    Returns:
        A sentence for each line that cannot be read, where they were taken over just now.
    """
    path = old_rulings(desk.workspace)
    if not path.is_file():
        return []
    with desk.reading() as connection:
        if _is_done(connection):
            return []
    contents = read_recorded(path)
    with desk.writing() as connection:
        if _is_done(connection):
            return []
        for line, row in contents.records:
            desk.append(connection, _event(desk, line, row))
    return list(contents.faults)


def _is_done(connection: sa.Connection) -> bool:
    imported = sa.select(EVENTS.c.event).where(EVENTS.c.via == "import").limit(1)
    return connection.execute(imported).first() is not None


def _event(desk: Desk, line: int, row: Mapping[str, str]) -> Event:
    given = {name: row.get(name, "") for name in column_names(Rulings)}
    return Event(
        kind="ruling",
        as_of=desk.today(),
        actor=given["ruled_by"],
        via="import",
        claim=given["claim"],
        subject=f"store/{FILE} line {line}",
        payload={
            **{name: given[name] for name in ("ruling", "reason", "ruled_by", "ruled_at")},
            **{name: given[name] or None for name in AMOUNTS},
        },
    )


def read_recorded(path: Path) -> Contents:
    """The rulings in a file, by the rules of feeds, and what cannot be read of it, by line."""
    # Few workspaces have the file, and every command opens the desk.
    from pipelines.exports.text_rows import read_rows
    from pipelines.records.headers import match_headers
    from pipelines.records.mapping import Mapping as FeedMapping

    reading = read_rows(path, known_names=column_names(Rulings))
    matched = match_headers(FEED, reading.header, FeedMapping.plain(FEED))
    places = matched.places
    faults = [
        f"store/{FILE} line {line}: {reason}"
        for line, reason in reading.faults.select("line", "reason").iter_rows()
    ]
    if reading.fault is not None:
        faults.append(f"store/{FILE} line {reading.fault.line}: {reading.fault.sentence}")
    elif matched.fault is not None:  # else its rows would be rulings on nothing, by nobody
        faults.append(f"store/{FILE} line 1: {matched.fault.reason}")
        places = {}
    chosen = ["line", *(f"c{place}" for place in places.values())]
    records = [
        (line, dict(zip(places, values, strict=True)))
        for line, *values in reading.rows.select(chosen).iter_rows()
        if places
    ]
    encoding = reading.encoding.removesuffix("-sig") or "utf-8"
    return Contents(
        places, len(reading.header), records, reading.delimiter or ",", encoding, faults
    )
