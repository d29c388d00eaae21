"""Sending letters of the register by mail.

Belongs here: what is in the way, handing mails over, and what is recorded of it. Does not belong
here: the messages (`letter_mails`), or marking letters that were sent by hand (`letters`).

`sending` is recorded before a mail is handed over, `sent` after the server took it. What was left
between the two may have gone out: it is shown so, and never sent again by itself.
"""

from __future__ import annotations

import smtplib
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from pipelines.actions.acting import Answer, act
from pipelines.actions.caller import Caller
from pipelines.actions.letter_mails import LetterMail, mails_of
from pipelines.actions.letters import letters_answer, row_of
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.letters import SENDING, Register, read_register, read_texts
from pipelines.nightly.notifications import send
from pipelines.workspace.layout import Workspace


def send_letters(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    letters: Sequence[int],
    one_mail_per_agency: bool = False,
) -> Answer:
    """Sends letters by mail: all that were named, or none where one is in the way.

    Returns:
        event, letters (the entries as they are now), sent and refused (entries), and answers (what
        the server said of each mail that it refused).
    """
    caller.require("letters")
    mail = desk.settings.letters.mail
    if mail is None or desk.settings.sender is None:
        raise Refused(
            409,
            "No mail server is named: write [letters.mail] with its host, and [letters] sender, in "
            "limeledger.toml, or send by hand and mark the letters. Nothing was sent.",
        )
    letters = list(dict.fromkeys(letters))
    handed_over: list[LetterMail] = []

    def do(connection: sa.Connection) -> int:
        register = read_register(desk, connection, entries=letters)
        _none_in_the_way(register, letters)
        texts = read_texts(connection, register, letters)
        mails = mails_of(desk.settings, register, texts, letters, one_mail_per_agency)
        handed_over.extend(mails)
        return _append(desk, connection, caller, handed_over[0], "sending")

    def tell(event: Recorded) -> Answer:
        answers = {}
        for one in handed_over:  # empty where the request came again: nothing is sent twice
            if one is not handed_over[0]:
                in_the_way = _begin(desk, caller, one)
                if in_the_way is not None:
                    answers[one.message_id] = in_the_way
                    continue
            stage, answer = _hand_over(mail, one)
            if answer:
                answers[one.message_id] = answer
            if stage is not None:
                with desk.writing() as connection:
                    _append(desk, connection, caller, one, stage, answer)
        letters_now = letters_answer(desk, event, letters)
        states = {row["entry"]: row["state"] for row in letters_now["letters"]}
        return letters_now | {
            "sent": [entry for entry in letters if states[entry] == "sent"],
            "refused": [entry for entry in letters if states[entry] != "sent"],
            "answers": sorted(answers.values()),
        }

    return act(desk, caller, do, tell)


def _begin(desk: Desk, caller: Caller, one: LetterMail) -> str | None:
    """Records that a mail is handed over now; or what is in its way by now: the mails before it
    took their time, and others act meanwhile."""
    with desk.writing() as connection:
        try:
            _none_in_the_way(read_register(desk, connection, entries=one.entries), one.entries)
        except Refused as refused:
            return refused.detail
        _append(desk, connection, caller, one, "sending")
    return None


def _none_in_the_way(register: Register, entries: Sequence[int]) -> None:
    if not entries:
        sentence = "names no letter; name at least one."
        raise Refused(422, f"letters {sentence} Nothing was sent.", [("letters", sentence)])
    faults = []
    for entry in entries:
        row = row_of(register, entry)
        if row["state"] != "to_send":
            faults.append((str(entry), f"letter {entry} is {row['state'].replace('_', ' ')}"))
        elif row.get("sending_at") is not None:
            sentence = f"letter {entry} may have gone out; mark it sent, or to_send to send it anew"
            faults.append((str(entry), sentence))
        elif not row.get("email"):
            faults.append((str(entry), f"letter {entry} has no address"))
        elif row["text_event"] is None:
            faults.append((str(entry), f"letter {entry} has no text"))
    if faults:
        sentence = "; ".join(fault for _, fault in faults)
        raise Refused(409, f"Nothing was sent, since {sentence}.", faults)


def _hand_over(mail: Any, one: LetterMail) -> tuple[str | None, str]:
    """Whether the server took it (`sent`), refused it (with its answer), or nobody knows."""
    try:
        send(mail, one.message)
    except smtplib.SMTPServerDisconnected as error:
        return None, " ".join(str(error).split())
    except smtplib.SMTPRecipientsRefused as error:
        code, said = next(iter(error.recipients.values()))
        return "refused", f"{code} {said.decode('utf-8', 'replace')}"
    except smtplib.SMTPResponseException as error:
        answer: bytes | str = error.smtp_error
        words = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
        return "refused", f"{error.smtp_code} {words}"
    except TimeoutError as error:
        return None, str(error)
    except (OSError, smtplib.SMTPException, RuntimeError) as error:
        return "refused", " ".join(str(error).split()) or type(error).__name__
    return "sent", ""


def _append(
    desk: Desk,
    connection: sa.Connection,
    caller: Caller,
    one: LetterMail,
    stage: str,
    answer: str = "",
) -> int:
    payload = {"stage": stage, "letters": list(one.entries), "message_id": one.message_id}
    payload |= {"to": one.to} | ({"answer": answer} if answer else {})
    claim = one.claims[0] if len(one.claims) == 1 else None
    subject = ", ".join(f"letter {entry}" for entry in one.entries)
    return desk.append(
        connection, caller.event(SENDING, claim=claim, subject=subject, payload=payload)
    )
