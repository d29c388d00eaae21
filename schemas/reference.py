"""The reference files: one class each; five are needed, phrases and aliases may be left out.

Belongs here: columns, types, keys and checks on single rows. Does not belong here: reading the
files and checks between them (`pipelines.workspace.reference`).
"""

import polars as pl

from schemas import codes
from schemas.columns import (
    HOURS,
    MONEY,
    TEXTS,
    Table,
    day,
    flag,
    hours,
    integer,
    money,
    number,
    region_code,
    serial_number,
    text,
    texts,
    word,
)


class Models(Table):
    """One row is one model of steam cooker."""

    model: str = text("The model.", required=True, key=True)
    family: str = text("The family it belongs to.", required=True)
    description: str = text("What it is.")
    needs_treatment: bool = flag("Whether bad water calls for treatment.", required=True)
    always_treat: bool = flag("Whether treatment is called for whatever the water.", required=True)
    delime_by: str = word("Who delimes it.", codes.DELIMERS, required=True)
    cavities: pl.Int64 = integer("Cooking cavities.", ge=1)
    feed_l_per_h: float = number("Water used while steaming, all cavities.", "L/h", ge=0)


class Treatments(Table):
    """One row is one water treatment product, a system or a cartridge for one."""

    product: str = text("The product.", required=True, key=True)
    description: str = text("What it is.")
    kind: str = word("A system, or a cartridge for one.", codes.TREATMENT_KINDS, required=True)
    fits: str = text("The system that a cartridge is for.")
    removes: TEXTS = texts("What a system removes.", required=True, words=codes.ABILITIES)
    capacity_l: float = number("Rated litres; 0 where none is stated.", "L", ge=0)
    rated_output_l_per_h: float = number("Reverse osmosis: rated output.", "L/h", gt=0)
    rated_temperature_c: float = number("Reverse osmosis: temperature of that rating.", "°C")


class Causes(Table):
    """One row is one cause of failure."""

    cause: str = text("The cause's code.", required=True, key=True)
    description: str = text("What failed.")
    class_: str = word("Its class.", codes.CAUSE_CLASSES, required=True, alias="class")
    water_related: bool = flag("Whether water brings it about.", required=True)
    excluded: bool = flag("Whether the warranty excludes it.", required=True)
    reading: str = word("The start-up reading that explains it.", codes.READINGS)
    labor_hours_allowed: HOURS = hours("The most hours that are paid.")
    abilities: TEXTS = texts(
        "What a treatment must do to prevent it.", required=True, words=codes.ABILITIES
    )
    catch_all: bool = flag("Whether it names no cause, as `other` does; may be left out.")


class Agencies(Table):
    """One row is one period of authorization of a service agency."""

    agency: str = text("The agency.", required=True, key=True)
    name: str = text("Its name.")
    authorized_from: pl.Date = day("First day of the period.", required=True)
    authorized_until: pl.Date = day("Last day of the period; empty while it lasts.")
    labor_rate: MONEY = money("The most that an hour of labor is paid.")
    travel_cap: MONEY = money("The most that is paid for travel.")
    email: str = text("Where letters to it go; the column may be left out.")


class Regions(Table):
    """One row is one region."""

    region: str = region_code("The region (ISO 3166-2).", required=True, key=True)
    name: str = text("Its name.")
    coldest_supply_c: float = number("Temperature of the supply in the coldest month.", "°C")
    tile_row: pl.Int64 = integer("Row on the tile map.")
    tile_col: pl.Int64 = integer("Column on the tile map.")


class Phrases(Table):
    """One row is one phrase of notes that tells of a class of causes."""

    phrase: str = text("The words, in any case; found whole.", required=True, key=True)
    cause_class: str = word(
        "What it tells of; `class` in the header of the file.", codes.CAUSE_CLASSES, required=True
    )
    weight: float = number("How strongly, above 0 to 1; 1 where left out.", gt=0, le=1)


class Aliases(Table):
    """One row is one other spelling of a code or name, with what it means."""

    kind: str = word("What it names.", codes.ALIAS_KINDS, required=True, key=True)
    written: str = text("As exports write it; case and spaces aside.", required=True, key=True)
    means: str = text("The code or name that is meant.", required=True)


class Lots(Table):
    """One row is one range of serials, ends included, that were made as one lot."""

    lot: str = text("The lot.", required=True, key=True)
    serial_from: str = serial_number("Its first serial.", required=True, key=True)
    serial_to: str = serial_number("Its last serial.", required=True, key=True)
    model: str = text("The model, where only units of it belong to the lot.")
    note: str = text("What is known of it.")


REFERENCE_TABLES: dict[str, type[Table]] = {
    "models": Models,
    "treatments": Treatments,
    "causes": Causes,
    "agencies": Agencies,
    "regions": Regions,
}
# Files that a workspace may do without. No decision looks at them: aliases are applied as rows
# are read.
OPTIONAL_REFERENCE_TABLES: dict[str, type[Table]] = {
    "phrases": Phrases,
    "aliases": Aliases,
    "lots": Lots,
}
ALL_REFERENCE_TABLES = {**REFERENCE_TABLES, **OPTIONAL_REFERENCE_TABLES}
