"""The handout of `limeledger field`: what was asked for on one page, and the command for it.

Belongs here: handing the answer, its selection and what is said of it to the page. Does not belong
here: the page (`dashboards.handout`), the answer.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.cli.console.arguments import write_file
from pipelines.cli.console.output import teller
from schemas.wording import counted

if TYPE_CHECKING:
    import polars as pl

    from pipelines.field.context import FieldContext


def hand_out(
    args: argparse.Namespace,
    figure: str,
    table: pl.DataFrame,
    failures: int,
    context: FieldContext,
    sentence: str | None = None,
) -> None:
    """Writes the page, and says where it is.

    Args:
        args: of `limeledger field`.
        figure: what the page is about; table: its rows.
        failures: how many are behind it.
        context: what was selected.
        sentence: what it says; None where it has none of its own.
    """
    from dashboards.handout import handout, without_alls

    narrowed = {"family": args.family, "region": args.region, "profile": args.profile}
    narrowed |= {"cause_class": args.cause_class, "event": args.event}
    chosen = [f"{name}={value}" for name, value in narrowed.items() if value]
    page = handout(
        figure,
        without_alls(table),
        sentence=sentence,
        selected=[*chosen, *args.where, *_sides(args)],
        since=args.since,
        until=args.until,
        as_of=context.as_of,
        failures=failures,
        command=_command(args),
    )
    write_file(Path(args.handout), page)
    teller(args.json or args.csv)(f"The handout is in {args.handout}.")


def sentence_of(
    args: argparse.Namespace, figure: str, dims: tuple[str, ...], context: FieldContext
) -> str | None:
    """What the page says of it, or how much was selected; None where rows were chosen of it."""
    from pipelines.steps.field_slices import amount_of, of_kind, stored_sentence

    if args.region or args.profile:
        return None
    narrowed = (args.where, args.family, args.cause_class, args.since, args.until)
    own = of_kind(context, args.event)
    if args.compare:  # the days of both sides are not those of the whole selection
        return f"{counted(own.failures.height, 'failure')} of either side."
    if args.failures or any(narrowed):
        return amount_of(own)
    return stored_sentence(args.workspace, figure, dims, args.event) or amount_of(own)


def behind(args: argparse.Namespace, context: FieldContext) -> int:
    """How many failures are behind what is shown."""
    import polars as pl

    from pipelines.steps.field_slices import of_kind

    failures = of_kind(context, args.event).failures
    for name in ("region", "profile"):
        if getattr(args, name) is not None:
            failures = failures.filter(pl.col(name) == getattr(args, name))
    return failures.height


def _sides(args: argparse.Namespace) -> list[str]:
    """Both sides of a comparison."""
    sides = args.compare or []
    return [*sides, "all other days"] if len(sides) == 1 else sides


def _command(args: argparse.Namespace) -> str:
    """The command that makes it again."""
    import shlex

    words = ["limeledger", "field", str(args.workspace)]
    for name in ("figure", "by", "event", "family", "region", "profile", "since", "until"):
        value = getattr(args, name)
        if value and (name, value) not in (("figure", "rates"), ("by", "all")):
            words += [f"--{name}", value]
    words += ["--class", args.cause_class] if args.cause_class else []
    for condition in args.where:
        words += ["--where", condition]
    words += ["--compare", *args.compare] if args.compare else []
    words += ["--failures"] if args.failures else []
    return shlex.join([*words, "--handout", args.handout])
