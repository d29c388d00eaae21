"""The README keeps step with the command line, and CI with the README."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_readme_shows_the_commands_as_help_does() -> None:
    """The list of commands between the markers is what `--help` prints."""
    shown = re.search(
        r"<!-- commands -->\n```text\n(.*?)```\n<!-- /commands -->",
        (ROOT / "README.md").read_text(encoding="utf-8"),
        re.DOTALL,
    )
    assert shown, "README.md has no block of commands between its markers"
    told = subprocess.run(
        [sys.executable, "-m", "pipelines.cli", "--help"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={"COLUMNS": "100", "PATH": "/usr/bin:/bin"},
    ).stdout
    assert shown[1] == told, "paste the output of `COLUMNS=100 limeledger --help` into README.md"


def test_ci_runs_the_readmes_test_command() -> None:
    """CI calls exactly the test command that the README gives."""
    commands = re.findall(
        r"```console\n(python3 -m venv .*?)\n```", (ROOT / "README.md").read_text(encoding="utf-8")
    )
    assert len(commands) == 2
    assert "\n" + commands[1] + "\n" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_every_picture_of_the_readme_is_there() -> None:
    """No picture link is broken."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    pictures = re.findall(r"!\[[^]]*\]\(([^)]+)\)", readme)
    assert len(pictures) >= 4
    for picture in pictures:
        assert (ROOT / picture).is_file(), picture
