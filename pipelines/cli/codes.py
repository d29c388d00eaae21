"""`limeledger codes`: which codes and names the exports use, and drafts of reference files."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, progress, say
from schemas.wording import counted

HELP = "List the codes and names in the exports; draft reference files from them into drafts/."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.assist.codes.usage import KINDS
    from schemas import json_schema as js

    code = js.record(
        {
            "kind": js.word("What it names.", KINDS),
            "code": js.text("The code."),
            "name": js.text("A description or name that is beside it; empty without one."),
            "spellings": js.texts("How exports write it, the most frequent first."),
            "rows": js.integer("Data rows that use it, but for those left out.", least=1),
            "known": js.flag("Whether it is in the reference file, or an alias."),
        }
    )
    return js.record(
        {
            "files": js.texts("The drafts that were written, below the workspace."),
            "codes": js.listing("One entry a code.", code),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Lists the codes, drafts the files, and says what to do with them."""
    from pipelines.queries.code_lists import draft_codes

    drafted = draft_codes(args.workspace, progress)
    if args.json:
        print_json(drafted.to_dict())
        return 0
    for kind in dict.fromkeys(line.kind for line in drafted.lines):
        of_kind = [line for line in drafted.lines if line.kind == kind]
        if kind == "site":  # no reference file lists them
            say(f"site: {len(of_kind)} in the exports.")
            continue
        unknown = [line for line in of_kind if not line.known]
        say(f"{kind}: {len(of_kind)} in the exports, {len(unknown)} of them not known.")
        for line in unknown[:10]:
            others = [text for text in line.spellings if text != line.code]
            also = f", also written {', '.join(others[:4])}" if others else ""
            say(f"  {line.code} {line.name}".rstrip() + f": {counted(line.rows, 'row')}{also}")
        if len(unknown) > 10:
            say(f"  … and {len(unknown) - 10} more")
    say(f"{len(drafted.aliases)} other spellings are proposed as aliases.")
    say(f"Written: {', '.join(drafted.files)}.")
    for file, count in drafted.kept.items():
        say(
            f"reference/{file}.csv has {counted(count, 'line')} that the draft does not have: add "
            "the draft's lines to it, do not replace it."
        )
    say(
        "Nothing reads drafts/. Fill in what is empty, keep the lines that are right, and move the "
        "files to reference/."
    )
    return 0
