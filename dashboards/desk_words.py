"""What people did at the desk in plain words, for a claim's page, the morning's page and the audit.

Belongs here: one sentence an event. Does not belong here: what events add up to.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from dashboards import formats

Payload = Mapping[str, Any]
LETTER_KINDS = {
    "decision": "the decision",
    "documents": "request for documents",
    "question": "question",
    "ruling": "the ruling",
    "reminder": "reminder",
    "installation": "installation to be mended",
    "recommendation": "treatment recommended",
}
LETTER_STATES = {
    "to_send": "to send",
    "sent": "sent",
    "answered": "answered",
    "closed": "closed",
    "overtaken": "overtaken",
    "told_before": "told before the register began",
}


def local(at: str, zone: ZoneInfo) -> str:
    """A moment of the desk in the workspace's time zone, to the minute."""
    return f"{dt.datetime.fromisoformat(at).astimezone(zone):%Y-%m-%d %H:%M}"


def said(kind: str, subject: str | None, payload: Payload) -> str:
    """One sentence for an event of any kind."""
    return _SAID.get(kind, _other(kind))(subject or "", payload)


def _other(kind: str) -> Callable[[str, Payload], str]:
    return lambda subject, _: f"{kind.capitalize()}{f': {subject}' if subject else ''}."


def _ruling(_: str, payload: Payload) -> str:
    word = formats.VERDICTS.get(payload.get("ruling", ""), "").lower()
    total = (payload.get("granted") or {}).get("total")
    money = f", {formats.money(Decimal(total))} to be paid" if total is not None else ""
    waits = " It waits for a second person." if payload.get("needs_approval") else ""
    return f"Ruled {word}{money}: {payload.get('reason', '')}{waits}"


def _approval(_: str, payload: Payload) -> str:
    return f"Approved ruling {payload.get('approves')}."


def _withdrawal(subject: str, payload: Payload) -> str:
    return f"Withdrew {subject or payload.get('withdraws')}: {payload.get('reason', '')}"


def _appeal(_: str, payload: Payload) -> str:
    return f"Appeal received on {payload.get('received_on')}: {payload.get('reason', '')}"


def _note(_: str, payload: Payload) -> str:
    return f"Note: {payload.get('text', '')}"


def _assignment(_: str, payload: Payload) -> str:
    return f"Assigned to {payload['to']}." if payload.get("to") else "Assigned to nobody."


def _hold(_: str, payload: Payload) -> str:
    if not payload.get("until"):
        return "Ended the hold."
    return f"On hold until {payload['until']}: {payload.get('reason') or ''}"


def _record(subject: str, payload: Payload) -> str:
    values = payload.get("values") or {}
    cells = ", ".join(f"{name} {value}" for name, value in values.items() if value)
    return f"Entered {subject or payload.get('feed', '')}: {cells}"


def _correction(subject: str, payload: Payload) -> str:
    was, values = payload.get("was") or {}, payload.get("values") or {}
    changes = ", ".join(
        f"{name} “{was.get(name, '')}” → “{value}”"
        for name, value in values.items()
        if value != was.get(name)
    )
    return f"Corrected {subject or payload.get('feed', '')}: {changes}. {payload.get('reason', '')}"


def _document(subject: str, payload: Payload) -> str:
    return f"Added the document {payload.get('name') or subject}."


def _letter(subject: str, payload: Payload) -> str:
    """A letter that was made or overtaken, many that were told before, or a mark on one."""
    if entries := payload.get("entries"):
        if not subject:
            many = formats.counted(len(entries), "agency was", "agencies were")
            return f"{many} told before the register of letters began."
        return f"{subject.capitalize()} is to be sent."
    change: Payload = next(iter(payload.get("states") or ()), {})
    state = str(change.get("state") or "").replace("_", " ")
    if not subject:
        return "The register of letters was brought up to the last refresh."
    note = f" {change['note']}" if change.get("note") else ""
    return f"{subject.capitalize()}{f': {state}' if state else ''}.{note}"


def _sending(subject: str, payload: Payload) -> str:
    """One stage of a mail: handed over, taken by the server, or refused."""
    listed = payload.get("letters") or ()
    letters = subject or ", ".join(f"letter {entry}" for entry in listed)
    to = f" to {payload['to']}" if payload.get("to") else ""
    answer = f": {payload['answer']}" if payload.get("answer") else ""
    words = {
        "sending": f"Began to send {letters} by mail{to}.",
        "sent": f"Sent {letters} by mail{to}.",
        "refused": f"The mail server refused {letters}{to}{answer}.",
    }
    return words.get(str(payload.get("stage")), f"Sending {letters}{to}{answer}.")


def _closing(subject: str, payload: Payload) -> str:
    return f"Closed the month {subject or payload.get('month', '')}."


def _user(subject: str, payload: Payload) -> str:
    role = f" {payload['role']}" if payload.get("role") else ""
    change = str(payload.get("change", ""))
    words = {"token": "a token was made"}
    return f"User {subject}: {words.get(change, change)}{role}."


_SAID: dict[str, Callable[[str, Payload], str]] = {
    "ruling": _ruling,
    "approval": _approval,
    "withdrawal": _withdrawal,
    "appeal": _appeal,
    "note": _note,
    "assignment": _assignment,
    "hold": _hold,
    "record": _record,
    "correction": _correction,
    "document": _document,
    "letter": _letter,
    "sending": _sending,
    "closing": _closing,
    "user": _user,
}
