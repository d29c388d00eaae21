"""`limeledger field`: the field figures for any slice, two slices compared, failures, a handout."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace
from pipelines.cli.console.output import json_rows, print_csv, print_json, say
from pipelines.errors import UsageError
from pipelines.workspace.typed_days import day_if_typed
from schemas import codes
from schemas.wording import counted

if TYPE_CHECKING:
    import polars as pl

    from pipelines.field.comparison import Comparison
    from pipelines.field.context import FieldContext

HELP = "Field figures for any slice."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--by", default="all", metavar="DIMENSIONS", help="joined by commas")
    parser.add_argument("--figure", default="rates", metavar="NAME")
    parser.add_argument("--event", metavar="EVENT", help="any, water or a class of causes")
    parser.add_argument(
        "--where",
        action="append",
        default=[],
        metavar="DIM=VALUE",
        help="only these: DIM=VALUE, DIM=A|B or DIM=A..B; may be repeated, all must hold",
    )
    for name in ("family", "region", "profile"):
        parser.add_argument(f"--{name}", metavar=name.upper(), help=f"only this {name}")
    parser.add_argument("--class", dest="cause_class", metavar="CLASS", help="only this class")
    parser.add_argument("--since", metavar="DATE", help="failures and time from this day on")
    parser.add_argument("--until", metavar="DATE", help="failures and time before this day")
    parser.add_argument(
        "--compare",
        nargs="+",
        metavar="A",
        help="conditions joined by commas, against others or against all other days",
    )
    parser.add_argument("--failures", action="store_true", help="list the failures themselves")
    parser.add_argument("--handout", metavar="FILE.html", help="the finding on one page")
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.field import output_schema as output

    return output()


def run(args: argparse.Namespace) -> int:
    """Tells what is asked for, from the last refresh's records."""
    from pipelines.field.conditions import read_conditions
    from pipelines.field.dimension_values import check_values
    from pipelines.steps.field_slices import (
        FleetSelection,
        behind_both,
        dimensions_of,
        stored_context,
    )

    if args.cause_class and args.cause_class not in (*codes.CAUSE_CLASSES, "unknown"):
        raise UsageError(
            f'"{args.cause_class}" is no class; choose one of {", ".join(codes.CAUSE_CLASSES)}.'
        )
    _hold_together(args)
    by = [] if args.by == "all" else [word.strip() for word in args.by.split(",")]
    dims = dimensions_of(args.figure, by)
    # A comparison has no rows to choose from: region and profile part its failures and days.
    of_both = [f"{x}={getattr(args, x)}" for x in ("region", "profile") if getattr(args, x)]
    selection = FleetSelection(
        (*args.where, *(of_both if args.compare else ())),
        args.family,
        args.cause_class,
        day_if_typed("--since", args.since),
        day_if_typed("--until", args.until),
    )
    if selection.since and selection.until and selection.until <= selection.since:
        raise UsageError(
            f"--until {args.until} leaves no day from --since {args.since} on; days before --until "
            "count, so name a later one."
        )
    for name in ("region", "profile"):
        rows_wanted = not args.failures and not args.compare
        if getattr(args, name) is not None and name not in by and rows_wanted:
            chosen = getattr(args, name)
            raise UsageError(f"--{name} {chosen} needs --by {name}; slice by it to choose one.")
    whole = stored_context(args.workspace)
    check_values(whole, read_conditions(of_both))
    context = selection.of(whole)
    if args.compare:
        sides = (args.compare[0], args.compare[1] if len(args.compare) > 1 else None)
        if not args.failures:
            return _compare(args, context, sides, whole)
        context = behind_both(context, *sides, whole)
    return _figure(args, context, dims, whole)


def _hold_together(args: argparse.Namespace) -> None:
    """Refuses what a comparison would leave unheard."""
    if not args.compare:
        return
    if len(args.compare) > 2:
        raise UsageError("--compare takes one or two selections; join conditions by commas.")
    for option, without in (("by", "all"), ("figure", "rates")):
        if getattr(args, option) != without and not args.failures:
            raise UsageError(
                f"--compare holds the rates of two selections against each other, and takes no "
                f"--{option}; leave it out, or narrow both sides with --where."
            )


def _figure(
    args: argparse.Namespace, context: FieldContext, dims: tuple[str, ...], whole: FieldContext
) -> int:
    import polars as pl

    from pipelines.steps.field_slices import failures_behind, figure_rows

    figure = "field_failures" if args.failures else args.figure
    table = (
        failures_behind(context, args.event, whole)
        if args.failures
        else figure_rows(context, figure, dims, args.event)
    )
    for name in ("region", "profile"):
        chosen = getattr(args, name)
        if chosen is not None:
            table = table.filter(pl.col(name) == chosen)
    if args.handout:
        from pipelines.cli.console import field_handouts as handouts

        says = handouts.sentence_of(args, figure, dims, context)
        handouts.hand_out(args, figure, table, handouts.behind(args, context), context, says)
    if args.json:
        print_json(_rows(figure, table))
    elif args.csv:
        print_csv(table)
    elif not args.handout:
        from dashboards.handout import without_alls

        _print(without_alls(table))
    return 0


def _rows(figure: str, table: pl.DataFrame) -> list[dict[str, Any]]:
    from schemas.columns import column_names
    from schemas.field import FIELD_TABLES

    own = column_names(FIELD_TABLES[figure])
    more = [name for name in table.columns if name not in own]
    rows = json_rows(FIELD_TABLES[figure], table)
    if not more:
        return rows
    extra = table.select(more).to_dicts()
    return [row | values for row, values in zip(rows, extra, strict=True)]


def _print(table: pl.DataFrame) -> None:
    from pipelines.cli.console.tables import table_lines, width

    for line in table_lines(table, width()):
        say(line)


def _say_within(sentence: str) -> None:
    import textwrap

    from pipelines.cli.console.tables import width

    for line in textwrap.wrap(sentence, max(width(), 20)):
        say(line)


def _compare(
    args: argparse.Namespace,
    context: FieldContext,
    sides_of: tuple[str, str | None],
    whole: FieldContext,
) -> int:
    import polars as pl

    from pipelines.steps.field_slices import compared

    comparison = compared(context, *sides_of, args.event, whole)
    answer = _as_json(comparison)
    sides = pl.DataFrame(
        [{"side": side} | answer[side] for side in ("a", "b")], infer_schema_length=None
    )
    ratios = pl.DataFrame(answer["ratios"], infer_schema_length=None)
    if args.handout:
        from pipelines.cli.console.field_handouts import hand_out

        count = comparison.a.failures + comparison.b.failures
        hand_out(args, "comparison", sides, count, context, comparison.sentence)
    if args.json:
        print_json(answer)
    elif args.csv:
        print_csv(ratios)
    elif not args.handout:
        _say_within(comparison.sentence)
        say("")
        _print(sides)
        say("")
        _print(ratios)
        if comparison.left_out:
            left = counted(comparison.left_out, "failure is", "failures are")
            say(f"{left} left out of the last: one side has no time there.")
    return 0


def _as_json(comparison: Comparison) -> dict[str, Any]:
    return {
        "a": comparison.a._asdict(),
        "b": comparison.b._asdict(),
        "ratios": [ratio._asdict() for ratio in comparison.ratios],
        "left_out": comparison.left_out,
        "sentence": comparison.sentence,
    }
