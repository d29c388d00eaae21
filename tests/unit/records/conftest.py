"""Files written and read for the tests of records."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipelines.exports import read_rows
from pipelines.records.accounting import account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.mapping import Mapping, load_mapping

ZONE = "America/Denver"
REFERENCES = References(
    pl.Series(["SK-2", "BE-3"]), pl.Series(["LIME-OFF", "CLEAR"]), pl.Series(["SCALE", "GASKET"])
)


class Desk:
    """Reads, parses and accounts texts as if they were the exports of one feed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def mapping(self, feed: str, toml: str | None) -> Mapping:
        """The mapping of a TOML text, else the plain one."""
        if toml is None:
            return Mapping.plain(feed)
        path = self.folder / f"{feed}.toml"
        path.write_text(toml, encoding="utf-8")
        return load_mapping(path, feed)

    def reading(self, text: str):
        """The Reading of a CSV text."""
        path = self.folder / "export.csv"
        path.write_text(text, encoding="utf-8", newline="")
        return read_rows(path)

    def parse(self, feed: str, text: str, toml: str | None = None):
        """The ParsedFile of a CSV text."""
        return parse_file(feed, self.reading(text), self.mapping(feed, toml), ZONE)

    def account(self, feed: str, files: dict, toml: str | None = None):
        """The Accounted of files; a key is a path, or a path and the date in its name."""
        parsed = {}
        for key, text in files.items():
            path, named = key if isinstance(key, tuple) else (key, None)
            parsed[path] = (named, self.parse(feed, text, toml))
        return account(feed, *gather(parsed), REFERENCES)


@pytest.fixture
def desk(tmp_path):
    """A Desk in a folder of its own."""
    return Desk(tmp_path)
