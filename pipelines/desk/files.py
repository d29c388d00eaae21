"""Files that programs fetch: documents, letters, months.

Belongs here: the list of them for the description. Does not belong here: making them.
"""

from __future__ import annotations

# Name, summary, path, media types.
FILES: tuple[tuple[str, str, str, tuple[str, ...]], ...] = ()
