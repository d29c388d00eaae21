"""The version of the tables' schema, and what each version changed.

Belongs here: the version and the list of changes, as store, manifest, data package and dictionary
tell them. Does not belong here: the tables.

The first number goes up where a table or column goes, is renamed or changes its meaning or type;
the second where something is added; the third for words.
"""

from __future__ import annotations

from typing import NamedTuple

SCHEMA_VERSION = "2.0.0"


class Change(NamedTuple):
    """What one version changed of one table: of one column, or of the whole where it is empty."""

    version: str
    table: str
    column: str
    what: str
    instead: str


# What version 2 added, by table; an empty tuple where the whole table is new to readers.
_ADDED: dict[str, tuple[str, ...]] = {
    "row_accounts": ("mapping", "sheet", "header_line", "rows_split", "left_out", "joined"),
    "set_aside": ("sheet",),
    "decisions": ("if_settled", "payable_if_settled", "duplicate_of", "standing_since"),
    "decision_history": (
        *("publication", "terms", "reference", "settings", "tool_version", "edition"),
        *("standing", "total_standing", "moved_from_to"),
        *("parts_payable", "labor_payable", "travel_payable"),
    ),
    "cohorts": (
        *("event", "at_risk", "mean_per_100", "mean_low", "mean_high", "shown"),
        *("completed_low_80", "completed_high_80", "projected"),
    ),
    "forecast": ("basis", "actual_cost"),
    "costs": ("pending", "pending_low", "pending_high", "pending_claims"),
    **dict.fromkeys(
        (
            *("left_out", "joins", "join_misses", "feed_states", "reference_aliases"),
            *("terms_values", "terms_water_limits", "terms_installation_limits"),
            *("cartridge_spans", "installation_findings", "startup_reviews"),
            *("treatment_recommendations", "journeys", "journey_rates", "letters"),
            *("forecast_year", "forecast_record", "forecast_model", "completion_record"),
        ),
        (),
    ),
}
# The newest first.
CHANGES = (
    *(
        Change("2.0.0", table, column, "Is new." if column else "Is new, or published now.", "")
        for table, columns in _ADDED.items()
        for column in columns or ("",)
    ),
    Change("2.0.0", "set_aside", "settled_by", "Is new.", ""),
    *(
        Change("2.0.0", "rulings", column, "Is new.", "")
        for column in (
            "parts_granted",
            "labor_granted",
            "travel_granted",
            "stands",
            "approved_by",
        )
    ),
    Change(
        "2.0.0",
        "findings",
        "evidence",
        "Was a list of texts `feed/key/file:line`; is a list of structs feed, key, file, line "
        "(in CSV: JSON).",
        "the parts themselves, or one row a citation in the table evidence",
    ),
    Change(
        "2.0.0",
        "cohorts",
        "per_100",
        "Is gone: it divided by all units of the cohort, whether still watched or not.",
        "mean_per_100",
    ),
    Change(
        "2.0.0",
        "regions",
        "flagged",
        "Was by the q-value of the crude funnel; is by the adjusted ratio, whose water is that of "
        "each day.",
        "adjusted_q_value beside it, and q_value for the funnel's",
    ),
    *(
        Change("2.0.0", "regions", column, "Is new.", "")
        for column in ("adjusted_p_value", "adjusted_q_value", "direction", "confounded")
    ),
    *(
        Change("2.0.0", table, "shown", "Is new: where the curve ends.", "")
        for table in ("survival", "first_causes", "repeat_failures")
    ),
    Change(
        "2.0.0",
        "weibull",
        "",
        "Has B10 and B50 with limits, how far it was watched and what is extrapolated.",
        "",
    ),
    Change("2.0.0", "probability_plot", "", "Is new: the points behind the Weibull fits.", ""),
    Change("2.0.0", "slice_rates", "", "Is new: rates over all other dimensions.", ""),
    Change("2.0.0", "field_failures", "", "Is new: one row a failure behind the figures.", ""),
    Change(
        "2.0.0",
        "warnings",
        "",
        "Is by family and cause class alone, without `unknown`; expected values are of 24 months, "
        "by age; alarms last while the CUSUM stands at its decision value.",
        "",
    ),
    *(
        Change("2.0.0", table, "", "Is new.", "")
        for table in (
            "alarms",
            "standard_curves",
            "watch_length",
            "cohort_ratios",
            "dose_bins",
            "dose_curve",
            "dose_step",
            "field_sentences",
            "screen",
        )
    ),
    Change("2.0.0", "watch_spans", "", "Is new: one row a stretch of the days watched.", ""),
    Change("2.0.0", "reference_lots", "", "Is new: the optional file of lots.", ""),
    *(
        Change("2.0.0", "unit_histories", column, "Is new.", "")
        for column in ("entry", "shipped", "lot", "cold_supply")
    ),
    Change(
        "2.0.0",
        "(all tables)",
        "",
        "Large tables were packed as `.csv.gz`; a table of more rows than `csv_max_rows` is "
        "Parquet alone now, and none is packed.",
        "the Parquet file",
    ),
    Change("2.0.0", "evidence", "", "Is new: one row a record that a finding rests on.", ""),
    Change("2.0.0", "data_dictionary", "", "Is new: one row a column of every table.", ""),
    *(
        Change("2.0.0", view, "", "Is new: a view, published as tables are.", "")
        for view in (
            "claim_overview",
            "unit_overview",
            "unit_events",
            "unit_water_tests",
            "unit_purchases",
        )
    ),
    *(
        Change("2.0.0", table, "", "Is published now.", "")
        for table in (
            "units",
            "startups",
            "water_tests",
            "treatment_purchases",
            "service_calls",
            "rulings",
            "credits",
            "reference_models",
            "reference_treatments",
            "reference_causes",
            "reference_agencies",
            "reference_regions",
            "publications",
            "table_states",
        )
    ),
)


def changes_markdown() -> str:
    """CHANGES.md beside the published tables: each change, the newest version first."""
    lines = ["# Changes of the tables", ""]
    version = None
    for change in CHANGES:
        if change.version != version:
            version = change.version
            lines += [*([""] if len(lines) > 2 else []), f"## {version}", ""]
        name = f"{change.table}.{change.column}" if change.column else change.table
        instead = f" Use instead: {change.instead}." if change.instead else ""
        lines.append(f"- `{name}`: {change.what}{instead}")
    return "\n".join(lines) + "\n"
