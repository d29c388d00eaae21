"""A workspace of which a test writes every export and mapping."""

from __future__ import annotations

import polars as pl
import xlsxwriter

from pipelines.steps.ingest import read_files, settle, stored_rows
from pipelines.steps.landing import facts_of, set_aside_of
from pipelines.store.deliveries import delivered
from pipelines.store.inputs import load_inputs

ENDS = ("records", "superseded", "duplicates", "set_aside", "left_out", "joined")


class Bench:
    """A workspace with only the files that a test writes below exports/ and mappings/."""

    def __init__(self, folder, run):
        self.folder, self.run = folder, run
        for path in sorted((folder / "exports").rglob("*"), reverse=True):
            path.rmdir() if path.is_dir() else path.unlink()
        (folder / "mappings").mkdir(exist_ok=True)

    def export(self, name, text):
        """Writes a text export."""
        path = self.folder / "exports" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def book(self, name, sheets):
        """Writes a workbook of sheets (name, rows)."""
        path = self.folder / "exports" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with xlsxwriter.Workbook(path) as book:
            for title, rows in sheets:
                sheet = book.add_worksheet(title)
                for at, row in enumerate(rows):
                    sheet.write_row(at, 0, row)

    def mapping(self, name, text):
        """Writes a mapping."""
        (self.folder / "mappings" / name).write_text(text, encoding="utf-8")

    def check(self):
        """What `check` tells; every line of the accounts adds up."""
        told = self.run("check", self.folder, "--as-of", "2025-12-31", "--json").json
        assert told["accounts"]
        for one in told["accounts"]:
            assert one["rows_read"] + one["rows_split"] == sum(one[name] for name in ENDS)
        return told

    def accounts(self, *names):
        """Some columns of the accounts."""
        names = names or ("feed", "mapping", "file", "sheet", "rows_read", "records", "set_aside")
        return [tuple(one[name] for name in names) for one in self.check()["accounts"]]

    def rules(self):
        """The rules of what was set aside, with its feed and column."""
        return [(one["feed"], one["rule"]) for one in self.check()["problems"]]

    def remove(self, name):
        """Takes an export away."""
        (self.folder / "exports" / name).unlink()

    def rename(self, name, other):
        """Gives an export another name."""
        text = (self.folder / "exports" / name).read_text(encoding="utf-8")
        self.remove(name)
        self.export(other, text)

    def records(self, feed):
        """The records of a feed as texts, by key."""
        inputs = load_inputs(self.folder, "2025-12-31")
        parts = [
            (one.facts["file"], part)
            for one in read_files(inputs, delivered(inputs))
            for part in one.parts
        ]
        rows = stored_rows(feed, [(file, part) for file, part in parts if part.feed == feed])
        records = settle(inputs, feed, rows, facts_of(parts), set_aside_of(parts)).records
        return records.with_columns(pl.all().cast(pl.String)).to_dicts()

    def aside(self, file):
        """The rows of a file that are set aside: line, column, rule, value."""
        inputs = load_inputs(self.folder, "2025-12-31")
        told = [
            set_aside_of([(one.facts["file"], part)])
            for one in read_files(inputs, delivered(inputs))
            for part in one.parts
            if one.facts["file"] == file
        ]
        return pl.concat(told).sort("line").select("line", "column", "rule", "value").rows()
