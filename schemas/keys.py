"""What identifies the rows of a table, and what they join to, where one class cannot tell it.

Belongs here: keys of several columns and links between tables. Does not belong here: columns (the
classes), or putting both together (`schemas.catalog`).
"""

from __future__ import annotations

from schemas import codes

SLICED_BY = ("by", "family", "region", "profile", "cause_class", "startup", "treatment")

# What a column of this name joins to, in whatever table it stands.
JOINS_TO = {
    "serial": "units.serial",
    "claim": "decisions.claim",
    "duplicate_of": "decisions.claim",
    "call": "service_calls.call",
    "report": "startups.report",
    "sample": "water_tests.sample",
    "model": "reference_models.model",
    "product": "reference_treatments.product",
    "cause": "reference_causes.cause",
    "agency": "reference_agencies.agency",
    "region": "reference_regions.region",
    "edition": "terms_values.edition",
    "replaces": "units.serial",
    "serial_suggestion": "units.serial",
}
# What always holds; the others may name what is not on file.
LINKS = {
    "units": ((("model",), "reference_models", ("model",)),),
    "treatment_purchases": ((("product",), "reference_treatments", ("product",)),),
    "decisions": ((("call",), "service_calls", ("call",)),),
    "findings": ((("claim",), "decisions", ("claim",)),),
    "evidence": ((("claim", "position"), "findings", ("claim", "position")),),
    "unit_histories": ((("serial",), "units", ("serial",)),),
    "upcoming": ((("serial",), "units", ("serial",)),),
    "watch_spans": ((("serial",), "units", ("serial",)),),
    "field_failures": (
        (("serial",), "units", ("serial",)),
        (("call",), "service_calls", ("call",)),
    ),
    "installation_findings": ((("report",), "startup_reviews", ("report",)),),
    "startup_reviews": (
        (("report",), "startups", ("report",)),
        (("serial",), "units", ("serial",)),
    ),
    "treatment_recommendations": ((("serial",), "units", ("serial",)),),
    "journeys": ((("serial",), "units", ("serial",)),),
    "water_profiles": ((("sample",), "water_tests", ("sample",)),),
    "claim_overview": ((("claim",), "decisions", ("claim",)),),
    "unit_overview": ((("serial",), "units", ("serial",)),),
    "unit_events": ((("serial",), "units", ("serial",)),),
    "unit_water_tests": (
        (("serial",), "units", ("serial",)),
        (("sample",), "water_tests", ("sample",)),
    ),
    "unit_purchases": (
        (("serial",), "units", ("serial",)),
        (("order", "line"), "treatment_purchases", ("order", "line")),
    ),
}
NULL = {
    "flag": "not known.",
    "number": "not known, or it cannot be estimated.",
    "analyte": "not reported, or a non-detect whose bound stands in the column `_below`.",
}
# The keys that the classes do not tell: those of more columns than one class flags.
KEYS: dict[str, tuple[str, ...]] = {
    "row_accounts": ("feed", "mapping", "file", "sheet"),
    "set_aside": ("feed", "file", "sheet", "line", "column", "value", "rule", "reason"),
    "left_out": ("feed", "mapping", "file", "sheet", "line"),
    "findings": ("claim", "position"),
    "unit_matters": ("serial", "matter", "due_on"),
    "upcoming": ("serial", "matter", "due_on"),
    "watch_spans": ("serial", "from_on"),
    "night_checks": ("check", "subject"),
    "row_fates": ("feed", "file", "sheet", "line", "part"),
    "file_parts": ("feed", "mapping", "file", "sheet"),
    "reference_agencies": ("agency", "authorized_from"),
    "reference_lots": ("lot", "serial_from", "serial_to", "model"),
    "second_opinion_agreement": ("weighting",),
    "cause_reliability": ("probability_from",),
    "rates": SLICED_BY,
    "slice_rates": ("by", "value_1", "value_2", "event"),
    "regions": (*SLICED_BY, "event"),
    "survival": (*SLICED_BY, "event", "months"),
    "weibull": (*SLICED_BY, "event"),
    "probability_plot": (*SLICED_BY, "event", "age_days"),
    "first_causes": (*SLICED_BY, "months"),
    "repeat_failures": (*SLICED_BY, "event", "months"),
    "cohorts": (*SLICED_BY, "cohort", "event", "months"),
    "treatment_effect": (*SLICED_BY, "event", "state"),
    "treatment_ratios": (*SLICED_BY, "event", "comparison", "method"),
    "warnings": (*SLICED_BY, "month"),
    "alarms": (*SLICED_BY, "first_month"),
    "standard_curves": (*SLICED_BY, "kind", "event", "months"),
    "watch_length": (*SLICED_BY, "event"),
    "cohort_ratios": ("cohort", "event"),
    "dose_curve": ("family", "analyte", "event", "value"),
    "dose_step": ("family", "analyte", "event"),
    "field_sentences": ("figure", "by", "event"),
    "dose_bins": ("family", "analyte", "event", "days", "bin"),
    "screen": ("dimension", "value", "cause_class", "cause"),
    "forecast": (*SLICED_BY, "as_of", "basis", "month"),
    "forecast_year": (*SLICED_BY, "as_of", "basis"),
    "forecast_record": (*SLICED_BY, "as_of", "basis"),
    "forecast_model": (*SLICED_BY, "term"),
    "completion_record": (*SLICED_BY, "event"),
    "costs": (*SLICED_BY, "cause", "agency"),
    "agency_figures": ("agency", "measure"),
    **{f"landed_{feed}": ("file", "sheet", "line") for feed in codes.FEEDS},
}
TOLD_BY_EACH_MAPPING = ("set_aside", "left_out")
INNER = (
    "letter_texts",
    "register_seen",
    "file_parts",
    "unit_matters",
    "unit_samples",
    "unit_orders",
    "row_fates",
    "export_files",
    "store_state",
    *(f"landed_{feed}" for feed in codes.FEEDS),
)
