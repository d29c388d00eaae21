"""Readings built by hand, as the reader of exports gives them."""

import csv
import io

import polars as pl

from pipelines.exports.reading import FAULTS, Reading, rows_schema


def reading(text, *, faults=(), typed=None):
    """The Reading of a comma-separated text without line breaks in fields."""
    lines = text.strip("\n").split("\n")
    header = [name.strip() for name in next(csv.reader([lines[0]]))]
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        cells = next(csv.reader(io.StringIO(line)))
        rows.append((number, line, *(cell.strip() for cell in cells)))
    schema = rows_schema(len(header))
    return Reading(
        encoding="utf-8",
        delimiter=",",
        header=header,
        header_line=1,
        rows=pl.DataFrame(rows, schema=schema, orient="row"),
        faults=pl.DataFrame(list(faults), schema=FAULTS, orient="row"),
        rows_read=len(rows) + len({fault[0] for fault in faults}),
        typed=typed,
    )
