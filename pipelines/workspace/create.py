"""A new, empty workspace that loads and refreshes as it is.

Belongs here: which files a new workspace has. Does not belong here: the sample workspace
(`sample_data`), and columns, which come from the table classes.
"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

from jinja2 import Environment, StrictUndefined

from pipelines.errors import StorageError, UsageError
from pipelines.workspace.layout import SETTINGS_FILE, refuse_name
from pipelines.workspace.reference import header_of
from schemas.columns import column_names
from schemas.dictionary import data_package, dictionary_markdown, grain
from schemas.feeds import FEED_TABLES
from schemas.reference import ALL_REFERENCE_TABLES

EDITION_FILE = "terms/example-edition.toml"


def create_workspace(folder: Path) -> list[Path]:
    """Writes an empty workspace into `folder`, which may exist if it is empty.

    Returns:
        The files written, in order of their names.

    Raises:
        UsageError: the folder holds something already, or is a file.
        StorageError: the disk is full or the folder cannot be written.
    """
    written = fill_folder(folder, {name: text.encode() for name, text in _texts().items()})
    (folder / "mappings").mkdir()
    return written


def fill_folder(folder: Path, contents: dict[str, bytes]) -> list[Path]:
    """Writes files by their paths into `folder`, which may exist if it is empty.

    Returns:
        The files written, in their order.

    Raises:
        UsageError: the folder holds something already, or is a file.
        WorkspaceError: no workspace can have its name.
        StorageError: the disk is full or the folder cannot be written.
    """
    refuse_name(folder)
    try:
        if folder.exists() and not folder.is_dir():
            raise UsageError(f"{folder} is a file; name a folder that is new or empty.")
        if folder.exists() and any(folder.iterdir()):
            raise UsageError(f"{folder} is not empty; name a folder that is new or empty.")
        for name, content in contents.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
    except OSError as error:
        raise StorageError(
            f"{folder} cannot be written ({error.strerror or error}); free space on the disk or "
            "give write permission, then try again with a new folder."
        ) from None
    return [folder / name for name in contents]


def _texts() -> dict[str, str]:
    """The text of every file of the new workspace, by its path."""
    exports = {feed: f"exports/{feed}/{feed}.csv" for feed in FEED_TABLES}
    texts = {
        SETTINGS_FILE: _template("limeledger.toml"),
        EDITION_FILE: _template("edition.toml"),
        "README.md": _readme(),
        "data-dictionary.md": dictionary_markdown(
            {**FEED_TABLES, **ALL_REFERENCE_TABLES}, "Data dictionary: exports and reference files"
        ),
        "datapackage.json": _descriptor(exports),
    }
    for feed, path in exports.items():
        texts[path] = _header(column_names(FEED_TABLES[feed]))
    for name in ALL_REFERENCE_TABLES:
        texts[f"reference/{name}.csv"] = _header(header_of(name))
    return dict(sorted(texts.items()))


def _header(columns: list[str]) -> str:
    return ",".join(columns) + "\n"


def _descriptor(exports: dict[str, str]) -> str:
    paths = {feed: [path] for feed, path in exports.items()}
    return json.dumps(data_package("limeledger-exports", FEED_TABLES, paths), indent=2) + "\n"


def _readme() -> str:
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    return environment.from_string(_template("README.md.j2")).render(
        feeds=[(name, grain(table)) for name, table in FEED_TABLES.items()],
        references=[(name, grain(table)) for name, table in ALL_REFERENCE_TABLES.items()],
    )


def _template(name: str) -> str:
    return (files("pipelines.workspace") / "templates" / name).read_text(encoding="utf-8")
