"""Files that programs fetch: documents, letters, months.

Belongs here: the list of them for the description. Does not belong here: making them.
"""

from __future__ import annotations

from pipelines.events.documents import TEXT, XLSX

# Name, summary, path, media types.
FILES: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    (
        "fetch_document",
        "One document, to save.",
        "/documents/{sha256}",
        ("application/pdf", "image/jpeg", "image/png", XLSX, TEXT),
    ),
    ("letter_as_text", "One letter as text.", "/letters/{entry}.txt", ("text/plain",)),
    ("letter_as_page", "One letter as a page.", "/letters/{entry}.html", ("text/html",)),
    ("letter_as_mail", "One letter as a mail.", "/letters/{entry}.eml", ("message/rfc822",)),
    ("month_as_csv", "A month as CSV.", "/months/{month}.csv", ("text/csv",)),
    ("month_as_workbook", "A month as a workbook.", "/months/{month}.xlsx", (XLSX,)),
)
