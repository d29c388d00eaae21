"""A failed refresh is told to a command and by mail, and no fault of telling hides the first."""

from __future__ import annotations

import email
import json
import shutil
import socket
import ssl
import subprocess
import sys
from email import policy
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from pipelines.errors import BusyError, StorageError, UsageError, WorkspaceError
from pipelines.nightly.notifications import after_failure
from pipelines.workspace.create import create_workspace

SETTINGS = 'maker = "Tarnfell"\ntimezone = "America/Denver"\ncurrency = "USD"\n'
FAULT = StorageError("The disk is full; $(touch planted) `touch planted`\nFree some space.")
WRITES = """
import json, os, sys
told = {name: os.environ.get(name) for name in ("LIMELEDGER_WORKSPACE", "LIMELEDGER_EXIT_CODE")}
told |= {"arguments": sys.argv[1:], "stdin": sys.stdin.read(), "folder": os.getcwd()}
print("noise")
json.dump(told, open("told.json", "w"))
sys.exit(int(sys.argv[1]))
"""


class Box:
    """Keeps the messages that a mail server of the test takes."""

    def __init__(self) -> None:
        self.envelopes: list = []
        self.refuse = False

    async def handle_DATA(self, server, session, envelope):
        """Takes one message."""
        if self.refuse:
            return "554 no mail today"
        self.envelopes.append(envelope)
        return "250 taken"


def free_port() -> int:
    """A port of the loopback address that nobody uses."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A new workspace with a store and pages' assets, as after a first refresh."""
    workspace = tmp_path / "work space"
    create_workspace(workspace)
    (workspace / "store").mkdir()
    (workspace / "published" / "assets").mkdir(parents=True)
    return workspace


@pytest.fixture
def box():
    """A mail server on the loopback address, and what it took."""
    kept = Box()
    kept.port = free_port()
    controller = Controller(kept, hostname="127.0.0.1", port=kept.port)
    controller.start()
    yield kept
    controller.stop()


def settle(folder: Path, text: str) -> None:
    """Writes the settings."""
    (folder / "limeledger.toml").write_text(SETTINGS + text, encoding="utf-8")


def command(ends_with: int = 0) -> str:
    """Settings with a command that writes down what it was told."""
    words = json.dumps([sys.executable, "-c", WRITES, str(ends_with), "a b; touch planted"])
    return f"[nightly]\non_failure_command = {words}\n"


def mail(port: int, more: str = "") -> str:
    """Settings with a mail server."""
    return (
        f'[nightly.mail]\nhost = "127.0.0.1"\nport = {port}\nfrom = "limeledger@maker.example"\n'
        f'to = ["warranty@maker.example", "quality@maker.example"]\n{more}'
    )


def test_the_command_gets_the_sentence_on_stdin_and_no_shell_reads_it(folder: Path, capfd):
    """Arguments stay whole, workspace and exit code come in the environment, nothing is printed."""
    settle(folder, command())
    assert after_failure(folder, FAULT) == []
    told = json.loads((folder / "told.json").read_text())
    assert told == {
        "LIMELEDGER_WORKSPACE": str(folder),
        "LIMELEDGER_EXIT_CODE": "70",
        "arguments": ["0", "a b; touch planted"],
        "stdin": f"{FAULT}\n",
        "folder": str(folder),
    }
    assert not (folder / "planted").exists()
    assert capfd.readouterr() == ("", "")


def test_note_and_log_tell_of_it(folder: Path):
    """The pages carry the reason, the log one line with it."""
    settle(folder, "")
    after_failure(folder, FAULT)
    assert "The disk is full" in (folder / "published" / "assets" / "status.js").read_text()
    lines = (folder / "store" / "limeledger.log").read_text().splitlines()
    assert len(lines) == 1
    assert lines[0].endswith(
        "refresh failed: The disk is full; $(touch planted) `touch planted` Free some space."
    )


def test_a_mail_goes_to_everybody_named(folder: Path, box: Box):
    """Subject, addresses, the sentence, and the mark that keeps automatic answers away."""
    settle(folder, mail(box.port))
    assert after_failure(folder, WorkspaceError("terms/ä.toml line 3: wrong.")) == []
    envelope = box.envelopes[0]
    assert envelope.mail_from == "limeledger@maker.example"
    assert envelope.rcpt_tos == ["warranty@maker.example", "quality@maker.example"]
    message = email.message_from_bytes(envelope.original_content, policy=policy.default)
    assert message["Subject"] == "Limeledger: the refresh for Tarnfell failed"
    # RFC 3834, section 5.2: what a program sends by itself is marked so.
    assert message["Auto-Submitted"] == "auto-generated"
    text = message.get_content().replace("\r\n", "\n")
    assert text.startswith("terms/ä.toml line 3: wrong.\n")
    assert str(folder) in text
    assert f"limeledger doctor '{folder}'" in text


def test_user_and_password_go_over_tls_alone(folder: Path, tmp_path: Path, monkeypatch):
    """With STARTTLS the server's certificate is checked, then user and password are told."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl, which makes the server's certificate, is not installed")
    made = ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    made += ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", "key.pem", "-out", "cert.pem"]
    subprocess.run([openssl, *made], cwd=tmp_path, check=True, capture_output=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(tmp_path / "cert.pem", tmp_path / "key.pem")
    logins = []

    def authenticate(server, session, envelope, mechanism, data):
        logins.append((data.login, data.password, session.ssl is not None))
        return AuthResult(success=True)

    box, port = Box(), free_port()
    controller = Controller(
        box,
        hostname="127.0.0.1",
        port=port,
        tls_context=context,
        require_starttls=True,
        auth_required=True,
        authenticator=authenticate,
    )
    controller.start()
    try:
        settle(folder, mail(port, 'starttls = true\nuser_env = "LL_U"\npassword_env = "LL_P"\n'))
        monkeypatch.setenv("LL_U", "night")
        told = after_failure(folder, FAULT)
        assert "certificate verify failed" in told[0]  # nobody vouches for the server
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "cert.pem"))
        assert "the environment variable LL_P is not set" in after_failure(folder, FAULT)[0]
        assert (box.envelopes, logins) == ([], [])
        monkeypatch.setenv("LL_P", "pass-word")
        assert after_failure(folder, FAULT) == []
    finally:
        controller.stop()
    assert logins == [(b"night", b"pass-word", True)]
    assert len(box.envelopes) == 1


def test_a_command_that_fails_stops_neither_mail_nor_the_first_fault(folder: Path, box: Box):
    """What cannot be told is one sentence more; the mail goes out all the same."""
    settle(folder, command(ends_with=3) + mail(box.port))
    told = after_failure(folder, FAULT)
    assert len(told) == 1
    assert told[0].startswith("Nobody was told by nightly.on_failure_command (")
    assert "ended with 3); correct it in limeledger.toml." in told[0]
    assert len(box.envelopes) == 1
    assert "ended with 3" in (folder / "store" / "limeledger.log").read_text()


def test_a_server_that_refuses_or_is_not_there_is_named(folder: Path, box: Box):
    """A refused message, a closed port and a program that is missing each give a sentence."""
    box.refuse = True
    settle(folder, mail(box.port))
    assert "no mail today" in after_failure(folder, FAULT)[0]
    settle(folder, '[nightly]\non_failure_command = ["/no/such/program"]\n' + mail(1))
    told = after_failure(folder, FAULT)
    assert len(told) == 2
    assert "/no/such/program" in told[0]
    assert "Nobody was told by nightly.mail (" in told[1]


def test_a_command_that_hangs_is_ended(folder: Path, monkeypatch):
    """A night does not wait for ever for what it calls."""
    monkeypatch.setattr("pipelines.nightly.notifications.COMMAND_SECONDS", 0.2)
    words = json.dumps([sys.executable, "-c", "import time; time.sleep(60)"])
    settle(folder, f"[nightly]\non_failure_command = {words}\n")
    assert "timed out" in after_failure(folder, FAULT)[0]


@pytest.mark.parametrize("fault", [UsageError("no date."), BusyError("another refresh.")])
def test_a_wrong_call_and_a_busy_workspace_are_no_failed_night(folder: Path, fault: Exception):
    """Neither note nor log nor command: the caller alone is told."""
    settle(folder, command())
    assert after_failure(folder, fault) == []
    assert not (folder / "told.json").exists()
    assert list((folder / "store").iterdir()) == []
    assert list((folder / "published" / "assets").iterdir()) == []


def test_broken_settings_and_no_workspace_tell_nobody(folder: Path, tmp_path: Path):
    """Where the settings cannot be read nobody is named in them; the note is written still."""
    (folder / "limeledger.toml").write_text("maker = \n")
    assert after_failure(folder, WorkspaceError("limeledger.toml line 1: wrong.")) == []
    assert "line 1" in (folder / "published" / "assets" / "status.js").read_text()
    assert after_failure(tmp_path / "nowhere", WorkspaceError("no folder.")) == []
    assert not (tmp_path / "nowhere").exists()
