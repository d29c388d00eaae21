"""A refresh that writes no pages and describes no table, half of one night of a small workspace.

For tests that look at the rows of the store, the published tables or the desk alone.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from dashboards.site import LIBRARY, SPECIFICATIONS
from pipelines.steps import publish


def leave_out_pages(patch: pytest.MonkeyPatch) -> None:
    """What is published has one page, which tells its day, and the files that charts share; its
    tables have neither a descriptor nor, in the store, comments."""
    patch.setattr(publish, "page_data", _nothing_but_the_day)
    patch.setattr(publish, "build_site", _one_page)
    patch.setattr(publish, "package_of_tables", lambda *_, **__: {})
    patch.setattr(publish, "comment_on_all", lambda con: None)


def _nothing_but_the_day(session: Any, *_: object) -> SimpleNamespace:
    return SimpleNamespace(as_of=session.inputs.as_of)


def _one_page(data: SimpleNamespace, out: Path, *_: object) -> None:
    (out / "assets").mkdir(parents=True, exist_ok=True)
    for name in (LIBRARY, SPECIFICATIONS):
        (out / "assets" / name).write_text("", "utf-8")
    (out / "index.html").write_text(str(data.as_of), "utf-8")
