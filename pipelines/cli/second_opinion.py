"""`limeledger second-opinion`: draws claims to check blind, reads answers back, tells agreement."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, say, teller
from pipelines.errors import UsageError, WorkspaceError
from pipelines.workspace.layout import Workspace
from schemas.wording import counted

HELP = "Draw decided claims for a person to check blind; tell how far they agree."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--sample", type=int, metavar="N", help="draw so many claims")
    parser.add_argument("--seed", metavar="S", help="of the draw (default: the as-of date)")
    parser.add_argument("--out", metavar="FOLDER", help="where the sheet goes")
    parser.add_argument("--record", metavar="FILE", help="record the verdicts of a filled-in sheet")
    parser.add_argument("--by", metavar="WHO", help="who checked, where the sheet does not say")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js
    from schemas.codes import VERDICTS
    from schemas.second_opinions import SecondOpinionAgreement, SecondOpinions

    drawn = {
        "claims": js.texts("The claims drawn, in the order of the sheet."),
        "seed": js.text("The seed of the draw."),
        "csv": js.text("The sheet to answer on."),
        "html": js.text("The evidence to read, without the verdicts."),
    }
    recorded = {
        "recorded": js.integer("Opinions recorded now."),
        "known": js.integer("Opinions of the sheet that were recorded before."),
        "not_answered": js.integer("Claims of the sheet without an answer."),
    }
    pair = {
        "computed": js.word("The verdict of the rules.", VERDICTS),
        "verdict": js.word("The person's verdict.", VERDICTS),
        "opinions": js.integer("How often.", least=1),
    }
    agreement = {
        "agreement": js.rows_of(SecondOpinionAgreement, "How far people and rules agree."),
        "confusion": js.listing("Verdict by verdict.", js.record(pair)),
        "disagreements": js.rows_of(
            SecondOpinions, "The opinions that differ.", without=("agrees", "counts")
        ),
    }
    return js.one_of(
        [
            js.record(drawn, "With --sample."),
            js.record(recorded, "With --record."),
            js.record(agreement, "Without either."),
        ]
    )


def run(args: argparse.Namespace) -> int:
    """Draws with --sample, reads back with --record, and tells agreement without either."""
    if args.sample is not None and args.record is not None:
        raise UsageError("--sample and --record are two calls; draw first, record what came back.")
    for name, needs in (("seed", "sample"), ("out", "sample"), ("by", "record")):
        if getattr(args, name) is not None and getattr(args, needs) is None:
            raise UsageError(f"--{name} goes with --{needs}; leave it out or add --{needs}.")
    if args.sample is not None:
        return _draw(args)
    return _record(args) if args.record is not None else _tell(args)


def _draw(args: argparse.Namespace) -> int:
    from pipelines.queries.blind_sheet import write_sheet

    if args.sample < 1:
        raise UsageError(f"--sample {args.sample} draws no claim; name a number of 1 or more.")
    workspace = Workspace.open(args.workspace)
    seed = None if args.seed is None else args.seed.strip()
    if seed == "":
        raise UsageError("--seed is empty; write any word or number, or leave it out.")
    folder = None if args.out is None else Path(args.out)
    sheet = write_sheet(workspace, args.sample, seed, folder)
    if args.json:
        print_json(
            {
                "claims": sheet.claims,
                "seed": sheet.seed,
                "csv": str(sheet.csv),
                "html": str(sheet.html),
            }
        )
    tell = teller(args.json)
    drawn = len(sheet.claims)
    tell(f"{drawn} {'claim' if drawn == 1 else 'claims'} drawn with seed {sheet.seed}.")
    if drawn < args.sample:
        tell(f"There are no more claims that nobody has checked; {args.sample} were asked for.")
    tell(f"Read {sheet.html}, answer in {sheet.csv}, then:")
    tell(f"limeledger second-opinion {workspace.root} --record {sheet.csv} --by WHO")
    return 0


def _record(args: argparse.Namespace) -> int:
    from pipelines.assist.second_opinions.opinions import ANSWER_COLUMNS, read_answers
    from pipelines.steps.second_opinions import (
        drawn_claims,
        keep,
        standing_opinions,
    )
    from pipelines.workspace.clock import now
    from pipelines.workspace.layout import OPINIONS
    from pipelines.workspace.lock import refresh_lock
    from pipelines.workspace.permissions import private_umask, restrict_file
    from pipelines.workspace.settings import load_settings
    from pipelines.workspace.small_csv import FormFault, read_small_csv

    workspace = Workspace.open(args.workspace)
    settings = load_settings(workspace)
    by = None if args.by is None else args.by.strip()
    if by == "":
        raise UsageError("--by is empty; say who checked the claims.")
    file = Path(args.record)
    try:
        optional = ("checked_by", "note")
        lines = read_small_csv(
            file, args.record, ANSWER_COLUMNS, optional, settings.max_file_mb
        ).rows
    except FormFault as fault:
        raise WorkspaceError(str(fault)) from None
    readers = settings.readable_by
    with private_umask(readers), refresh_lock(workspace.store):
        answers = read_answers(
            args.record, lines, drawn_claims(workspace), standing_opinions(workspace), by
        )
        if answers.faults:
            raise WorkspaceError(*answers.faults, "Nothing was recorded; correct the lines above.")
        here = now().astimezone(settings.zone).replace(tzinfo=None)
        moment = here.isoformat(timespec="seconds")
        keep(workspace, OPINIONS, [row | {"checked_at": moment} for row in answers.opinions])
        restrict_file(workspace.store / OPINIONS, readers)
    if args.json:
        print_json(
            {
                "recorded": len(answers.opinions),
                "known": answers.known,
                "not_answered": answers.empty,
            }
        )
    tell = teller(args.json)
    tell(
        f"Recorded: {counted(len(answers.opinions), 'opinion')}; recorded before: {answers.known}; "
        f"still without an answer: {counted(answers.empty, 'claim')}."
    )
    if answers.opinions:
        tell("The pages and tables tell them from the next refresh on.")
    return 0


def _tell(args: argparse.Namespace) -> int:
    import polars as pl

    from pipelines.assist.second_opinions.agreement import confusion
    from pipelines.steps.second_opinions import opinion_tables
    from pipelines.store.reading import open_store

    workspace = Workspace.open(args.workspace)
    with open_store(workspace) as con:
        tables = opinion_tables(workspace, con)
    opinions = tables.second_opinions.filter("counts")
    differing = opinions.filter(~pl.col("agrees")).sort("claim")
    if args.json:
        print_json(
            {
                "agreement": tables.second_opinion_agreement.to_dicts(),
                "confusion": confusion(opinions).to_dicts(),
                "disagreements": differing.drop("agrees", "counts").to_dicts(),
            }
        )
        return 0
    if opinions.is_empty():
        say(
            "No second opinion has been recorded yet; draw claims with "
            f"`limeledger second-opinion {workspace.root} --sample 30`."
        )
        return 0
    for row in tables.second_opinion_agreement.iter_rows(named=True):
        _say_agreement(row)
    say("By the rules, by the person, opinions:")
    for computed, verdict, count in confusion(opinions).iter_rows():
        say(f"  {_word(computed)}, {_word(verdict)}: {count}")
    if differing.height:
        say("Where they differ:")
    for row in differing.iter_rows(named=True):
        note = f" {row['note']}" if row["note"] else ""
        say(
            f"  {row['claim']}: {_word(row['computed'])} by the rules, {_word(row['verdict'])} by "
            f"{row['checked_by']}.{note}"
        )
    return 0


def _say_agreement(row: dict[str, Any]) -> None:
    weighed = "Weighted to all claims" if row["weighting"] == "claims" else "Of those checked"
    if row["agreement"] is None:
        say(f"{weighed}: {row['note']}.")
        return
    text = (
        f"{weighed}: {row['agreement']:.1%} agree ({row['agreement_low']:.1%} to "
        f"{row['agreement_high']:.1%}); kappa "
    )
    if row["kappa"] is None:
        text += "is not to be had"
    elif row["kappa_low"] is None:
        text += f"{row['kappa']:.2f}"
    else:
        text += f"{row['kappa']:.2f} ({row['kappa_low']:.2f} to {row['kappa_high']:.2f})"
    note = row["note"] or ""
    said = f" {note[0].upper()}{note[1:]}." if note else ""
    say(f"{text}; {row['opinions']} claims checked.{said}")


def _word(verdict: str) -> str:
    return verdict.replace("_", " ")
