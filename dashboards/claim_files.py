"""The claim pages as files: each made once for what it shows.

Belongs here: writing them, and taking from the last pages those that would come out the same. Does
not belong here: what a page shows (`pages.claim`).

`MADE_FROM` tells of each page what it was made from and the SHA-256 of its file. A page that would
be made of the same, by the same tool, gets a second name in the new folder, so nobody may write
into it afterwards.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import jinja2
import polars as pl

from dashboards.formats import file_name

MADE_FROM = "claims.json"


def write_claims(
    folder: Path,
    template: jinja2.Template,
    keys: Mapping[str, str],
    contents: Callable[[list[str]], Iterable[Mapping[str, Any]]],
    shared: Mapping[str, Any],
    last: Path | None,
) -> None:
    """Writes a page for each claim of `keys` into `folder`, which is made.

    Args:
        keys: by claim what stands for all that its page is made of, beside `shared`.
        contents: gives what the template needs of each of some claims.
        shared: what it needs of all of them.
        last: the published pages as the same tool made them; None to make every page.
    """
    folder.mkdir(exist_ok=True)
    before = _made_from(last)
    of_all = repr((jinja2.__version__, pl.__version__, sorted(shared.items())))
    made_from: dict[str, list[str]] = {}
    to_make = {}
    for claim, rows in keys.items():
        name = file_name(claim)
        key = hashlib.sha256(f"{of_all}\n{rows}".encode()).hexdigest()
        was, digest = before.get(name, ("", ""))
        if (
            was == key
            and last is not None
            and _taken(last / "claims" / name, folder / name, digest)
        ):
            made_from[name] = [key, digest]
        else:
            to_make[claim] = key
    for content in contents(list(to_make)):
        page = template.render({**content, **shared}).encode("utf-8")
        (folder / content["file"]).write_bytes(page)
        key = to_make[content["claim"]]
        made_from[content["file"]] = [key, hashlib.sha256(page).hexdigest()]
    text = json.dumps(made_from, sort_keys=True, indent=0)
    (folder.parent / "assets" / MADE_FROM).write_text(text + "\n", encoding="utf-8")


def _made_from(last: Path | None) -> dict[str, tuple[str, str]]:
    """By file name what the last pages were made from; empty where nothing tells."""
    if last is None:
        return {}
    with suppress(OSError, ValueError, AttributeError, TypeError):
        kept = json.loads((last / "assets" / MADE_FROM).read_text(encoding="utf-8"))
        return {name: (str(key), str(digest)) for name, (key, digest) in kept.items()}
    return {}


def _taken(old: Path, new: Path, digest: str) -> bool:
    """Whether the old page is as it was written, and now has a second name."""
    try:
        if hashlib.sha256(old.read_bytes()).hexdigest() != digest:
            return False
        try:
            os.link(old, new)
        except OSError:
            shutil.copy2(old, new)
    except OSError:
        return False
    return True
