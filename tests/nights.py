"""One night of chosen steps, published without pages: for tests of what is carried over."""

from __future__ import annotations

import json

from pipelines.steps.all_steps import STEPS, STORE_TABLES
from pipelines.store.published_state import MANIFEST
from pipelines.store.transaction import RefreshSession

KNOWN = STORE_TABLES


def make(session: RefreshSession, *names: str) -> None:
    """Makes all tables of the named steps."""
    steps = {step.name: step for step in STEPS}
    for name in names:
        made = list(steps[name].work(session, list(steps[name].tables)))
        assert made


def publish(session: RefreshSession) -> None:
    """Puts the working copy in the store's place, with a manifest and no pages."""
    session.put_table_states()
    published = session.publication(None)
    session.put_publication(published)
    session.staging.mkdir()
    (session.staging / MANIFEST).write_text(json.dumps(published.manifest()), "utf-8")
    session.commit()
