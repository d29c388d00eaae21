"""Documents that people bring: kept on the disk before anything names them.

Belongs here: the documents of a form. Does not belong here: which kinds are kept
(`pipelines.events.documents`).
"""

from __future__ import annotations

from io import BytesIO

from pipelines.actions import Caller
from pipelines.desk.bodies import Form
from pipelines.desk.site import DeskSite
from pipelines.events.documents import keep_document


def keep_all(site: DeskSite, caller: Caller, form: Form) -> list[str]:
    """Keeps the documents of a form, and gives their SHA-256.

    Raises:
        Refused: the role may not, or one is of no kind that is kept, empty or too large.
    """
    caller.require("document")
    return [
        keep_document(site.desk, BytesIO(sent.content), sent.name).sha256 for sent in form.documents
    ]
