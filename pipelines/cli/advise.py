"""`limeledger advise`: what a water needs in front of a model."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace, write_file
from pipelines.cli.console.output import print_json, progress, say
from pipelines.errors import NotFoundError, UsageError

if TYPE_CHECKING:
    from pipelines.water.advice import Advice

HELP = "Advise on water: needs, treatments, tank, cartridges, deliming."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--site", metavar="SITE", help="use the site's latest supply test")
    source.add_argument("--test", metavar="FILE", help="use the water test in this CSV file")
    source.add_argument(
        "--values", nargs="+", metavar="NAME=VALUE", help="use typed values, such as ph=7.4"
    )
    parser.add_argument("--model", required=True, metavar="MODEL")
    parser.add_argument("--region", metavar="REGION", help="for the coldest supply")
    parser.add_argument("--html", metavar="FILE", help="write a sheet to print and hand over")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.advise import advice

    return advice()


def run(args: argparse.Namespace) -> int:
    """Advises on a site's latest test, on a file, or on typed values."""
    from pipelines.queries.advising import advise_on_site, advise_on_tests, tests_in_file
    from pipelines.store.inputs import load_inputs
    from pipelines.water.advice import typed_test
    from pipelines.water.advice_text import render_text

    inputs = load_inputs(args.workspace)
    if args.site:
        advice = advise_on_site(inputs, args.site, args.model)
    elif args.test:
        path = Path(args.test)
        if not path.is_file():
            raise NotFoundError(f"There is no file {path}; name a CSV file with a water test.")
        advice = advise_on_tests(inputs, tests_in_file(inputs, path), args.model, args.region)
    else:
        advice = advise_on_tests(inputs, typed_test(_typed(args.values)), args.model, args.region)
    if args.html:
        _write_sheet(Path(args.html), advice, inputs.settings.maker)
    if args.json:
        print_json(advice.to_dict())
    elif not args.html:
        say(render_text(advice))
    return 0


def _write_sheet(path: Path, advice: Advice, maker: str) -> None:
    # Charts take a second to import: only where one is drawn.
    from dashboards.pages.advice import advice_sheet

    sheet = advice_sheet(advice.to_dict(), advice.levels, maker)
    write_file(path, sheet)
    progress(f"The sheet is in {path}.")


def _typed(values: list[str]) -> dict[str, float]:
    figures = {}
    for text in values:
        name, equals, number = text.partition("=")
        try:
            if not equals:
                raise ValueError
            figures[name.strip()] = float(number)
        except ValueError:
            raise UsageError(
                f'"{text}" is no value; write such as ph=7.4 or hardness_mg_l_caco3=180.'
            ) from None
    return figures
