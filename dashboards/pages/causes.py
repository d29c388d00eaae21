"""Causes that notes suggest: on a claim's page, and how far they can be trusted.

Belongs here: sentences, tables and chart rows. Does not belong here: suggesting
(`pipelines.assist.causes`), which this package does not know.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData

MOST_ROWS = 60
THIN = 5  # held-out calls
OTHERWISE = "notes say otherwise"
DOES_NOT_DECIDE = (
    "It is a reading of the notes, not a finding: it does not decide. Only a cause that is booked "
    "does."
)


def of_claim(row: Mapping[str, Any]) -> dict[str, Any]:
    """The panel of one claim's page, from its row of cause_suggestions."""
    suggested = row["suggested_class"]
    sure = _sure(row["probability"])
    if row["kind"] == OTHERWISE:
        booked = f"Booked as {row['recorded_class']} ({row['recorded_cause']})"
        low = _sure(row["recorded_probability"])
        said = (
            f"{booked}, but the notes point to {suggested}, {sure}; what is booked gets {low}, by "
            "a model that has not seen this call. Worth a second look."
        )
    else:
        lack = "No cause is booked"
        if row["kind"] == "unknown cause":
            lack = f"{row['recorded_cause']} names no cause"
        said = f"{lack}. Notes, part and readings point to {suggested}, {sure}."
    note = row["note"] or ""
    return {
        "said": f"{said} {note}".strip(),
        "words": row["words"],
        "limits": DOES_NOT_DECIDE,
        "source": row["source"],
    }


def content(data: PageData, pages: frozenset[str]) -> dict[str, Any] | None:
    """The section of the Data page; None where nothing was studied. `pages`: claims with a page."""
    quality = data.cause_model_quality
    if quality.is_empty():
        return None
    suggestions = data.cause_suggestions
    second = suggestions.filter(pl.col("kind") == OTHERWISE)
    second = second.sort("probability", "call", descending=[True, False])
    whole = quality.filter(pl.col("cause_class") == "all").row(0, named=True)
    bins = data.cause_reliability.filter(pl.col("calls") > 0)
    return {
        "says": _says(whole, suggestions),
        "limits": "Suggestions decide nothing: a claim is decided by the cause that is booked.",
        "quality": [_quality_row(row) for row in quality.iter_rows(named=True)]
        if whole["precision"] is not None
        else [],
        "notes": quality["note"].drop_nulls().unique(maintain_order=True).to_list(),
        "calibration": _calibration(whole),
        "reliability": _chart(bins) if bins.height else None,
        "bins": [_bin_row(row) for row in bins.iter_rows(named=True)],
        "confusion": _confusion(data.cause_confusion),
        "second": [_second_row(row, pages) for row in second.head(MOST_ROWS).iter_rows(named=True)],
        "second_says": _second_says(second.height),
    }


def _sure(probability: float | None) -> str:
    if probability is None:
        return "how surely is not known"
    if probability < 0.01:
        return "under 1%"
    return "over 99%" if probability > 0.99 else formats.percent(probability)


def _says(whole: Mapping[str, Any], suggestions: pl.DataFrame) -> str:
    free = suggestions.filter(pl.col("kind") != OTHERWISE).height
    have = "has" if free == 1 else "have"
    said = f"{formats.counted(free, 'call')} without a usable cause {have} a class suggested."
    if whole["precision"] is None:
        return f"{said} {whole['note'] or ''}".strip()
    return (
        f"{said} Of {whole['calls']:,} held-out calls the class that came first was the booked one "
        f"in {formats.percent(whole['precision'], 1)} (95 % limits "
        f"{formats.percent(whole['precision_low'], 1)} to "
        f"{formats.percent(whole['precision_high'], 1)}). No call judges itself: the model that "
        "judges it has seen no call of its kitchen."
    )


def _calibration(whole: Mapping[str, Any]) -> str:
    if whole["brier_score"] is None:
        return ""
    return (
        f"Where a suggestion says 80 %, about 80 in 100 should be right. The mean gap is "
        f"{formats.percent(whole['expected_calibration_error'], 1)} (expected calibration error); "
        f"the Brier score is {whole['brier_score']:.3f} on a scale from 0, perfect, to 2."
    )


def _limits(row: Mapping[str, Any], name: str) -> str:
    if row[name] is None:
        return "–"
    low, high = (formats.percent(row[f"{name}_{end}"]) for end in ("low", "high"))
    return f"{formats.percent(row[name])} ({low} to {high})"


def _quality_row(row: Mapping[str, Any]) -> list[str]:
    mark = "" if row["note"] is None else " *"
    return [
        f"{row['cause_class']}{mark}",
        formats.whole(row["calls"]),
        formats.whole(row["suggested"]),
        _limits(row, "precision"),
        _limits(row, "recall"),
        f"{row['phrase_right']:,} of {row['phrase_calls']:,}" if row["phrase_calls"] else "–",
    ]


def _bin_row(row: Mapping[str, Any]) -> list[str]:
    low, high = (formats.percent(row[name]) for name in ("probability_from", "probability_to"))
    return [
        f"{low} to {high}",
        formats.whole(row["calls"]),
        formats.percent(row["mean_probability"], 1),
        formats.percent(row["share_right"], 1),
        f"{formats.percent(row['low'], 1)} to {formats.percent(row['high'], 1)}",
    ]


def _chart(bins: pl.DataFrame) -> Markup:
    rows = [
        {
            "probability": round(row["mean_probability"], 4),
            "share": round(row["share_right"], 4),
            "low": round(row["low"], 4),
            "high": round(row["high"], 4),
            "thin": row["calls"] < THIN,
            "text": f"{row['right']:,} of {row['calls']:,} right at "
            f"{formats.percent(row['mean_probability'])} told",
        }
        for row in bins.iter_rows(named=True)
    ]
    return Markup(formats.script_json(formats.packed({"rows": {"rows": rows}})))


def _confusion(pairs: pl.DataFrame) -> dict[str, Any] | None:
    if pairs.is_empty():
        return None
    classes = pairs["recorded_class"].unique(maintain_order=True).to_list()
    counts = dict(
        zip(
            pairs.select("recorded_class", "suggested_class").iter_rows(),
            pairs["calls"].to_list(),
            strict=True,
        )
    )
    rows = [
        [one, *(f"{counts[one, other]:,}" if counts[one, other] else "" for other in classes)]
        for one in classes
    ]
    return {"columns": ["Booked as", *classes], "rows": rows}


def _second_says(count: int) -> str:
    if not count:
        return "No coded call has notes that say otherwise."
    more = f" The first {MOST_ROWS} are here." if count > MOST_ROWS else ""
    return (
        f"{formats.counted(count, 'coded call')} with notes that say otherwise, the surest first. "
        f"Ask the agency, correct the cause in the source, or leave it as it is.{more} All are in "
        "the file data/cause_suggestions.csv."
    )


def _second_row(row: Mapping[str, Any], pages: frozenset[str]) -> dict[str, Any]:
    claim = row["claim"]
    return {
        "call": row["call"],
        "claim": claim or "",
        "href": f"claims/{formats.file_name(claim)}" if claim in pages else "",
        "opened": formats.day(row["opened_on"]),
        "booked": f"{row['recorded_class']} ({row['recorded_cause']})",
        "suggested": row["suggested_class"],
        "sure": _sure(row["probability"]),
        "words": "; ".join(row["words"]),
    }
