"""`limeledger startups`: what start-ups found, and which treatment each water calls for."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace
from pipelines.cli.console.output import json_rows, print_csv, print_json, say
from pipelines.errors import UsageError
from schemas import codes

if TYPE_CHECKING:
    import polars as pl

HELP = "List reviews of start-up reports and treatment recommendations."
REVIEWS, RECOMMENDATIONS = "startup_reviews", "treatment_recommendations"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument(
        "--state",
        metavar="S",
        help="only recommendations in this state, or reviews with this result "
        "(with --csv the recommendations, unless S is a result)",
    )
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js
    from schemas.startups import StartupReviews, TreatmentRecommendations

    return js.record(
        {
            "reviews": js.rows_of(StartupReviews, "The reviews of start-up reports."),
            "recommendations": js.rows_of(
                TreatmentRecommendations, "What the water of each unit in cover calls for."
            ),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Lists both, as of the last refresh."""
    from pipelines.store.reading import published_table
    from schemas.startups import StartupReviews, TreatmentRecommendations

    reviews = _chosen(published_table(args.workspace, REVIEWS), "result", args.state)
    advised = _chosen(published_table(args.workspace, RECOMMENDATIONS), "state", args.state)
    if args.json:
        print_json(
            {
                "reviews": json_rows(StartupReviews, reviews),
                "recommendations": json_rows(TreatmentRecommendations, advised),
            }
        )
    elif args.csv:
        print_csv(reviews if args.state in codes.REVIEW_RESULTS else advised)
    else:
        _tell(reviews, advised, args.state)
    return 0


def _chosen(table: pl.DataFrame, column: str, state: str | None) -> pl.DataFrame:
    """The rows in a state; all without one, none where the state is of the other table."""
    import polars as pl

    if state is None:
        return table
    known = (*codes.RECOMMENDATION_STATES, *codes.REVIEW_RESULTS)
    if state not in known:
        raise UsageError(f'"{state}" is no state; choose one of {", ".join(known)}.')
    return table.filter(pl.col(column) == state)


def _tell(reviews: pl.DataFrame, advised: pl.DataFrame, state: str | None) -> None:
    """Counts, then what is to be mended, then what is to be done about the water, soonest first.

    What is in order is counted alone, unless it is asked for.
    """
    import polars as pl

    is_chosen = pl.lit(state is not None)
    latest = reviews.filter(pl.col("latest"))
    say(f"Start-ups: {_counts(latest, 'result', codes.REVIEW_RESULTS)}")
    for row in (
        latest.filter(is_chosen | (pl.col("result") != "sound")).sort("completed_on").to_dicts()
    ):
        say(f"{row['serial']} ({row['agency'] or 'no agency'}): {row['sentence']}")
    say(f"Recommendations: {_counts(advised, 'state', codes.RECOMMENDATION_STATES)}")
    settled = ["none_needed", "kept_up"]
    to_do = advised.filter(is_chosen | ~pl.col("state").is_in(settled)).sort(
        "due_on", "serial", nulls_last=True
    )
    for row in to_do.to_dicts():
        say(f"{row['serial']} ({row['state'].replace('_', ' ')}): {row['sentence']}")


def _counts(table: pl.DataFrame, column: str, words: Sequence[str]) -> str:
    counts = dict(table.group_by(column).len().iter_rows())
    phrases = [f"{counts[word]:,} {word.replace('_', ' ')}" for word in words if word in counts]
    return f"{', '.join(phrases)}." if phrases else "none."
