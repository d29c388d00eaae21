"""`limeledger what-if`: every claim decided again under other terms, side by side."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace, write_file
from pipelines.cli.console.output import print_json, progress, say
from schemas.wording import counted

if TYPE_CHECKING:
    import polars as pl

    from pipelines.queries.what_if import WhatIf

_MOST_MOVES = 12

HELP = "Decide every claim again under other terms, side by side."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("terms", metavar="TERMS", help="a TOML file with one edition of the terms")
    takes_workspace(parser)
    parser.add_argument(
        "--for",
        dest="stands_for",
        metavar="EDITION",
        help="the edition that it stands in for; or `all`; or `new`, one edition more (default: "
        "the edition of its name, else of its day, else all)",
    )
    parser.add_argument("--html", metavar="FILE", help="write a page with charts and tables")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.what_if import comparison

    return comparison()


def run(args: argparse.Namespace) -> int:
    """Compares and tells; writes a page where one is asked for. The store stays as it is."""
    from pipelines.queries.what_if import what_if

    answer = what_if(args.workspace, Path(args.terms), args.stands_for)
    if answer.changed_since:
        progress(
            "The settings, terms or reference files have changed since the last refresh: the "
            "claims were decided again under the workspace's own terms as well."
        )
    if args.html:
        _write_page(Path(args.html), answer)
    if args.json:
        print_json(answer.to_dict())
    else:
        _tell(answer)
    return 0


def _write_page(path: Path, answer: WhatIf) -> None:
    # Charts take a second to import: only where one is drawn.
    from dashboards.data import PageData
    from dashboards.pages.what_if import OtherTerms
    from dashboards.site import what_if_document
    from pipelines.queries.what_if import METHOD

    shell = PageData(answer.maker, answer.as_of, answer.timezone, answer.currency, answer.hide)
    comparison = answer.comparison
    page = what_if_document(
        shell,
        OtherTerms(
            answer.reading,
            METHOD,
            answer.claims,
            comparison.claims,
            comparison.moves,
            comparison.verdicts,
            comparison.lines,
            comparison.groups,
            answer.forecast,
        ),
    )
    write_file(path, page)
    progress(f"The page is in {path}.")


def _tell(answer: WhatIf) -> None:
    import polars as pl

    from pipelines.queries.what_if import totals

    comparison = answer.comparison
    moving = comparison.claims.height
    say(textwrap.fill(answer.reading, 97))
    say(
        f"As of {answer.as_of}: {moving:,} of {counted(answer.claims, 'claim')} "
        f"{'moves' if moving == 1 else 'move'}. Nothing in the store has changed."
    )
    say("")
    for verdict, before, after in comparison.verdicts.iter_rows():
        say(f"{_words(verdict):18}{before:>8,} → {after:>8,}")
    say("")
    say(f"{answer.currency:12}{'as it is':>16}{'other terms':>16}{'change':>16}")
    for name, before, after in totals(comparison):
        say(f"{name:12}{before:>16,.2f}{after:>16,.2f}{after - before:>+16,.2f}")
    if comparison.claims.height:
        say("")
        _tell_moves(comparison.moves)
    for by in ("family", "region", "profile", "month"):
        groups = comparison.groups.filter((pl.col("by") == by) & (pl.col("change") != 0))
        if groups.height:
            say("")
            say(f"Payable by {by}, where it changes:")
            for row in groups.iter_rows(named=True):
                say(
                    f"  {row['group']:24}{row['payable_before']:>16,.2f}"
                    f"{row['payable_after']:>16,.2f}{row['change']:>+16,.2f}"
                )
    _tell_forecast(answer)
    _tell_expected(answer)


def _tell_moves(moves: pl.DataFrame) -> None:
    say("What moves, and through which condition:")
    for row in moves.head(_MOST_MOVES).iter_rows(named=True):
        change = row["payable_after"] - row["payable_before"]
        say(
            f"  {row['claims']:>5,}  {_words(row['verdict_before'])} → "
            f"{_words(row['verdict_after'])}, through {_words(row['through'] or 'the money')}: "
            f"{change:+,.2f}"
        )
    left = moves.height - _MOST_MOVES
    if left > 0:
        say(f"  and {counted(left, 'more kind', 'more kinds')} of move (--json tells all)")


def _tell_forecast(answer: WhatIf) -> None:
    import polars as pl

    from pipelines.queries.what_if import METHOD

    fleet = answer.forecast.filter(pl.col("family") == "all")
    if fleet.is_empty():
        return
    before, after = (fleet[f"cost_{side}"].sum() for side in ("before", "after"))
    say("")
    say(
        f"The {fleet.height} months to come are expected to cost {before:,.0f} {answer.currency} "
        f"as it is and {after:,.0f} under the other terms."
    )
    say(textwrap.fill(METHOD, 97))


def _tell_expected(answer: WhatIf) -> None:
    for row in answer.expected.to_dicts():
        before, after = (
            "none" if row[f"limit_{side}"] is None else f"{row[f'limit_{side}']:g}"
            for side in ("before", "after")
        )
        say("")
        text = (
            f"{row['family']}, {row['analyte']} {before} → {after}: "
            f"{counted(row['units'], 'unit in cover lies', 'units in cover lie')} between, "
            f"{row['unit_years']:.1f} unit-years in 12 months"
        )
        if row["extra_failures"] is not None and row["units"]:
            text += (
                f"; {row['extra_failures']:+.1f} failures ({row['low']:+.1f} to "
                f"{row['high']:+.1f}) and {row['extra_cost']:+,.0f} {answer.currency} "
                f"({row['cost_low']:+,.0f} to {row['cost_high']:+,.0f})"
            )
        say(textwrap.fill(f"{text}. {(row['note'] or '').capitalize()}.", 97))


def _words(name: str) -> str:
    return name.replace("_", " ")
