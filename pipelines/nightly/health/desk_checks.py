"""What the doctor finds at the desk: its chain, documents, proxies, stale corrections.

Belongs here: looks that write nothing. Does not belong here: opening a desk to act
(`pipelines.events`).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator

from pipelines.errors import LimeledgerError, StorageError, WorkspaceError
from pipelines.events.connecting import looked_at
from pipelines.events.database import Desk
from pipelines.events.documents import document_faults
from pipelines.events.event import chain_faults
from pipelines.events.letter_table import differing_letters
from pipelines.events.recorded import recorded_of
from pipelines.events.takeover import old_rulings, read_recorded
from pipelines.nightly.health.finding import Finding
from pipelines.store.correction_states import correction_states
from pipelines.store.database import has_table, read_frame
from pipelines.store.lost_desk import lost_desk
from pipelines.store.reading import open_store
from pipelines.workspace.desk_settings import DeskSettings
from pipelines.workspace.layout import DESK_DATABASE, SETTINGS_FILE, Workspace
from pipelines.workspace.settings import load_settings

MOST_NAMED = 20


def desk_findings(workspace: Workspace) -> Iterator[Finding]:
    """Everything that is wrong, or good to know, about the desk."""
    try:
        settings = load_settings(workspace)
    except WorkspaceError:
        return  # told of already
    yield from _proxies(settings.desk)
    if old_rulings(workspace).is_file():
        for sentence in read_recorded(old_rulings(workspace)).faults:
            yield Finding("warning", "desk", sentence, "It was not taken over; rule again.")
    try:
        desk = looked_at(workspace, settings)
    except LimeledgerError as error:
        yield Finding("fault", "desk", str(error))
        return
    if desk is None:
        yield from _lost(workspace, 0)
        return
    try:
        yield from _events(desk)
    except LimeledgerError as error:
        yield Finding("fault", "desk", str(error))
    finally:
        desk.close()


def _proxies(settings: DeskSettings) -> Iterator[Finding]:
    """An address whose header counts speaks for everybody; others may share it."""
    if not settings.trusted_header:
        if settings.trusted_proxies:
            yield Finding(
                "note",
                "desk",
                f"[desk] trusted_proxies in {SETTINGS_FILE} names proxies, and no trusted_header "
                "says who they speak for: people sign in with a password.",
            )
        return
    if not settings.trusted_proxies:
        yield Finding(
            "warning",
            "desk",
            f"[desk] trusted_header in {SETTINGS_FILE} counts from nobody.",
            "Name the proxy's address in trusted_proxies.",
        )
    for address in settings.trusted_proxies:
        network = ipaddress.ip_network(address)
        if network.is_loopback:
            shared = "every program on this machine has"
        elif network.num_addresses > 1:
            shared = f"{network.num_addresses:,} machines have"
        else:
            continue
        yield Finding(
            "warning",
            "desk",
            f"[desk] trusted_proxies has {address}, an address that {shared}: each may say that "
            f"it is anybody, by {settings.trusted_header}.",
            "Name the one address of the proxy, on a network where no other has it.",
        )


def _events(desk: Desk) -> Iterator[Finding]:
    with desk.reading() as connection:
        events = desk.events(connection)
        letters = differing_letters(connection, events)
    if letters:
        fault = f"The table of letters is not what the events say, first at letter {letters[0]}."
        yield Finding("fault", "desk", fault, "Restore desk/ from a backup.")
    for number, sentence in enumerate(chain_faults(events)):
        if number == MOST_NAMED:
            yield Finding("fault", "desk", "More events are broken; the first are named.")
            break
        yield Finding("fault", "desk", sentence, "Restore desk/ from a backup.")
    digests = {
        event.payload["sha256"]
        for event in events
        if event.kind == "document" and "sha256" in event.payload
    }
    digests |= {sha256 for event in events for sha256 in event.payload.get("documents") or ()}
    for sentence in document_faults(desk, digests):
        yield Finding("fault", "desk", sentence)
    yield from _lost(desk.workspace, events[-1].event if events else 0)
    yield from _corrections(desk)


def _lost(workspace: Workspace, last: int) -> Iterator[Finding]:
    """Events that were published and are no more; `last` is the desk's last one."""
    try:
        if lost := lost_desk(workspace, load_settings(workspace)):
            back = "Put desk/ back from a backup: till then nothing is published."
            yield Finding("fault", "desk", lost, back)
            return
        with open_store(workspace) as con:
            if not has_table(con, "register_seen"):
                return  # made before there was a desk
            seen = read_frame(con, "register_seen")["last_event"].max()
    except (WorkspaceError, StorageError):
        return  # told of with the store
    if isinstance(seen, int) and seen > last:
        ends = f"the desk ends at event {last}" if last else f"desk/{DESK_DATABASE} is not there"
        yield Finding(
            "fault",
            "desk",
            f"What people recorded is lost: the last publication knew it up to event {seen}, and "
            f"{ends}.",
            "Restore desk/ from a backup.",
        )


def _corrections(desk: Desk) -> Iterator[Finding]:
    recorded = recorded_of(desk)
    if not recorded.made:
        return
    try:
        with open_store(desk.workspace) as con:
            states = correction_states(con, recorded, desk.settings.timezone)
    except (WorkspaceError, StorageError):
        return  # what is wrong with the store is told elsewhere
    for state in states:
        if state.state == "stale":
            yield Finding("warning", "corrections", state.stale_sentence, _WAY_OUT)


_WAY_OUT = "Withdraw it (`limeledger withdraw EVENT`), or correct the row that stands there now."
