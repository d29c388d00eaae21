"""The claim pages: the answer, the money, findings with evidence, the unit's life, the letter.

Belongs here: gathering what one claim's page shows. Does not belong here: deciding anything.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData
from dashboards.pages import causes
from dashboards.pages.claim_at_hand import at_hand
from dashboards.pages.claim_parts import life_line, water_bars
from dashboards.pages.claim_rows import ClaimRows, claim_rows
from dashboards.pages.paper_trail import LINES, money_table, payment_said, rulings_said

CLOCKS = {
    "installed_on": "its installation",
    "purchased_on": "its purchase",
    "shipped_on": "by its shipment",
    "latest_after_shipment": "the latest after shipment",
    "replaced_unit": "the clock of the unit that it took over from",
}
_MOST_OTHERS = 8
Cited = tuple[str, str, str, int]  # feed, key, file and line


def contents(
    data: PageData, claims: Sequence[str], address: Callable[[str], str] | None = None
) -> Iterator[dict[str, Any]]:
    """What the template needs for each of the claims, in their order.

    `address` gives the page of any claim; without it those of `claims` have one, beside each other.
    """
    return contents_of(claim_rows(data, claims, address or beside(claims)))


def beside(claims: Sequence[str]) -> Callable[[str], str | None]:
    """The address of a claim's page from another's, where these have pages."""
    pages = frozenset(claims)
    return lambda claim: formats.file_name(claim) if claim in pages else None


def contents_of(rows: ClaimRows) -> Iterator[dict[str, Any]]:
    """What the template needs for each of the claims whose rows these are, in their order."""
    gathered = _gather(rows)
    for decision in rows.decisions.iter_rows(named=True):
        yield _content(decision, gathered, rows.of_all["currency"])


def _gather(rows: ClaimRows) -> dict[str, Any]:
    of_all = {name: dict(rows.of_all[name]) for name in ("regions", "agencies", "causes")}
    several = (
        "findings", "evidence", "water", "history", "rulings", "credits", "counterfactuals",
        "next_steps", "stale", "events", "spans", "of_serial", "of_site",
    )  # fmt: skip
    one = ("profiles", "payments", "letters", "suggested", "listed", "units")
    return (
        of_all
        | {name: rows.by(name) for name in several}
        | {name: rows.one_by(name) for name in one}
    )


def _content(
    decision: Mapping[str, Any], gathered: Mapping[str, Any], currency: str
) -> dict[str, Any]:
    claim, serial = decision["claim"], decision["serial"]
    landed = {_cited(row): row for row in gathered["evidence"][claim]}
    findings, evidence = _findings(gathered["findings"][claim], landed)
    suggested = gathered["suggested"].get(claim)
    counterfactuals = [row["sentence"] for row in gathered["counterfactuals"][claim]]
    if not counterfactuals:
        documents = [document for document in (decision["missing"] or "").split("; ") if document]
        counterfactuals = [f"Send: {document}." for document in documents]
    return {
        "title": f"Claim {claim}",
        "claim": claim,
        "serial": serial,
        "file": formats.file_name(claim),
        "standing": decision["standing"],
        "words": formats.VERDICTS,
        "answer": _answer(decision, findings, gathered["rulings"][claim], currency),
        "facts": _facts(decision, gathered),
        **at_hand(
            gathered["listed"].get(claim),
            gathered["next_steps"][claim],
            gathered["stale"][claim],
            currency,
        ),
        "money": money_table(decision, gathered["payments"].get(claim)),
        "payment": payment_said(
            gathered["payments"].get(claim), gathered["credits"][claim], currency
        ),
        "rulings": rulings_said(gathered["rulings"][claim], decision, currency),
        "counterfactuals": counterfactuals,
        "nothing_missing": _nothing_missing(decision["verdict"]),
        "suggested_cause": suggested and causes.of_claim(suggested),
        "findings": findings,
        "evidence": evidence,
        "life": life_line(decision, gathered["events"][serial], gathered["spans"][serial]),
        "water": water_bars(gathered["water"][claim], gathered["profiles"].get(claim)),
        "earlier": _others(decision, gathered, currency),
        "history": [_history(row) for row in reversed(gathered["history"][claim])],
        "letter": _letter(gathered["letters"].get(claim)),
    }


def _letter(letter: Mapping[str, Any] | None) -> dict[str, Any] | None:
    return {"to": letter["to"], "html": Markup(letter["html"])} if letter else None


def _nothing_missing(verdict: str) -> str:
    if verdict == "covered":
        return "Nothing is missing."
    if verdict == "needs_review":
        return "No document alone: a person must look at what the records say and rule."
    return "No missing document: only a corrected record or a ruling."


def _findings(
    rows: list[dict[str, Any]], landed: Mapping[Cited, Mapping[str, Any]]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    numbers: dict[Cited, int] = {}
    findings = []
    for row in rows:
        cited = map(_cited, row["evidence"] or ())
        refs = [numbers.setdefault(ref, len(numbers) + 1) for ref in cited]
        outcome = row["outcome"]
        findings.append(
            {
                "position": row["position"],
                "condition": row["condition"],
                "title": formats.CONDITIONS[row["condition"]],
                "outcome": outcome,
                "word": formats.OUTCOMES[outcome],
                "reason": row["reason"],
                "refs": refs,
            }
        )
    return findings, [_evidence(ref, n, landed.get(ref)) for ref, n in numbers.items()]


def _cited(row: Mapping[str, Any]) -> Cited:
    return row["feed"], row["key"], row["file"], row["line"]


def _evidence(ref: Cited, number: int, landed: Mapping[str, Any] | None) -> dict[str, Any]:
    feed, key, file, line = ref
    cells = []
    if landed:
        cells = [
            (name, value)
            for name, value in zip(landed["headers"], landed["cells"], strict=True)
            if value
        ]
    return {
        "n": number,
        "feed": formats.FEEDS.get(feed, feed),
        "key": key,
        "place": f"{file}, line {line}",
        "cells": cells,
    }


def _answer(
    decision: Mapping[str, Any],
    findings: list[dict[str, Any]],
    rulings: list[dict[str, Any]],
    currency: str,
) -> list[str]:
    verdict = decision["verdict"]
    word = formats.VERDICTS[verdict]
    lead = next(
        (row["reason"] for row in findings if row["condition"] == decision["lead_reason"]), ""
    )
    payable = formats.money(sum(decision[f"{line}_payable"] for line in LINES), currency)
    if verdict == "covered":
        computed = f"{word}: {payable} is payable."
    elif verdict == "covered_in_part":
        computed = f"{word}: {payable} is payable. {lead}"
    elif verdict == "needs_evidence" and decision["missing"]:
        documents = formats.listed(decision["missing"].split("; "))
        computed = f"{word}: {documents}. {lead}"
    else:
        computed = f"{word}: {lead}" if lead else f"{word}."
    if not decision["ruling"] or not rulings:
        return [computed]
    ruling = rulings[-1]
    standing = formats.money(sum(decision[f"{line}_standing"] for line in LINES), currency)
    ruled = (
        f"Ruled {formats.VERDICTS[ruling['ruling']].lower()} by {ruling['ruled_by']} on "
        f"{formats.long_day(ruling['ruled_at'].date())}: {standing} to be paid. "
        f"Reason given: {ruling['reason']}"
    )
    outdated = " They say so since the ruling was made: please look again."
    return [ruled, f"By the records: {computed}{outdated if decision['ruling_outdated'] else ''}"]


def _facts(decision: Mapping[str, Any], gathered: Mapping[str, Any]) -> list[tuple[str, str]]:
    def name_and_code(code: str | None, names: Mapping[str, str | None]) -> str | None:
        name = names.get(code) if code else None
        return f"{name} ({code})" if name and name != code else code

    unit = " ".join(filter(None, (decision["model"], decision["family"])))
    site = ", ".join(filter(None, (decision["site_name"], decision["site"])))
    facts = [
        ("Unit", f"{decision['serial']}{f' ({unit})' if unit else ''}"),
        ("Site", site or None),
        ("Region", name_and_code(decision["region"], gathered["regions"])),
        ("Agency", name_and_code(decision["agency"], gathered["agencies"])),
        ("Failed", formats.day(decision["failed_on"])),
        ("Completed", formats.day(decision["completed_on"])),
        ("Filed", formats.day(decision["claimed_on"])),
        ("Last day to file", formats.day(decision["file_by"])),
        ("Documents due by", formats.day(decision["documents_due_on"])),
        ("Cause", name_and_code(decision["cause"], gathered["causes"])),
        ("Call", decision["call"]),
        ("Terms", decision["edition"]),
        ("Warranty from", _clock(decision, gathered)),
        ("Replacement", gathered["units"].get(decision["serial"], {}).get("replacement")),
        ("Nearest serial on the register", decision["serial_suggestion"]),
    ]
    return [(label, value) for label, value in facts if value and value != "–"]


def _clock(decision: Mapping[str, Any], gathered: Mapping[str, Any]) -> str | None:
    if decision["clock_start"] is None:
        return None
    unit = gathered["units"].get(decision["serial"], {})
    source = CLOCKS.get(unit.get("clock_source"))
    return f"{formats.day(decision['clock_start'])}{f' ({source})' if source else ''}"


def _others(
    decision: Mapping[str, Any], gathered: Mapping[str, Any], currency: str
) -> list[dict[str, Any]]:
    of_unit = gathered["of_serial"][decision["serial"]]
    of_site = gathered["of_site"][decision["site"]] if decision["site"] else []
    seen = {decision["claim"]}
    others = []
    for where, rows in (("this unit", of_unit), ("another unit here", of_site)):
        for row in rows:
            if row["claim"] in seen:
                continue
            seen.add(row["claim"])
            paid = sum(row[f"{line}_standing"] for line in LINES)
            parts = [formats.day(row["failed_on"]), where, row["cause"] or "no cause"]
            others.append(
                {
                    "claim": row["claim"],
                    "href": row["href"],
                    "standing": row["standing"],
                    "text": ", ".join([*parts, formats.money(paid, currency)]),
                }
            )
    return others[:_MOST_OTHERS]


def _history(row: Mapping[str, Any]) -> dict[str, str]:
    old, new = (formats.VERDICTS.get(row[name]) for name in ("from_verdict", "to_verdict"))
    if old is None:
        move = f"First decided: {new.lower()}" if new else "First seen"
    elif new is None:
        move = "No longer in the exports"
    elif old == new:
        move = f"Still {new.lower()}"
    else:
        move = f"{old} became {new.lower()}"
    moved = [formats.CONDITIONS[name].lower() for name in row["moved"] or ()]
    return {
        "move": move,
        "when": f"{row['decided_at']:%Y-%m-%d %H:%M} UTC, as of {row['as_of']}",
        "moved": f"moved: {formats.listed(moved)}" if old is not None and moved else "",
        "fingerprint": row["fingerprint"],
    }
