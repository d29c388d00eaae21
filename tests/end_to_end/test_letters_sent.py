"""From a ruling to the agency's mailbox: letters by actions, marks, and mails to a real server."""

from __future__ import annotations

import smtplib
import socket
from email import message_from_bytes
from email.policy import default

import pytest
from aiosmtpd.controller import Controller
from jsonschema import Draft202012Validator

DAY = ("--as-of", "2025-12-31")
WHO = ("--by", "a.fenn", *DAY)


class Mailbox:
    """Takes mails, or refuses them where `refuses` says why."""

    def __init__(self) -> None:
        self.mails: list = []
        self.refuses: str | None = None

    async def handle_DATA(self, server, session, envelope) -> str:
        """What the server says to a mail."""
        if self.refuses:
            return self.refuses
        self.mails.append((envelope.rcpt_tos, message_from_bytes(envelope.content, policy=default)))
        return "250 OK"


@pytest.fixture
def mailbox():
    """A mail server on this machine."""
    box = Mailbox()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        box.port = free.getsockname()[1]
    server = Controller(box, hostname="127.0.0.1", port=box.port)
    server.start()
    yield box
    server.stop()


@pytest.fixture
def desk(workspace, mailbox):
    """The worked claims, refreshed, with a mail server and an address for the agencies."""
    settings = workspace / "limeledger.toml"
    settings.write_text(
        settings.read_text()
        + '[letters]\nsender = "warranty@maker.example"\nsince = 2020-01-01\n'
        + f'[letters.mail]\nhost = "127.0.0.1"\nport = {mailbox.port}\n'
    )
    agencies = workspace / "reference" / "agencies.csv"
    header, *rows = agencies.read_text().splitlines()
    rows = [f"{row},{row.split(',')[0].lower()}@agency.example" for row in rows]
    agencies.write_text("\n".join([f"{header},email", *rows]) + "\n")
    return workspace


def _entries(run, desk, state="to_send") -> list[dict]:
    out = desk / "out"
    return run("letters", desk, "--state", state, "--out", out, "--json").json["letters"]


def _schema(run, command):
    return Draft202012Validator(run("schema", command).json)


def _rule(run, desk, claim, ruling="covered"):
    call = run("rule", claim, ruling, desk, *WHO, "--reason", "seen on paper", "--json")
    assert call.code == 0, call.err
    return call.json


def test_a_ruling_is_told_at_once_sent_once_and_answered(desk, run, mailbox) -> None:
    """One entry with the frozen text; marks go one way; a mail that went is not sent again."""
    made = _rule(run, desk, "W21")
    assert made["version"] > made["event"]
    (entry,) = _entries(run, desk)
    assert (entry["claim"], entry["kind"], entry["state"]) == ("W21", "ruling", "to_send")
    number = entry["entry"]
    assert "The claim is covered" in (desk / "out" / f"{number}-W21.eml").read_text()
    assert run("mark", number, "answered", desk, *WHO).code == 2
    sent = run("send", number, "--in", desk, *WHO, "--json")
    assert (sent.code, sent.json["sent"], sent.json["refused"]) == (0, [number], [])
    assert not list(_schema(run, "send").iter_errors(sent.json))
    (told,) = sent.json["letters"]
    assert (told["state"], told["sent_how"], told["sent_by"]) == ("sent", "mail", "a.fenn")
    ((to, mail),) = mailbox.mails
    assert to == ["northstair@agency.example"]
    assert mail["From"].addresses[0].addr_spec == "warranty@maker.example"
    assert mail["Message-ID"] == told["message_id"]
    assert "The claim is covered" in mail.get_body(("plain",)).get_content()
    again = run("send", number, "--in", desk, *WHO)
    assert (again.code, len(mailbox.mails)) == (2, 1)
    assert run("mark", number, "closed", desk, *WHO).code == 2
    back = run("mark", number, "to_send", desk, *WHO)
    assert (back.code, "note" in back.err) == (2, True)
    assert run("mark", number, "answered", desk, *WHO, "--on", "2025-12-30").code == 0
    assert (
        run("mark", number, "closed", desk, *WHO, "--json").json["letters"][0]["state"] == "closed"
    )
    assert run("mark", 999, "sent", desk, *WHO).code == 4


def test_what_the_server_refuses_is_still_to_be_sent(desk, run, mailbox) -> None:
    """With its answer; what was cut off in between may have gone out, and is not sent by itself."""
    _rule(run, desk, "W21")
    (entry,) = _entries(run, desk)
    mailbox.refuses = "554 no letters today"
    call = run("send", entry["entry"], "--in", desk, *WHO)
    assert (call.code, "554 no letters today" in call.err) == (1, True)
    (told,) = _entries(run, desk)
    assert (told["note"], told["may_have_gone_out"]) == ("554 no letters today", False)
    mailbox.refuses = None
    with pytest.MonkeyPatch.context() as patch:

        def cut_off(*_: object) -> None:
            raise smtplib.SMTPServerDisconnected("Connection unexpectedly closed")

        patch.setattr("pipelines.actions.sending.send", cut_off)
        assert run("send", entry["entry"], "--in", desk, *WHO).code == 1
    (told,) = _entries(run, desk)
    assert told["may_have_gone_out"]
    call = run("send", entry["entry"], "--in", desk, *WHO)
    assert (call.code, "may have gone out" in call.err, mailbox.mails) == (2, True, [])
    note = ("--note", "the agency has nothing")
    assert run("mark", entry["entry"], "to_send", desk, *WHO, *note).code == 0
    assert run("send", entry["entry"], "--in", desk, *WHO).code == 0
    assert len(mailbox.mails) == 1


def test_one_mail_an_agency_names_every_claim(desk, run, mailbox) -> None:
    """Both letters one after the other; one without an address holds up all that were named."""
    for claim in ("W21", "W25"):
        _rule(run, desk, claim)
    numbers = [entry["entry"] for entry in _entries(run, desk)]
    assert len(numbers) == 2
    call = run("send", *numbers, "--in", desk, *WHO, "--one-mail-per-agency", "--json")
    assert (call.code, call.json["sent"]) == (0, numbers)
    ((_, mail),) = mailbox.mails
    text = mail.get_content()
    assert text.index("Claim W21, call") < text.index("Claim W25, call")
    assert "W21" in mail["Subject"]
    assert "W25" in mail["Subject"]
    _rule(run, desk, "W21", "not_covered")
    agencies = desk / "reference" / "agencies.csv"
    agencies.write_text(agencies.read_text().replace("northstair@agency.example", ""))
    _rule(run, desk, "W25", "not_covered")
    first, second = (entry["entry"] for entry in _entries(run, desk))
    call = run("send", first, second, "--in", desk, *WHO)
    assert (call.code, f"letter {second} has no address" in call.err) == (2, True)
    assert len(mailbox.mails) == 1


def test_the_next_refresh_tells_nothing_again(desk, run, no_figures, no_pages) -> None:
    """What an action told is in the table; a withdrawn ruling overtakes its letter."""
    made = _rule(run, desk, "W21")
    number = _entries(run, desk)[0]["entry"]
    run("refresh", desk, *DAY)
    assert [entry["entry"] for entry in _entries(run, desk)] == [number]
    call = run("withdraw", made["event"], desk, *WHO, "--reason", "on the wrong claim")
    assert call.code == 0, call.err
    assert _entries(run, desk) == []
    states = {entry["entry"]: entry["state"] for entry in _entries(run, desk, "all")}
    assert states[number] == "overtaken"
