"""Every table and view of the store, described once: what a row is, its key, each column.

Belongs here: putting the table classes together under the names that the store has for them. Does
not belong here: a column's own definition (the classes), or writing descriptions down
(`pipelines.store.descriptions`, `schemas.data_package`, `dashboards.pages.dictionary`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from schemas import codes, store, views
from schemas.accounts import JOIN_TABLES, LeftOut, NightChecks, RowAccounts, SetAside
from schemas.archive_catalog import ARCHIVE
from schemas.causes import CAUSE_TABLES
from schemas.columns import Table, fields, key_columns
from schemas.decisions import DecisionHistory, Decisions, Findings
from schemas.described import Column, Described
from schemas.dictionary import grain
from schemas.feeds import FEED_TABLES
from schemas.field import FIELD_TABLES
from schemas.histories import UnitHistories, Upcoming, WatchSpans, WaterProfiles
from schemas.inner_catalog import INNER_TABLES, LONG, PARSED, Inner
from schemas.keys import INNER, JOINS_TO, KEYS, LINKS, NULL
from schemas.payments import Payments
from schemas.reference import ALL_REFERENCE_TABLES
from schemas.register import Letters, LetterTexts, RegisterSeen
from schemas.second_opinions import SecondOpinionAgreement, SecondOpinions
from schemas.startups import STARTUP_TABLES
from schemas.states import StoreState, TableStates

_UNKNOWN = "not known, or it does not apply."


def _columns(name: str, table: type[Table]) -> tuple[Column, ...]:
    sliced = name in FIELD_TABLES
    columns = []
    for column, field in fields(table).items():
        meta: Mapping[str, Any] = field.metadata or {}
        description, null = _without_null(str(field.description))
        joins = meta["references"] or (None if sliced else JOINS_TO.get(column))
        columns.append(
            Column(
                column,
                meta["kind"],
                description,
                meta["unit"],
                tuple(meta["words"] or ()),
                meta["required"],
                meta["signed"],
                None if joins == f"{name}.{column}" else joins,
                meta["null"] or null or NULL.get(meta["kind"], _UNKNOWN),
            )
        )
    return tuple(columns)


def _without_null(description: str) -> tuple[str, str | None]:
    """A description, and what it says itself of null."""
    said, separator, null = description.partition("; null ")
    return (f"{said}.", null) if separator else (description, None)


def _plain(name: str, kind: str, description: str) -> Column:
    """A column that no class describes."""
    said, null = _without_null(description)
    return Column(name, kind, said, null=null or _UNKNOWN)


def _described(name: str, table: type[Table]) -> Described:
    return Described(
        name,
        grain(table),
        KEYS.get(name) or tuple(key_columns(table)),
        _columns(name, table),
        LINKS.get(name, ()),
        published=name not in INNER,
    )


_SOURCE = (
    Column(
        "source_file", "text", "The file it stands in, as a path below exports/.", required=True
    ),
    Column("source_line", "integer", "The line on which it begins.", required=True),
    Column("source_sheet", "text", "The sheet of a workbook.", null="it stands in a text file."),
    Column("arrived_on", "day", "The day on which this content was first read.", null=_UNKNOWN),
    Column("first_arrived_on", "day", "The same for its key.", null=_UNKNOWN),
)


_UNDECIDED = "the ruling does not say it, and the claim is not decided."
_GRANTS = (
    *(
        Column(
            f"{line}_granted",
            "money",
            f"What the ruling grants for {line}.",
            "currency",
            null=_UNDECIDED,
        )
        for line in ("parts", "labor", "travel")
    ),
    Column("stands", "flag", "Whether it is the latest ruling on its claim.", required=True),
    Column(
        "approved_by", "text", "The second person who approved it.", null="nobody had to, or did."
    ),
)


def _records(feed: str) -> Described:
    """A feed's records: its columns, the bounds of non-detects, and where each row stands."""
    base = _described(feed, FEED_TABLES[feed])
    # `line` of an order is part of a key; amounts of money that are one may be empty.
    bounds = tuple(
        Column(
            f"{column.name}_below",
            "number",
            f"The bound where {column.name} is a non-detect.",
            column.unit,
            null="it is a number, or not reported.",
        )
        for column in base.columns
        if column.kind == "analyte"
    )
    grants = _GRANTS if feed == "rulings" else ()
    return replace(base, columns=(*base.columns, *bounds, *_SOURCE, *grants))


def _archived(name: str, decisions: Described) -> Described:
    """A table of the archive; that of decisions has their columns too."""
    row, key, own = ARCHIVE[name]
    columns = [_plain(column, *described) for column, described in own.items()]
    if name == "decision_archive":
        also = decisions.columns[1:]
        columns[2:2] = [replace(column, required=False, null=_UNKNOWN) for column in also]
    return Described(name, row, key, tuple(columns), published=name == "publications")


def _inner(name: str, table: Inner, tables: Mapping[str, Described]) -> Described:
    """A table that no class describes; columns of others may be empty in it."""
    columns = [
        replace(tables[source].column(column), name=column, required=False, null=_UNKNOWN)
        if isinstance(source, str)
        else _plain(column, *source)
        for column, source in table.columns.items()
    ]
    return Described(name, table.grain, table.key, tuple(columns), published=False)


def _parsed(feed: str, tables: Mapping[str, Described]) -> Described:
    """The typed rows of a feed: its columns, and those of a laboratory's long table."""
    place = _inner(f"parsed_{feed}", PARSED[feed], tables)
    ours = {column.name for column in (*place.columns, *_SOURCE, *_GRANTS)}
    columns = [
        replace(column, required=False, null=column.null or _UNKNOWN)
        for column in tables[feed].columns
        if column.name not in ours
    ]
    if feed == "water_tests":
        columns += [Column(name, *description, null=_UNKNOWN) for name, description in LONG.items()]
    return replace(place, columns=(*columns, *place.columns))


def _tables() -> dict[str, Described]:
    classes: dict[str, type[Table]] = {
        "row_accounts": RowAccounts,
        "set_aside": SetAside,
        "left_out": LeftOut,
        **JOIN_TABLES,
        "feed_states": store.FeedStates,
        "row_fates": store.RowFates,
        "file_parts": store.FileParts,
        "export_files": store.ExportFiles,
        "table_states": TableStates,
        "store_state": StoreState,
        **{f"landed_{feed}": store.Landed for feed in codes.FEEDS},
        **{f"reference_{name}": table for name, table in ALL_REFERENCE_TABLES.items()},
        "terms_values": store.TermsValues,
        "terms_water_limits": store.TermsWaterLimits,
        "terms_installation_limits": store.TermsInstallationLimits,
        "decisions": Decisions,
        "findings": Findings,
        "decision_history": DecisionHistory,
        "unit_histories": UnitHistories,
        "water_profiles": WaterProfiles,
        "unit_matters": Upcoming,
        "upcoming": Upcoming,
        "watch_spans": WatchSpans,
        "cartridge_spans": store.CartridgeSpans,
        "unit_samples": store.UnitSamples,
        "unit_orders": store.UnitOrders,
        **STARTUP_TABLES,
        "payments": Payments,
        "letters": Letters,
        "letter_texts": LetterTexts,
        "register_seen": RegisterSeen,
        "second_opinions": SecondOpinions,
        "second_opinion_agreement": SecondOpinionAgreement,
        **CAUSE_TABLES,
        "night_checks": NightChecks,
        **FIELD_TABLES,
        "data_dictionary": store.DataDictionary,
    }
    tables = {feed: _records(feed) for feed in codes.FEEDS}
    tables |= {name: _described(name, table) for name, table in classes.items()}
    tables |= {name: _archived(name, tables["decisions"]) for name in ARCHIVE}
    tables |= {name: _inner(name, table, tables) for name, table in INNER_TABLES.items()}
    return tables | {f"parsed_{feed}": _parsed(feed, tables) for feed in codes.FEEDS}


def _view(name: str, view: views.View, tables: Mapping[str, Described]) -> Described:
    """A view: its columns are those of the tables that it joins, and few of its own."""
    columns = []
    for column, source in view.columns.items():
        if isinstance(source, str):
            table, _, theirs = source.rpartition(".")
            joins = JOINS_TO.get(column)
            optional = source not in view.always
            described = replace(
                tables[table].column(theirs),
                name=column,
                references=joins,
                null="not known, or it does not apply.",
            )
            columns.append(replace(described, required=False) if optional else described)
        else:
            kind, description, more = source
            more = {"null": "not known, or it does not apply.", **more}
            more.setdefault("references", JOINS_TO.get(column))
            columns.append(Column(column, kind, description, **more))
    return Described(name, view.grain, view.key, tuple(columns), LINKS.get(name, ()), True)


TABLES = _tables()
VIEWS = {name: _view(name, view, TABLES) for name, view in views.VIEWS.items()}
CATALOG: dict[str, Described] = {**TABLES, **VIEWS}
PUBLISHED = tuple(name for name, table in CATALOG.items() if table.published)
