"""The `limeledger` command: reads the call, hands it to one module of `pipelines.cli`.

Belongs here: arguments, exit codes, and turning errors into sentences. Does not belong here: work;
each command imports what it needs when it runs, so that `--help` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from pathlib import Path

from pipelines.cli.output import progress
from pipelines.errors import LimeledgerError
from pipelines.workspace import clock

FAULT = 70


def build_parser() -> argparse.ArgumentParser:
    """Every command with its arguments; `args.command` names the module that does it."""
    parser = argparse.ArgumentParser(
        prog="limeledger",
        description="Decides warranty claims on steam cookers from the exports in a workspace: "
        "is this failure covered, why, and what would settle it?",
        epilog="Exit codes: 0 done; 1 done, but something needs a person; 2 the call, the "
        "settings, a reference or a terms file is wrong; 3 another refresh is running; "
        "4 not found; 70 a fault of the tool itself or of its disk.",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    def add(name: str, text: str) -> argparse.ArgumentParser:
        command = commands.add_parser(name, help=text, description=text)
        command.add_argument(
            "--json", action="store_true", help="machine-readable output on stdout"
        )
        command.add_argument(
            "--debug", action="store_true", help="show the traceback of a fault of the tool"
        )
        return command

    def takes_workspace(command: argparse.ArgumentParser) -> None:
        command.add_argument(
            "workspace",
            nargs="?",
            default=".",
            metavar="WS",
            help="the workspace folder (default: the current folder)",
        )

    def takes_as_of(command: argparse.ArgumentParser) -> None:
        command.add_argument(
            "--as-of",
            metavar="DATE",
            help="decide as of this day, YYYY-MM-DD (default: today in the workspace's time zone)",
        )

    demo = add("demo", "Lay out the sample workspace, refresh it and say where the pages are.")
    demo.add_argument("folder", nargs="?", default="limeledger-demo", metavar="FOLDER")

    new = add("new", "Make an empty workspace: settings, terms to edit, headers, a README.")
    new.add_argument("folder", metavar="FOLDER")

    refresh = add("refresh", "Read what is new, validate, decide, compute and publish.")
    takes_workspace(refresh)
    takes_as_of(refresh)

    check = add(
        "check", "Read and validate everything; say what would be set aside. Write nothing."
    )
    takes_workspace(check)
    takes_as_of(check)

    explain = add(
        "explain", "Explain one claim: verdict, money, findings, evidence, what is short."
    )
    explain.add_argument("claim", metavar="CLAIM")
    takes_workspace(explain)
    explain.add_argument(
        "--html", metavar="FILE", help="write the claim's page as one file, also where it has none"
    )

    letter = add("letter", "Write the letter to the agency that filed a claim.")
    letter.add_argument("claim", metavar="CLAIM")
    takes_workspace(letter)
    letter.add_argument("--format", choices=("text", "html", "eml"), default="text")
    letter.add_argument("--out", metavar="FILE", help="write it there (default: stdout)")

    letters = add("letters", "Write the letters of all that the last refresh decided.")
    takes_workspace(letters)
    letters.add_argument(
        "--out", metavar="FOLDER", help="write them there (default: outgoing/DAY in the workspace)"
    )
    letters.add_argument(
        "--since", metavar="DATE", help="all that was decided or ruled as of this day or later"
    )
    letters.add_argument("--format", choices=("text", "html", "eml"), default="eml")

    rule = add("rule", "Record what a person decided on a claim.")
    rule.add_argument("claim", metavar="CLAIM")
    rule.add_argument("ruling", metavar="RULING", help="covered, covered_in_part or not_covered")
    takes_workspace(rule)
    rule.add_argument("--by", required=True, metavar="WHO", help="who decided")
    rule.add_argument("--reason", required=True, metavar="TEXT", help="why")
    rule.add_argument("--parts", metavar="AMOUNT", help="what is to be paid for parts")
    rule.add_argument("--labor", metavar="AMOUNT", help="what is to be paid for labor")
    rule.add_argument("--travel", metavar="AMOUNT", help="what is to be paid for travel")
    rule.add_argument("--at", metavar="WHEN", help="when it was decided (default: now)")

    paid = add("payments", "Tell what was paid beside what stands: unpaid, twice, too much.")
    takes_workspace(paid)
    paid.add_argument("--state", metavar="STATE", help="only this state, such as unpaid")
    paid.add_argument("--csv", action="store_true", help="CSV on stdout")

    opinion = add(
        "second-opinion",
        "Draw decided claims for a person to check blind; tell how far they agree.",
    )
    takes_workspace(opinion)
    opinion.add_argument("--sample", type=int, metavar="N", help="draw so many claims")
    opinion.add_argument("--seed", metavar="S", help="of the draw (default: the as-of date)")
    opinion.add_argument("--out", metavar="FOLDER", help="where the sheet goes")
    opinion.add_argument(
        "--record", metavar="FILE", help="record the verdicts of a filled-in sheet"
    )
    opinion.add_argument("--by", metavar="WHO", help="who checked, where the sheet does not say")

    advise = add("advise", "Advise on water: needs, treatments, tank, cartridges, deliming.")
    takes_workspace(advise)
    source = advise.add_mutually_exclusive_group(required=True)
    source.add_argument("--site", metavar="SITE", help="use the site's latest supply test")
    source.add_argument("--test", metavar="FILE", help="use the water test in this CSV file")
    source.add_argument(
        "--values", nargs="+", metavar="NAME=VALUE", help="use typed values, such as ph=7.4"
    )
    advise.add_argument("--model", required=True, metavar="MODEL")
    advise.add_argument("--region", metavar="REGION", help="for the coldest supply")
    advise.add_argument("--html", metavar="FILE", help="write a sheet to print and hand over")

    draft = add("map", "Draft a mapping for an export, with the reason for each guess.")
    draft.add_argument("file", metavar="FILE")
    draft.add_argument("--feed", required=True, metavar="FEED")
    takes_workspace(draft)

    field = add("field", "Field figures for any slice.")
    takes_workspace(field)
    field.add_argument("--by", default="all", metavar="DIMENSIONS", help="joined by commas")
    field.add_argument("--figure", default="rates", metavar="NAME")
    for name in ("family", "region", "profile"):
        field.add_argument(f"--{name}", metavar=name.upper(), help=f"only this {name}")
    field.add_argument("--class", dest="cause_class", metavar="CLASS", help="only this class")
    field.add_argument("--since", metavar="DATE", help="failures and time from this day on")
    field.add_argument("--until", metavar="DATE", help="failures and time before this day")
    field.add_argument("--csv", action="store_true", help="CSV on stdout")

    agencies = add("agencies", "Tell what is worth asking an agency about, beside its peers.")
    takes_workspace(agencies)
    agencies.add_argument("--csv", action="store_true", help="CSV on stdout")

    upcoming = add("upcoming", "Tell who is about to lose cover, and why.")
    takes_workspace(upcoming)
    upcoming.add_argument("--within", type=int, default=30, metavar="DAYS")
    upcoming.add_argument("--csv", action="store_true", help="CSV on stdout")

    causes = add(
        "causes", "Suggest causes from notes, with the words that made them. Decide nothing."
    )
    takes_workspace(causes)
    causes.add_argument(
        "--second-look", action="store_true", help="only coded calls whose notes say otherwise"
    )
    causes.add_argument("--csv", action="store_true", help="CSV on stdout")

    backup = add("backup", "Put a workspace into one file, with checksums.")
    takes_workspace(backup)
    backup.add_argument("file", metavar="FILE", help="the archive to write (ZIP)")
    backup.add_argument(
        "--wait",
        type=float,
        default=3600.0,
        metavar="SECONDS",
        help="how long to wait for a refresh that is running (default: 3600)",
    )

    restore = add("restore", "Take a workspace out of a backup, all of it or nothing.")
    restore.add_argument("file", metavar="FILE", help="an archive that backup wrote")
    restore.add_argument("folder", metavar="FOLDER", help="a folder that is new or empty")

    doctor = add("doctor", "Tell what is wrong with a workspace, and the way out. Write nothing.")
    takes_workspace(doctor)

    other = add("what-if", "Decide every claim again under other terms, side by side.")
    other.add_argument("terms", metavar="TERMS", help="a TOML file with one edition of the terms")
    takes_workspace(other)
    other.add_argument(
        "--for",
        dest="stands_for",
        metavar="EDITION",
        help="the edition that it stands in for; or `all`; or `new`, one edition more (default: "
        "the edition of its name, else of its day, else all)",
    )
    other.add_argument("--html", metavar="FILE", help="write a page with charts and tables")

    web = add("dagster", "Open Dagster's own page on the loopback address.")
    takes_workspace(web)
    web.add_argument("--port", type=int, default=3000)
    web.add_argument(
        "--no-page", action="store_true", help="only the schedule and the sensor, for a service"
    )
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code."""
    args = _parse(build_parser(), argv)
    os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"
    module = importlib.import_module(f"pipelines.cli.{args.command.replace('-', '_')}")
    try:
        clock.now()  # a moment that is given and is none ends every command alike
        return module.run(args)
    except LimeledgerError as error:
        progress(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        progress("Stopped. The store and the published pages are as they were.")
        return 130
    except Exception as error:
        return _report_fault(error, args)


def _parse(parser: argparse.ArgumentParser, argv: Sequence[str] | None) -> argparse.Namespace:
    """Takes the workspace also behind options, where argparse itself would refuse it."""
    args, left = parser.parse_known_args(argv)
    if len(left) == 1 and not left[0].startswith("-") and getattr(args, "workspace", "") == ".":
        args.workspace = left[0]
    elif left:
        parser.error(f"unrecognized arguments: {' '.join(left)}")
    return args


def _report_fault(error: Exception, args: argparse.Namespace) -> int:
    from pipelines.store.database import storage_fault

    workspace = Path(getattr(args, "workspace", None) or getattr(args, "folder", "."))
    known = storage_fault(error, workspace)
    if known is not None:
        progress(str(known))
        return known.exit_code
    log = _write_log(workspace)
    if args.debug:
        traceback.print_exc()
    progress(
        f"Limeledger itself failed ({type(error).__name__}); this is a fault of the tool, "
        f"not of your data. The store and the pages are as they were. The details are in {log}."
    )
    return FAULT


def _write_log(workspace: Path) -> Path:
    """Appends the traceback to the workspace's log, or to one in the temporary folder."""
    text = f"{clock.stamp()}\n{traceback.format_exc()}\n"
    for folder in (workspace / "store", Path(tempfile.gettempdir())):
        log = folder / "limeledger.log"
        try:
            with log.open("a", encoding="utf-8") as file:
                file.write(text)
            return log
        except OSError:
            continue
    return Path("the terminal only (no folder could be written)")


if __name__ == "__main__":
    sys.exit(main())
