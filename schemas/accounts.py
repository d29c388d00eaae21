"""What became of every row of every export, and what a night should look at twice.

Belongs here: the accounts, the rows set aside, the checks that warn. Does not belong here: how
they are counted (`pipelines.records`, `pipelines.nightly`).
"""

import polars as pl

from schemas.codes import MISS_CAUSES
from schemas.columns import Table, day, flag, integer, number, text, word

# The rules by which a file or sheet is set aside whole; by any other one row is.
WHOLE_RULES = (
    "column_twice",
    "empty_file",
    "file_too_large",
    "folder",
    "header_error",
    "header_nul",
    "header_quote",
    "join_missing",
    "link_nowhere",
    "link_outside",
    "missing_column",
    "missing_header",
    "no_feed",
    "no_header_row",
    "no_mapping",
    "no_workbook",
    "not_a_file",
    "old_workbook",
    "packed_file",
    "too_many_cells",
    "too_many_columns",
    "two_mappings",
    "unreadable",
    "workbook_failed",
    "workbook_memory",
    "workbook_time",
)


class RowAccounts(Table):
    """One row is one file or sheet as one mapping reads it; all its rows end in one of six ends."""

    feed: str = text("The feed; empty where the file is of none.")
    file: str = text("The path below exports/.", required=True, key=True)
    sha256: str = text("The file's content hash; empty where it could not be read.")
    through_date: pl.Date = day("The day up to which the file is known to be complete.")
    rows_read: pl.Int64 = integer("Data rows in the file.", required=True, ge=0)
    records: pl.Int64 = integer("Rows that are records.", required=True, ge=0)
    superseded: pl.Int64 = integer("Rows replaced by a newer version.", required=True, ge=0)
    duplicates: pl.Int64 = integer("Rows that came again unchanged.", required=True, ge=0)
    set_aside: pl.Int64 = integer("Rows kept but not used.", required=True, ge=0)
    mapping: str = text("The mapping's file; empty where it is read without one.")
    sheet: str = text("The sheet of a workbook; empty for a text file.")
    header_line: pl.Int64 = integer("The line of the header.", required=True, ge=1)
    rows_split: pl.Int64 = integer("Rows added by splitting cells.", required=True, ge=0)
    left_out: pl.Int64 = integer("Rows that a mapping leaves out.", required=True, ge=0)
    joined: pl.Int64 = integer("Rows joined to those of another file.", required=True, ge=0)


class SetAside(Table):
    """One row is one reason why a row, or a whole file, is not used."""

    feed: str = text("The feed; empty where the file is of none.")
    file: str = text("The path below exports/.", required=True)
    line: pl.Int64 = integer("The line on which the row begins.", required=True, ge=1)
    column: str = text("The feed's column; empty where the whole row or file is meant.")
    value: str = text("What stood there.")
    rule: str = text("The rule, by name.", required=True)
    reason: str = text("The reason in one sentence.", required=True)
    sheet: str = text("The sheet of a workbook; empty for a text file.")
    settled_by: pl.Int64 = integer(
        "The event of the desk by which a person entered the record that the row stands for.",
    )


class LeftOut(Table):
    """One row is one row, or one whole sheet, that a mapping leaves out on purpose."""

    feed: str = text("The feed.", required=True)
    mapping: str = text("The mapping's file.", required=True)
    file: str = text("The path below exports/.", required=True)
    sheet: str = text("The sheet of a workbook; empty for a text file.")
    line: pl.Int64 = integer("The line on which the row begins.", required=True, ge=1)
    reason: str = text("Why, as the mapping says.", required=True)


class Joins(Table):
    """One row is one column that names something elsewhere, with how many of its rows find it."""

    feed: str = text("The feed.", required=True, key=True)
    column: str = text("Its column.", required=True, key=True)
    to: str = text("What it names: a feed or file, and its column.", required=True, key=True)
    rows: pl.Int64 = integer("Rows that have a value there.", required=True, ge=0)
    matched: pl.Int64 = integer("Rows whose value is there.", required=True, ge=0)
    share: float = number("Matched rows of all; empty without rows.", ge=0, le=1)
    lost_zeros: pl.Int64 = integer("Equal but for leading zeros.", required=True, ge=0)
    case_or_punctuation: pl.Int64 = integer(
        "Else equal but for case, accents and punctuation.", required=True, ge=0
    )
    close_spelling: pl.Int64 = integer("Else a few edits apart.", required=True, ge=0)
    unknown: pl.Int64 = integer("None of these.", required=True, ge=0)
    min_share: float = number("The least share that is enough.", required=True, ge=0, le=1)
    below: bool = flag("Whether it matches less.", required=True)


class JoinMisses(Table):
    """One row is one value that names nothing on the other side of its join."""

    feed: str = text("The feed.", required=True, key=True)
    column: str = text("Its column.", required=True, key=True)
    to: str = text("What it should name.", required=True, key=True)
    written: str = text("The value.", required=True, key=True)
    cause: str = word("Why it finds nothing.", MISS_CAUSES, required=True)
    likely: str = text("The value that is meant, where there is exactly one.")
    rows: pl.Int64 = integer("Rows that have it.", required=True, ge=1)
    first_file: str = text("The first file, below exports/.", required=True)
    first_line: pl.Int64 = integer("The line there.", required=True, ge=1)


JOIN_TABLES: dict[str, type[Table]] = {"joins": Joins, "join_misses": JoinMisses}
NIGHT_CHECKS = ("freshness", "set_aside_share", "claim_count", "laboratory_values")


class NightChecks(Table):
    """One row is one check of one subject in the latest refresh, which warns and stops nothing."""

    check: str = word("What was looked at.", NIGHT_CHECKS, required=True)
    subject: str = text("The feed, or the laboratory and analyte.", required=True)
    passed: bool = flag("Whether it is as it should be; empty where too little is known.")
    observed: float = number("What was found.")
    low: float = number("The lower limit, where there is one.")
    high: float = number("The upper limit, where there is one.")
    statistic: str = text("What was computed, with its source.", required=True)
    sentence: str = text("What was found, in one sentence.", required=True)
