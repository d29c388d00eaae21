"""`limeledger causes`: classes of causes that notes suggest, and what speaks for them."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace
from pipelines.cli.console.output import json_rows, print_csv, print_json, say

if TYPE_CHECKING:
    import polars as pl

_OTHERWISE = "notes say otherwise"
_TITLES = {
    "no cause": "No cause is booked",
    "unknown cause": "The cause as booked names none",
    _OTHERWISE: "Notes say otherwise, for a second look",
}

HELP = "Suggest causes from notes, with the words that made them. Decide nothing."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument(
        "--second-look", action="store_true", help="only coded calls whose notes say otherwise"
    )
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js
    from schemas.causes import CauseModelQuality, CauseSuggestions

    return js.record(
        {
            "suggestions": js.rows_of(CauseSuggestions, "What notes suggest, the surest first."),
            "quality": js.rows_of(CauseModelQuality, "How often that is right, by class."),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Lists what the last refresh suggested, the surest first, with how far it can be trusted."""
    import polars as pl

    from pipelines.store.reading import published_table
    from schemas.causes import CauseModelQuality, CauseSuggestions

    suggestions = published_table(args.workspace, "cause_suggestions")
    quality = published_table(args.workspace, "cause_model_quality")
    if args.second_look:
        suggestions = suggestions.filter(pl.col("kind") == _OTHERWISE)
    suggestions = suggestions.sort("probability", "call", descending=[True, False], nulls_last=True)
    if args.json:
        print_json(
            {
                "suggestions": json_rows(CauseSuggestions, suggestions),
                "quality": json_rows(CauseModelQuality, quality),
            }
        )
    elif args.csv:
        print_csv(suggestions)
    else:
        _tell(suggestions, quality.row(by_predicate=pl.col("cause_class") == "all", named=True))
    return 0


def _tell(suggestions: pl.DataFrame, whole: dict[str, Any]) -> None:
    import polars as pl

    if whole["precision"] is None:
        say(whole["note"])
    else:
        say(
            f"Of {whole['calls']:,} held-out calls the first class was the booked one in "
            f"{whole['precision']:.1%} ({whole['precision_low']:.1%} to "
            f"{whole['precision_high']:.1%}). Suggestions decide nothing."
        )
    if suggestions.is_empty():
        say("Nothing is suggested.")
    for kind, title in _TITLES.items():
        rows = suggestions.filter(pl.col("kind") == kind)
        if rows.height:
            say(f"{title}: {rows.height:,}")
        for row in rows.iter_rows(named=True):
            sure = _sure(row["probability"])
            claim = f" ({row['claim']})" if row["claim"] else ""
            booked = f" instead of {row['recorded_class']}" if row["recorded_class"] else ""
            cause = f" [{row['recorded_cause']}]" if row["recorded_cause"] else ""
            say(
                f"{row['call']}{claim}{cause}: {row['suggested_class']}{booked}, {sure}: "
                f"{'; '.join(row['words'])}"
            )


def _sure(probability: float | None) -> str:
    if probability is None:
        return "unmeasured"
    return "over 99%" if probability > 0.99 else f"{probability:.0%}"
