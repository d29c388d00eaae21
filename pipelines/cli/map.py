"""`limeledger map`: a draft of a mapping for one export; applies nothing."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace, write_file
from pipelines.cli.console.output import print_json, progress, say, teller
from pipelines.errors import UsageError

if TYPE_CHECKING:
    from pipelines.queries.drafting import FileDrafts
    from pipelines.queries.trying import Trial

HELP = "Draft a mapping for an export, with the reason for each guess; try it; save it."
_DRAFT = "\0draft"  # no file has this name


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("file", metavar="FILE")
    takes_workspace(parser)
    parser.add_argument(
        "--feed", metavar="FEED", help="draft for this feed (default: the likeliest)"
    )
    parser.add_argument("--sheet", metavar="SHEET", help="only this sheet of a workbook")
    parser.add_argument(
        "--try",
        dest="tried",
        nargs="?",
        const=_DRAFT,
        metavar="MAPPING.toml",
        help="show what would load under this mapping (default: under the draft); write nothing",
    )
    parser.add_argument("--save", metavar="NAME", help="write the draft to mappings/NAME.toml")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.map import mapped

    return mapped()


def run(args: argparse.Namespace) -> int:
    """Prints the draft, what would load under it, or both; writes only where it is asked to."""
    from pipelines.queries.drafting import drafts_of

    if args.tried not in (None, _DRAFT) and args.workspace == "." and Path(args.tried).is_dir():
        args.tried, args.workspace = _DRAFT, args.tried  # `map FILE --try WS`
    target = None if args.save is None else _target(Path(args.workspace), args.save)
    file_drafts = drafts_of(args.file, args.workspace, args.feed, args.sheet, progress)
    trial = None if args.tried is None else _tried(args, file_drafts)
    if target is not None:
        write_file(target, file_drafts.drafted.drafts[0].toml)
    if args.json:
        print_json(file_drafts.to_dict() | ({} if trial is None else {"trial": trial.to_dict()}))
    elif trial is not None:
        _say_trial(trial)
    elif target is None:
        _say_drafts(file_drafts)
    if target is not None:
        teller(args.json)(
            f"The draft is in {target}. Read it, decide on the lines that are commented out, then "
            f"run `limeledger check {args.workspace}`."
        )
        _tell_other_drafts(file_drafts, args)
    return 0 if trial is None else trial.exit_code


def _target(workspace: Path, name: str) -> Path:
    """Where a draft is saved.

    Raises:
        UsageError: the name is none, there is no workspace, or a mapping is there already.
    """
    from pipelines.workspace.layout import Workspace

    stem = name[:-5] if name.casefold().endswith(".toml") else name
    if not stem or stem[0] == "." or Path(stem).name != stem:
        raise UsageError(f'--save "{name}" is no name; write one without folders, such as calls.')
    mappings = Workspace.open(workspace).mappings
    target = mappings / f"{stem}.toml"
    if mappings.is_dir() and any(
        path.name.casefold() == target.name.casefold() for path in mappings.iterdir()
    ):
        raise UsageError(f"{target} is there already; choose another name, or take it away first.")
    mappings.mkdir(exist_ok=True)
    return target


def _tried(args: argparse.Namespace, file_drafts: FileDrafts) -> Trial:
    from pipelines.assist.drafts.writing import mapping_of
    from pipelines.queries.trying import given_mapping, try_mappings

    if args.tried == _DRAFT:
        tried = [
            mapping_of(draft.judged.guess.feed, draft.toml) for draft in file_drafts.drafted.drafts
        ]
    else:
        tried = [given_mapping(args.tried, args.workspace, args.feed)]
    shown = file_drafts.source.below or file_drafts.source.shown
    return try_mappings(file_drafts.inputs, file_drafts.rows, file_drafts.path, shown, tried)


def _say_drafts(file_drafts: FileDrafts) -> None:
    listed = ", ".join(f"{feed} {score:.2f}" for feed, score in file_drafts.drafted.feeds[:3])
    progress(f"Likeliest feeds, from 0 to 1: {listed}.")
    for number, draft in enumerate(file_drafts.drafted.drafts):
        if number:
            say("")
        drafted = draft.to_dict()
        if drafted["sheets"]:
            progress(f"Sheets {', '.join(drafted['sheets'])}:")
        for question in drafted["questions"]:
            progress(f"Question ({question['about']}): {question['question']}")
        if drafted["missing"]:
            progress(
                f"No header was found for {', '.join(drafted['missing'])}, which every row needs."
            )
        say(draft.toml.rstrip("\n"))


def _tell_other_drafts(file_drafts: FileDrafts, args: argparse.Namespace) -> None:
    for draft in file_drafts.drafted.drafts[1:]:
        sheet = draft.judged.table.sheets[0]
        teller(args.json)(
            f"Sheets with other headers ({', '.join(draft.judged.table.sheets)}) look like "
            f'{draft.judged.guess.feed}; run it again with --sheet "{sheet}" and another name.'
        )


def _say_trial(trial: Trial) -> None:
    from pipelines.records.problems import ends_in_words

    totals = trial.totals()
    more = "".join(
        f", {totals[name]:,} {words}"
        for name, words in (("left_out", "left out"), ("rows_split", "added by splitting"))
        if totals[name]
    )
    say(f"{totals['rows_read']:,} rows: {ends_in_words(totals)}{more}.")
    for problem in trial.problems:
        say(problem["sentence"])
        if problem["remedy"]:
            say(f"    {problem['remedy']}")
    for join in trial.joins:
        if join["rows"]:
            say(
                f"{join['feed']}.{join['column']}: {join['matched']:,} of {join['rows']:,} rows "
                f"match {join['to']}."
            )
    for record in trial.records:
        say("  " + ", ".join(f"{name} {value}" for name, value in record.items() if value))
    say("Nothing was written.")
