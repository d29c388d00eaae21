"""The process that gathers claim pages ahead, so that the desk itself goes on answering.

Belongs here: what runs in the child alone. Does not belong here: starting and ending it
(`gathering_ahead`), what a page shows (`claim_content`).

A claim on which nothing bears that people did since the refresh has the page that the refresh
would have written for it. All is read from one moment's events; whether something bears on a claim
by now is asked again where the page is given out.
"""

from __future__ import annotations

import datetime as dt
import os
import pickle
import sys
from collections.abc import Iterator, Mapping
from multiprocessing.connection import Connection

from dashboards.formats import file_name
from pipelines.desk.ahead import Key, packed
from pipelines.desk.claim_content import contents_of
from pipelines.errors import LimeledgerError
from pipelines.events import open_desk
from pipelines.events.recorded import recorded_of
from pipelines.queries.decided_since import rests_on, touched_since
from pipelines.queries.store_now import StoreNow, store_now
from pipelines.store.claim_reads import claims_newest_first
from pipelines.store.inputs import load_inputs
from pipelines.workspace.layout import Workspace

# So many of the newest claims, whatever became of them, and then as many open ones as there is
# room for: some 6 kB each, and 7 ms of a processor.
NEWEST, MOST = 3_000, 8_000
AT_ONCE = 200


def gathered_ahead(workspace: Workspace, day: dt.date) -> Iterator[tuple[Key, Mapping[str, bytes]]]:
    """Pages of claims that have none among the published, the likeliest to be asked for first,
    each go with what it rests on.

    Where the settings hide names no page may tell what another hides, so that none is gathered; nor
    where the day is another than the last refresh's, since then each claim is decided first.
    """
    desk = open_desk(workspace)
    try:
        key = rests_on(desk, day)
        inputs = load_inputs(workspace.root, day, recorded_of(desk))
        if inputs.settings.hide:
            return
        with store_now(inputs) as now:
            wanted = _wanted(now) if now.is_of_its_day else []
            for first in range(0, len(wanted), AT_ONCE):
                if rests_on(desk, day) != key:
                    return
                claims = sorted(wanted[first : first + AT_ONCE])
                made = contents_of(now, claims)
                yield key, {claim: packed(content) for claim, content in made.items()}
    finally:
        desk.close()


def _wanted(now: StoreNow) -> list[str]:
    """The claims whose pages are worth gathering."""
    claims = claims_newest_first(now.con)
    newest, older = claims.head(NEWEST), claims.slice(NEWEST).filter("is_open")
    touched = touched_since(now)
    published = set(os.listdir(now.inputs.workspace.published / "claims"))
    return [
        claim
        for claim in [*newest["claim"], *older["claim"]][:MOST]
        if claim not in touched and file_name(claim) not in published
    ]


def main(arguments: list[str]) -> None:
    """Sends what it gathers, as long as somebody reads it."""
    root, day, descriptor = arguments
    os.nice(10)  # whoever waits for an answer comes first
    connection = Connection(int(descriptor), readable=False)
    try:
        for go in gathered_ahead(Workspace.open(root), dt.date.fromisoformat(day)):
            connection.send_bytes(pickle.dumps(go))
    except (LimeledgerError, OSError):
        return  # what is not gathered ahead is gathered when it is asked for


if __name__ == "__main__":
    main(sys.argv[1:])
