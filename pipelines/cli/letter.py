"""`limeledger letter`: the letter to the agency that filed a claim."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace, write_file
from pipelines.cli.console.output import print_json, progress, visible, write
from pipelines.errors import NotFoundError, WorkspaceError

if TYPE_CHECKING:
    from pipelines.steps.letters import StoredLetters

HELP = "Write the letter to the agency that filed a claim."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    takes_workspace(parser)
    parser.add_argument("--format", choices=("text", "html", "eml"), default="text")
    parser.add_argument("--out", metavar="FILE", help="write it there (default: stdout)")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.letter import letter

    return letter()


def run(args: argparse.Namespace) -> int:
    """Writes one letter as of the last refresh, to stdout or into a file."""
    from pipelines.steps.letters import letters_of_claims
    from pipelines.store.reading import no_such_claim

    stored = letters_of_claims(args.workspace, [args.claim])
    if stored.ruled_since:
        raise WorkspaceError(
            f"Claim {args.claim} was ruled on since the last refresh, so a letter would tell what "
            f"holds no longer; run `limeledger refresh {args.workspace}` first."
        )
    if stored.values.is_empty():
        raise NotFoundError(no_such_claim(args.claim))
    tell_if_behind(stored, args.workspace)
    letter = stored.values.row(0, named=True)
    content = written(letter, stored, args.format)
    if args.out:
        write_file(Path(args.out), content)
        progress(f"The letter is in {args.out}.")
    if args.json:
        subject = stored.inputs.letter_templates.subject(letter)
        envelope = {"subject": subject, "format": args.format, "file": args.out}
        print_json(letter | envelope | {"letter": content.decode("utf-8")})
    elif not args.out:
        text = content.decode("utf-8")
        write(visible(text) if args.format == "text" else text)
    return 0


def written(letter: dict[str, Any], stored: StoredLetters, form: str) -> bytes:
    """One letter in one form; a template that does not work for it is a fault of the workspace."""
    from dashboards.letters import TemplateFault
    from dashboards.letters.files import written_letter

    settings = stored.inputs.settings
    try:
        return written_letter(
            letter,
            stored.inputs.letter_templates,
            form,
            maker=settings.maker,
            sender=settings.sender,
            written_at=stored.refreshed_at,
        )
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None


def tell_if_behind(stored: StoredLetters, workspace: str) -> None:
    """Says that settings, terms, reference files or templates have changed since the refresh."""
    if stored.is_behind:
        progress(
            "Settings, terms, reference files or templates have changed since the last refresh, "
            f"whose decisions this tells; run `limeledger refresh {workspace}` to go by them."
        )
