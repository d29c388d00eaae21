"""Who is told when a refresh fails: the log, a command, a mail.

Belongs here: telling people, each way by itself, so that one that fails hides neither the others
nor the fault that is told of. Does not belong here: what the settings may say
(`pipelines.workspace.night`), or the note on the pages (`pipelines.nightly.page_note`).
"""

from __future__ import annotations

import os
import shlex
import smtplib
import socket
import ssl
import subprocess
from collections.abc import Callable
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from pathlib import Path

from pipelines.errors import BusyError, LimeledgerError, UsageError, WorkspaceError
from pipelines.nightly.recorded_run import FAULT, put_down_failed, sentence_of
from pipelines.store.run_log import ALL, Run, new_run_id
from pipelines.workspace import clock
from pipelines.workspace.layout import Workspace
from pipelines.workspace.night import Mail
from pipelines.workspace.permissions import open_private
from pipelines.workspace.settings import Settings, load_settings

LOG_FILE = "limeledger.log"
COMMAND_SECONDS = 60
MAIL_SECONDS = 30


def after_failure(folder: Path | str, error: BaseException, run: Run | None = None) -> list[str]:
    """Tells of a refresh that failed, wherever the workspace says.

    A wrong call and a refresh that found another one running are no failed nights: they are told
    to the caller alone. A run that has not put down its own end, because it never came so far,
    gets it here, and with it the note on the pages.

    Returns:
        One sentence for each way in which nobody could be told.
    """
    if isinstance(error, UsageError | BusyError):
        return []
    try:
        workspace = Workspace.open(folder)
    except WorkspaceError:
        return []  # no workspace, no pages, no settings: the exit code alone tells of it
    put_down_failed(workspace, run or Run(new_run_id(), None, ALL, "dagster"), error)
    sentence = sentence_of(error, workspace.root)
    _log(workspace, sentence)
    try:
        settings = load_settings(workspace)
    except WorkspaceError:
        return []  # who is to be told stands in the settings that are broken
    code = error.exit_code if isinstance(error, LimeledgerError) else FAULT
    return tell_people(workspace, settings, sentence, code)


def tell_people(
    workspace: Workspace, settings: Settings, sentence: str, exit_code: int
) -> list[str]:
    """Runs the command and sends the mail that the settings name.

    Returns:
        One sentence for each that could not be done.
    """
    ways: list[tuple[str, Callable[[], None]]] = []
    if settings.on_failure_command:
        ways.append(
            (
                "nightly.on_failure_command",
                lambda: _run(settings.on_failure_command, workspace, sentence, exit_code),
            )
        )
    if settings.mail:
        mail = settings.mail
        message = _message(mail, settings.maker, workspace, sentence)
        ways.append(("nightly.mail", lambda: send(mail, message)))
    failed = []
    for name, act in ways:
        try:
            act()
        except Exception as error:  # whatever it is, the first failure must come through
            reason = " ".join(str(error).split()) or type(error).__name__
            failed.append(f"Nobody was told by {name} ({reason}); correct it in limeledger.toml.")
            _log(workspace, failed[-1])
    return failed


def _run(command: tuple[str, ...], workspace: Workspace, sentence: str, exit_code: int) -> None:
    """The program with its arguments as they stand: no shell reads them or the sentence."""
    done = subprocess.run(
        command,
        input=f"{sentence}\n",
        text=True,
        encoding="utf-8",
        capture_output=True,
        timeout=COMMAND_SECONDS,
        cwd=workspace.root,
        env=os.environ
        | {
            "LIMELEDGER_WORKSPACE": str(workspace.root),
            "LIMELEDGER_EXIT_CODE": str(exit_code),
        },
    )
    if done.returncode:
        raise RuntimeError(f"{command[0]} ended with {done.returncode}")


def _message(mail: Mail, maker: str, workspace: Workspace, sentence: str) -> EmailMessage:
    now = clock.now()
    message = EmailMessage()
    message["Subject"] = " ".join(f"Limeledger: the refresh for {maker} failed".split())
    message["From"] = mail.sender
    message["To"] = ", ".join(mail.to)
    message["Date"] = format_datetime(now)
    message["Message-ID"] = make_msgid(domain=mail.sender.partition("@")[2])
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: keeps out-of-office replies away
    message.set_content(
        f"{sentence}\n\nThe published pages and the store are those of the last good refresh.\n"
        f"Workspace: {workspace.root} on {socket.gethostname()}, {now:%Y-%m-%d %H:%M} UTC.\n"
        f"What to mend: limeledger doctor {shlex.quote(str(workspace.root))}\n"
    )
    return message


def send(mail: Mail, message: EmailMessage) -> None:
    """Hands a message to the mail server.

    Raises:
        OSError, smtplib.SMTPException: the server cannot be reached or does not take it.
        KeyError: an environment variable that the settings name is not set.
    """
    # Named, since smtplib else asks the name service for this machine's full name, which may hang.
    with smtplib.SMTP(
        mail.host, mail.port, local_hostname=socket.gethostname(), timeout=MAIL_SECONDS
    ) as server:
        if mail.starttls:
            server.starttls(context=ssl.create_default_context())
        if mail.user_env:
            server.login(_variable(mail.user_env), _variable(mail.password_env))
        server.send_message(message)


def _variable(name: str) -> str:
    try:
        return os.environ[name]
    except KeyError:
        raise RuntimeError(f"the environment variable {name} is not set") from None


def _log(workspace: Workspace, sentence: str) -> None:
    """One line in the workspace's log, where there is a store to hold it."""
    line = f"{clock.stamp()} refresh failed: {' '.join(sentence.split())}\n"
    try:
        if workspace.store.is_dir():
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND
            with open(open_private(workspace.store / LOG_FILE, flags), "ab") as file:
                file.write(line.encode("utf-8", "backslashreplace"))
    except OSError:
        pass  # a full disk is what is being told of
