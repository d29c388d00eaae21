"""Rows and sheets that are probably no data: totals, footers, repeated headers, charges, covers.

Belongs here: entries of `leave_out`, each with its reason and number of rows. Does not belong here:
applying them (`pipelines.records.left_out`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.assist.drafts.one_word import folded
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS, Pair
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.vocabulary import CHARGES, COVERS, ENDS, TOTALS
from pipelines.exports.reading import Reading
from pipelines.records.row_cells import first_field
from pipelines.records.units_of_measure import is_unit
from schemas.polars_types import median_of

UNITS_BELOW = "units below the header"


@dataclass(frozen=True)
class LeaveOutProposal:
    """An entry of `leave_out`: its tests as a mapping writes them, state and number of rows."""

    tests: dict[str, Any]
    reason: str
    state: str
    rows: int


def rows_to_leave_out(
    reading: Reading, names: Sequence[str], pairs: Sequence[Pair], profiles: dict[int, Profile]
) -> list[LeaveOutProposal]:
    """What of one table is probably no data.

    Args:
        reading: the table.
        names: its headers as a mapping names them.
        pairs: the columns that were found.
        profiles: the columns' values by place.
    """
    proposals = _by_first_cell(reading)
    proposals += _repeated_header(reading, names)
    proposals += _row_of_units(reading, names)
    for pair in pairs:
        if pair.column in ("product", "part"):
            proposals += _charges(names[pair.place], profiles[pair.place])
    return proposals


def _starts(words: Sequence[str]) -> str:
    return rf"^\W*(?:{_listed(words)})(?:\W|$)"


def _listed(words: Sequence[str]) -> str:
    return "|".join(sorted({_literal(folded(word)) for word in words}, key=len, reverse=True))


def _literal(text: str) -> str:
    return "".join(c if c.isalnum() or c == " " else f"\\{c}" for c in text.strip("* "))


def _by_first_cell(reading: Reading) -> list[LeaveOutProposal]:
    """Rows that begin with a word for totals or ends, and hold much less than the others."""
    width = len(reading.header)
    cells = [pl.col(f"c{place}") for place in range(width)]
    filled = pl.sum_horizontal(cell != "" for cell in cells) if cells else pl.lit(0)
    whole = reading.rows.select(
        first=pl.coalesce(pl.when(cell != "").then(cell) for cell in cells), filled=filled
    )
    torn = reading.faults.filter(pl.col("rule").is_in(["too_few_fields", "too_many_fields"]))
    short = torn.unique("line").select(
        first=first_field("value", reading.delimiter or "\t"), filled=pl.lit(0, pl.UInt32)
    )
    rows = pl.concat([whole.cast({"filled": pl.UInt32}), short]).with_columns(
        plain=pl.col("first").str.normalize("NFKD").str.replace_all(r"\p{M}", "").str.to_lowercase()
    )
    many = median_of(whole["filled"])
    alone_there = pl.col("plain").str.contains(rf"^\W*(?:{_listed(TOTALS)})\W*$")
    thin = rows.filter((pl.col("filled") <= 0.6 * many) | (alone_there & (pl.col("filled") < many)))
    proposals = []
    for words, reason in ((TOTALS, "totals"), (ENDS, "end of the report")):
        hits = thin.filter(pl.col("plain").str.contains(_starts(words)))
        thin = thin.filter(~pl.col("plain").str.contains(_starts(words)).fill_null(False))
        if hits.height:
            cells_told = sorted({_begin(text) for text in hits["first"].drop_nulls()})[:8]
            proposals.append(
                LeaveOutProposal({"first_cell": cells_told}, reason, ACTIVE, hits.height)
            )
    alone = thin.filter((pl.col("filled") <= 1) & (pl.lit(width) > 3))
    if alone.height and alone.height <= max(20, 0.05 * rows.height):
        texts = sorted(set(alone["first"].drop_nulls()))[:8]
        if texts:
            why = "a single cell, which is no row of data"
            proposals.append(LeaveOutProposal({"first_cell": texts}, why, PERHAPS, alone.height))
    return proposals


def _begin(text: str) -> str:
    """The first word of a cell as a pattern."""
    kept = text.strip()
    if not kept[0].isalnum():  # `*` would stand for anything
        word = re.search(r"[^\W_]+", kept)
        return f"*{word[0]}*" if word and len(word[0]) > 2 else kept.replace("*", "?")
    head = kept.split(":")[0].split(" ")
    size = 2 if len(head) > 1 and len(head[0]) < 6 and head[0].isalpha() else 1
    start = " ".join(head[:size]).rstrip(".,;")
    return kept if start == kept else f"{start}*"


def data_rows(reading: Reading) -> pl.DataFrame:
    """The rows without headers that come again and a row of units."""
    rows = reading.rows.filter(~_is_header(reading))
    units = _units_below(reading)
    return rows.filter(pl.col("line") != rows["line"][0]) if units and rows.height else rows


def _is_header(reading: Reading) -> pl.Expr:
    """Whether a row says the header again, as on every page of a printed list."""
    places = [place for place, name in enumerate(reading.header) if name][:6]
    if len(places) < 2:
        return pl.lit(False)
    return pl.all_horizontal(pl.col(f"c{place}") == reading.header[place] for place in places)


def _repeated_header(reading: Reading, names: Sequence[str]) -> list[LeaveOutProposal]:
    rows = reading.rows.filter(_is_header(reading)).height
    if not rows:
        return []
    place = next(place for place, name in enumerate(reading.header) if name)
    test = {"header": names[place], "is": [reading.header[place]]}
    return [LeaveOutProposal(test, "the header again", ACTIVE, rows)]


def _units_below(reading: Reading) -> dict[int, str]:
    """The units in a row below the header, by place; empty where there is no such row."""
    if reading.rows.is_empty():
        return {}
    first = reading.rows.row(0, named=True)
    cells = {place: first[f"c{place}"] or "" for place in range(len(reading.header))}
    units = {place: cell for place, cell in cells.items() if len(cell) > 1 and is_unit(cell)}
    return units if len(units) >= 3 else {}


def _row_of_units(reading: Reading, names: Sequence[str]) -> list[LeaveOutProposal]:
    units = _units_below(reading)
    if not units:
        return []
    place, cell = max(units.items(), key=lambda pair: (len(pair[1]), -pair[0]))
    test = {"header": names[place], "is": [cell]}
    return [LeaveOutProposal(test, UNITS_BELOW, ACTIVE, 1)]


def _charges(header: str, profile: Profile) -> list[LeaveOutProposal]:
    """Charges that stand where products do."""
    words = {folded(word) for word in CHARGES}
    plain = profile.all_texts.head(3000)
    hits = [
        (text, int(rows))
        for text, rows in zip(plain["text"], plain["rows"], strict=True)
        if not words.isdisjoint("".join(c if c.isalpha() else " " for c in folded(text)).split())
    ]
    if not hits or len(hits) > 12:
        return []
    test = {"header": header, "is": [text for text, _ in hits]}
    rows = sum(rows for _, rows in hits)
    return [LeaveOutProposal(test, "charges, not a product", PERHAPS, rows)]


def is_cover(name: str) -> bool:
    """Whether a sheet is called like one of explanations."""
    words = folded(name)
    return any(folded(word) in words for word in COVERS)
