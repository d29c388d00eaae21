"""The recipes for a night (cron, systemd, container) call commands that there are."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from pipelines.cli.main import build_parser

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block(language: str, part: str) -> str:
    """The code block of the README in that language that holds `part`."""
    found = [one for one in re.findall(rf"```{language}\n(.*?)```", README, re.S) if part in one]
    assert len(found) == 1, f"{len(found)} blocks of {language} hold {part}"
    return found[0]


def asks_for(words: list[str]) -> tuple[str, str]:
    """Command and workspace of a call, which the command line must take."""
    assert Path(words[0]).name == "limeledger"
    args = build_parser().parse_args(words[1:])
    return args.command, args.workspace


def cron_command() -> str:
    """What cron hands to sh: the line without its five fields of time."""
    line = block("cron", "limeledger").strip()
    assert re.match(r"\d+ \d+ \* \* \* ", line)
    return line.split(maxsplit=5)[5]


@pytest.mark.parametrize(("code", "mailed"), [(0, False), (1, True), (2, True), (70, True)])
def test_the_cron_line_mails_unless_all_is_well(tmp_path: Path, code: int, mailed: bool):
    """sh runs the line as cron would; `limeledger` and `mail` are stand-ins that say they ran."""
    assert asks_for(shlex.split(cron_command().partition("||")[0])) == ("refresh", "/srv/warranty")
    for name, text in (
        ("limeledger", f'echo "$@" > {tmp_path}/called; exit {code}'),
        ("mail", f'echo "$@" > {tmp_path}/mailed'),
    ):
        (tmp_path / name).write_text(f"#!/bin/sh\n{text}\n")
        (tmp_path / name).chmod(0o755)
    environment = {"PATH": f"{tmp_path}{os.pathsep}/usr/bin:/bin"}
    # Cron knows hardly any path, so the line names both programs in full.
    assert re.findall(r"(?:^|\|\| )(\S+)", cron_command()) == [
        "/opt/limeledger/bin/limeledger",
        "/usr/bin/mail",
    ]
    line = cron_command().replace("/opt/limeledger/bin/", "").replace("/usr/bin/mail", "mail")
    subprocess.run(["/bin/sh", "-c", line], env=environment, check=False)
    assert (tmp_path / "called").read_text() == "refresh /srv/warranty\n"
    assert (tmp_path / "mailed").exists() == mailed


def test_the_systemd_units_call_the_command_and_pass_verification(tmp_path: Path):
    """systemd-analyze finds no fault, with a program and a user that are here in their places."""
    service, timer = block("ini", "[Service]"), block("ini", "[Timer]")
    call = re.search(r"^ExecStart=(.*)$", service, re.M)
    assert call is not None
    assert asks_for(shlex.split(call[1])) == ("refresh", "/srv/warranty")
    assert "ReadWritePaths=/srv/warranty" in service
    assert "SuccessExitStatus=1" in service
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd-analyze is not installed")
    here = service.replace(call[1].split()[0], "/bin/true").replace("User=warranty", "User=root")
    (tmp_path / "limeledger.service").write_text(here)
    (tmp_path / "limeledger.timer").write_text(timer)
    done = subprocess.run(
        [analyze, "verify", "--man=no", *map(str, sorted(tmp_path.iterdir()))],
        capture_output=True,
        text=True,
        check=False,
    )
    ours = [line for line in done.stderr.splitlines() if "limeledger" in line]
    assert ours == []
    when = re.search(r"^OnCalendar=(.*)$", timer, re.M)
    assert when is not None
    shown = subprocess.run(
        [analyze, "calendar", when[1]], capture_output=True, text=True, check=False
    )
    assert shown.returncode == 0, shown.stderr


def test_the_container_starts_with_the_refresh():
    """Its entry point is the command, its default a refresh of the mounted workspace."""
    told = dict(re.findall(r"^(ENTRYPOINT|CMD) (\[.*\])$", block("dockerfile", "ENTRYPOINT"), re.M))
    words = [*re.findall(r'"([^"]*)"', told["ENTRYPOINT"] + told["CMD"])]
    assert asks_for(words) == ("refresh", "/workspace")
    run = block("console", "podman run").strip().splitlines()[-1]
    assert "--network none" in run
    assert ":/workspace" in run


@pytest.mark.parametrize(
    ("file", "language", "part"),
    [
        ("crontab", "cron", "limeledger"),
        ("limeledger.service", "ini", "[Service]"),
        ("limeledger.timer", "ini", "[Timer]"),
        ("Containerfile", "dockerfile", "ENTRYPOINT"),
    ],
)
def test_the_recipes_that_are_printed_are_those_that_lie_there(file, language, part):
    """Who copies a file and who copies from the page do the same."""
    printed = re.sub(r"^# /etc/.*\n", "", block(language, part))
    assert (ROOT / ".container" / file).read_text(encoding="utf-8") == printed
