"""Tables that are the store's own: what came in, how it was read, the terms as they stand.

Belongs here: their shape. Does not belong here: how they are filled (`pipelines.steps`).
"""

from __future__ import annotations

import polars as pl

from schemas import codes
from schemas.columns import (
    TEXTS,
    Table,
    day,
    flag,
    integer,
    number,
    serial_number,
    text,
    texts,
    word,
)


class FeedStates(Table):
    """One row is one feed: how far it goes, and what share of it is set aside."""

    feed: str = word("The feed.", codes.FEEDS, required=True, key=True)
    through_date: pl.Date = day("The day up to which the feed is complete; empty for no day.")
    files: pl.Int64 = integer("Its files.", required=True, ge=0)
    rows_read: pl.Int64 = integer("Data rows in them.", required=True, ge=0)
    set_aside: pl.Int64 = integer("Rows kept but not used.", required=True, ge=0)
    stale: bool = flag("Whether it is longer behind the as-of day than the settings allow.")
    set_aside_share: float = number("Share of its rows that are set aside.", required=True)
    beyond_tolerance: bool = flag("Whether that is more than the settings tolerate.", required=True)


class RowFates(Table):
    """One row is one row of an export, and the one end that it came to."""

    feed: str = word("The feed.", codes.FEEDS, required=True)
    file: str = text("The path below exports/.", required=True, key=True)
    line: pl.Int64 = integer("The line on which the row begins.", required=True)
    sheet: str = text("The sheet of a workbook; empty for a text file.")
    part: pl.Int64 = integer("Which of the rows that it was split into.")
    fate: str = text("What became of it.", required=True)


class Landed(Table):
    """One row is one row of an export of this feed, as it came."""

    file: str = text("The path below exports/.", required=True, key=True)
    line: pl.Int64 = integer("The line on which the row begins.", required=True)
    sheet: str = text("The sheet of a workbook; empty for a text file.")
    raw: str = text("The row as it stands in the file.")


class CartridgeSpans(Table):
    """One row is one stretch in which a unit's cartridges lasted, or had run out."""

    serial: str = serial_number("The unit.", required=True, key=True)
    product: str = text("The system.", required=True, key=True)
    state: str = word("Covered, or lapsed.", ("covered", "lapsed"), required=True)
    start: pl.Date = day("The first day of the stretch.", required=True, key=True)
    end: pl.Date = day("The first day after it.", required=True)


class UnitSamples(Table):
    """One row is one water test that belongs to a unit, by its serial or by its site."""

    serial: str = serial_number("The unit.", required=True, key=True)
    sample: str = text("The sample.", required=True, key=True)
    complete: bool = flag(
        "Whether it is a supply test that reports every analyte of the panel in the unit's terms.",
        required=True,
    )


class UnitOrders(Table):
    """One row is one order line that belongs to a unit, by its serial or for its site."""

    serial: str = serial_number("The unit.", required=True, key=True)
    order: str = text("The order's number.", required=True, key=True)
    line: str = text("The line of the order.", required=True, key=True)
    approved_seller: bool = flag("Whether the unit's terms approve the seller.", required=True)
    bought_new: bool = flag("Whether it was bought new.", required=True)


class TermsValues(Table):
    """One row is one edition of the warranty terms for one family of models."""

    edition: str = text("The edition.", required=True, key=True)
    family: str = text("The family.", required=True, key=True)
    effective_from: pl.Date = day("The first day on which it applies.", required=True)
    clock_order: TEXTS = texts("The dates that may start the clock, the first one known first.")
    days_after_shipment: pl.Int64 = integer(
        "Days after shipment to the clock start where it is taken from shipment.", unit="d"
    )
    latest_days_after_shipment: pl.Int64 = integer(
        "The most days after shipment at which the clock starts.", unit="d"
    )
    replacement: str = text("Whose clock a unit that took over from another has.")
    parts_months: pl.Int64 = integer("Months of parts cover.", unit="months")
    labor_months: pl.Int64 = integer("Months of labor cover.", unit="months")
    request_within_days: pl.Int64 = integer("Days to request the start-up.", unit="d")
    bonus_parts_months: pl.Int64 = integer("Months of parts that it earns.", unit="months")
    bonus_labor_months: pl.Int64 = integer("Months of labor that it earns.", unit="months")
    file_within_days: pl.Int64 = integer("Days from completion to file a claim.", unit="d")
    duplicate_within_days: pl.Int64 = integer(
        "Days within which two claims may be for one failure.", unit="d"
    )
    workmanship_days: pl.Int64 = integer("Days for which a repair must hold.", unit="d")
    documents_within_days: pl.Int64 = integer("Days to send what a letter asks for.", unit="d")
    panel: TEXTS = texts("The analytes of a complete test.")
    sellers: TEXTS = texts("The approved sellers of treatment.")
    grace_days: pl.Int64 = integer("Days from a test to the treatment.", unit="d")
    fresh_days: pl.Int64 = integer(
        "Days for which a new system is looked at by a person; null where none is.", unit="d"
    )
    judged_by: str = text("Whether treatment must suit the water or the cause.")
    cartridge_months_mild: pl.Int64 = integer("Months of a cartridge, mild water.", unit="months")
    cartridge_months_normal: pl.Int64 = integer("The same, normal water.", unit="months")
    cartridge_months_severe: pl.Int64 = integer("The same, severe water.", unit="months")
    mild_up_to: float = number("The worst ratio up to which water is mild.")
    severe_above: float = number("The worst ratio above which it is severe.")
    cartridge_grace_days: pl.Int64 = integer("Days that a cartridge may be late.", unit="d")
    look_back_months: pl.Int64 = integer(
        "Months before a failure in which a lapse counts; null where all do.", unit="months"
    )
    delime_months: pl.Int64 = integer("Months between delimings.", unit="months")
    delime_grace_days: pl.Int64 = integer("Days that one may be late.", unit="d")
    must_report: TEXTS = texts("The readings of a complete start-up report.")
    two_lines_above_f: float = number(
        "A supply warmer than this needs two water lines; null where none does.", unit="°F"
    )
    two_lines_when_treated: bool = flag("Whether treated water needs two water lines.")
    conditions_off: TEXTS = texts("Conditions that the edition switches off.")


class TermsWaterLimits(Table):
    """One row is one analyte's limits in one edition for one family."""

    edition: str = text("The edition.", required=True, key=True)
    family: str = text("The family.", required=True, key=True)
    analyte: str = text("The analyte, with its unit in its name.", required=True, key=True)
    min: float = number("The least that is allowed.")
    max: float = number("The most that is allowed.")
    needs: str = text("What a treatment must do where it is outside.")
    mild_at: float = number("The value up to which the water is mild.")
    severe_at: float = number("The value above which it is severe.")


class TermsInstallationLimits(Table):
    """One row is one start-up reading's limits in one edition for one family."""

    edition: str = text("The edition.", required=True, key=True)
    family: str = text("The family.", required=True, key=True)
    reading: str = text("The reading, with its unit in its name.", required=True, key=True)
    gas: str = text("The gas for which they hold; empty for every one.", key=True)
    min: float = number("The least that is allowed.")
    max: float = number("The most that is allowed.")


class ExportFiles(Table):
    """One row is one file below exports/: what it held, and by what it was read."""

    feed: str = text("The feed; empty where the file is of none.")
    file: str = text("The path below exports/.", required=True, key=True)
    sha256: str = text("The file's content hash; empty where it could not be read.")
    size_bytes: pl.Int64 = integer("Its size.", unit="bytes")
    read_by: str = text("What its reading depended on beside its bytes.")
    named_date: pl.Date = day("The through date that its name tells.")
    rows_read: pl.Int64 = integer("Data rows in it.")
    is_whole: bool = flag("Whether it was read to its end.")
    encoding: str = text("Its encoding.")
    delimiter: str = text("Its delimiter.")
    headers: TEXTS = texts("Its headers, in order.")


class FileParts(Table):
    """One row is one file, or one sheet of a workbook, as one mapping reads it."""

    feed: str = text("The feed; empty where it is of none.")
    mapping: str = text("The mapping's file; empty where it is read without one.")
    file: str = text("The path below exports/.", required=True)
    sheet: str = text("The sheet; empty for a text file.")
    place: pl.Int64 = integer("The number of the sheet in its workbook.")
    named_date: pl.Date = day("The through date that its name tells.")
    header_line: pl.Int64 = integer("The line of the header.")
    rows_read: pl.Int64 = integer("Data rows in it.")
    rows_split: pl.Int64 = integer("Rows added by splitting cells.")
    left_out: pl.Int64 = integer("Rows that the mapping leaves out.")
    joined_as: str = text("The join that reads it; empty for the mapping's own files.")
    joined: pl.Int64 = integer("Rows joined to those of other files.")
    duplicates: pl.Int64 = integer("Copies of rows that are joined.")
    is_whole: bool = flag("Whether it was read to its end.")
    encoding: str = text("Its encoding.")
    delimiter: str = text("Its delimiter.")
    headers: TEXTS = texts("Its headers, in order.")


class DataDictionary(Table):
    """One row is one column of one table or view."""

    table: str = text("The table or view.", required=True, key=True)
    position: pl.Int64 = integer("The column's place, from 1.", required=True, ge=1)
    column: str = text("The column.", required=True, key=True)
    type: str = text("Its type in the store.", required=True)
    unit: str = text("Its unit; empty where it has none.")
    key: str = text("Whether it is part of the key: yes or no.", required=True)
    words: str = text("The words that it may hold, joined by `; `; empty where it is not closed.")
    references: str = text("What it joins to, as table.column; empty where to nothing.")
    description: str = text("What it holds, and what null means.", required=True)
