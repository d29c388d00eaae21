"""What the morning's page says: counts, money, groups, holds, events; from the inputs."""

from __future__ import annotations

import datetime as dt
import html
import json
import re
from decimal import Decimal

import polars as pl
import pytest

from dashboards import data as shown
from dashboards.desk_words import said
from dashboards.pages import morning
from dashboards.pages.originals import original_said
from dashboards.pages.searched import named_once, search_data
from dashboards.pages.worklist_rows import days_left
from dashboards.site import build_site
from schemas.worklist import DESK, DESK_EVENTS, SETTLED_ROWS, STALE_CORRECTIONS

# 10 of each verdict in 50 claims; a claim asks for 3 x (100 + place) + 0.03.
REVIEWED = range(1, 50, 5)
ASKING = range(0, 50, 5)
# A claim may be filed until 160 days after its failure, on 1 December less its place in days:
# until the as-of day or later for places up to 40.
FILING, ONE_DOCUMENT = range(0, 41, 5), [45]


def claimed(*places: int) -> Decimal:
    return sum(3 * (Decimal(100 + place) + Decimal("0.01")) for place in places)


def with_desk(sample, **of_claim: dict) -> shown.PageData:
    """The pages of 50 claims, with what people did on claims of some places."""
    data = sample.page_data(50)
    rows = [
        dict.fromkeys(DESK) | {"claim": sample.claim_number(int(place[1:]))} | told
        for place, told in of_claim.items()
    ]
    ordered = sample.in_order(data.decisions, data.findings, desk=pl.DataFrame(rows, schema=DESK))
    return sample.page_data(50, worklist=ordered)


def content(data: shown.PageData) -> dict:
    return morning.content(data, data.worklist)


def rows_of(data: shown.PageData) -> dict:
    return json.loads(str(content(data)["worklist"]))


def test_the_summary_adds_up_what_is_open(sample) -> None:
    """Claims and money of the open ones, each group with its count, the late ones apart."""
    data = sample.page_data(50)
    assert content(data)["summary"] == (
        f"20 open claims, {claimed(*REVIEWED, *ASKING):,.2f} USD at stake. Need a person’s "
        "decision: 10; filing limit still ahead: 9; one document short: 1. "
        "5 claims are past the day for their documents."
    )


def test_one_of_each_reads_as_one(sample) -> None:
    """Singular and plural agree."""
    said_of_two = content(sample.page_data(4))["summary"]
    assert said_of_two.startswith("2 open claims, ")
    data = sample.page_data(6)
    late = data.worklist.filter(pl.col("claim") == sample.claim_number(5))
    assert morning.content(data, late)["summary"].startswith("1 open claim, 315.03 USD at stake. ")
    assert "1 claim is past the day for its documents." in morning.content(data, late)["summary"]


def test_held_claims_leave_the_list_and_are_counted(sample) -> None:
    """Their money is not at stake today; the list can show them, and says until when."""
    until = sample.AS_OF + dt.timedelta(days=1)
    data = with_desk(sample, p1={"hold_until": until}, p6={"assigned_to": "Ada Marsh"})
    told = content(data)
    assert told["summary"].startswith(
        f"19 open claims, {claimed(*REVIEWED, *ASKING) - claimed(1):,.2f} USD at stake."
    )
    assert told["summary"].endswith("1 claim is on hold.")
    assert [name for name, _ in told["scopes"]] == ["open", "held", "all"]
    rows = rows_of(data)
    held = rows["claim"].index(sample.claim_number(1))
    assert (rows["held"][held], rows["hold_until"][held]) == (True, str(until))
    mine = rows["claim"].index(sample.claim_number(6))
    assert rows["assigned"][mine] == "Ada Marsh"
    assert sum(rows["held"]) == 1
    assert "on hold" not in content(with_desk(sample, p1={"hold_until": sample.AS_OF}))["summary"]


def test_groups_without_script_tell_counts_and_money(sample) -> None:
    """Headings with how many claims each has and what they come to; one line a claim."""
    told = content(sample.page_data(50))["groups"]
    assert [group["head"] for group in told] == [
        f"Need a person’s decision: 10 claims, {claimed(*REVIEWED):,.2f} USD at stake",
        f"Filing limit still ahead: 9 claims, {claimed(*FILING):,.2f} USD at stake",
        f"One document short: 1 claim, {claimed(*ONE_DOCUMENT):,.2f} USD at stake",
    ]
    first = told[0]["rows"][0]
    assert first["claim"] == sample.claim_number(46)  # the most money
    assert first["text"].startswith(
        "The lead reason of 2025-11-30. B0000023, Kitchen 11, AGENCY4, "
    )
    assert first["step"].startswith(f"Rule on {sample.claim_number(46)}.")


def test_a_row_tells_age_and_days_to_file(sample) -> None:
    """From the day of filing to today; the last day is named."""
    rows = rows_of(sample.page_data(50))
    at = rows["claim"].index(sample.claim_number(6))
    filed = sample.decision(6)["claimed_on"]
    assert rows["age"][at] == f"{(sample.AS_OF - filed).days} days old"
    assert rows["days"][at] == f"{(sample.decision(6)['file_by'] - sample.AS_OF).days} days to file"
    assert [days_left(left) for left in (None, 0, 1, 2)] == [
        "", "last day to file", "1 day to file", "2 days to file",
    ]  # fmt: skip


ORIGINAL = {
    "claim": "K1",
    "standing": "covered",
    "credited": Decimal("312.50"),
    "last_credited_on": dt.date(2026, 2, 3),
    "equal": True,
}


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({}, "First claimed as K1: covered, 312.50 USD paid on 2026-02-03; the amounts claimed are "
             "the same to the cent."),
        ({"equal": False, "credited": Decimal(0), "last_credited_on": None,
          "standing": "not_covered"},
         "First claimed as K1: not covered, nothing paid; other amounts are claimed."),
    ],
)  # fmt: skip
def test_the_original_of_a_duplicate_is_told(more, sentence) -> None:
    """Its decision, what was paid and when, and whether the amounts are equal."""
    assert original_said(ORIGINAL | more, "USD") == sentence
    assert original_said(None) is None


def test_what_people_did_and_stale_corrections_are_told(sample) -> None:
    """Events of the desk with their claim's page; each stale correction with its sentence."""
    claim = sample.claim_number(6)
    by = {"at": "2026-03-30 09:00", "actor": "Ada Marsh"}
    events = [
        by | {"event": 9, "claim": claim, "said": "Did."},
        by | {"event": 8, "claim": "OLD", "said": "Was."},
    ]
    stale = [{"correction": 4, "claim": claim, "sentence": "Correction 4 is stale."}]
    told = content(
        sample.page_data(
            50,
            desk_events=pl.DataFrame(events, schema=DESK_EVENTS),
            stale_corrections=pl.DataFrame(stale, schema=STALE_CORRECTIONS),
        )
    )
    assert told["events_summary"] == "2 things were done at the desk since the last refresh."
    assert [(row["claim"], bool(row["href"]), row["said"]) for row in told["events"]] == [
        (claim, True, "Did."),
        ("OLD", False, "Was."),
    ]
    assert told["stale_corrections"][0]["sentence"] == "Correction 4 is stale."
    assert told["stale_corrections"][0]["href"].startswith("claims/cl-00006-")


def test_a_settled_row_waits_no_more(sample) -> None:
    """The Data page tells which record settles it, and counts it no longer as a fault."""
    from dashboards.pages import data as data_page

    place = {"feed": "service_calls", "file": "service_calls/calls.csv", "line": 9, "record": 17}
    settled = pl.DataFrame([place], schema=SETTLED_ROWS)
    told = data_page.content(sample.page_data(3, settled_rows=settled))
    assert told["problems"] == []
    assert told["settled"] == [
        ["Service calls", "service_calls/calls.csv", "9", "There is no such day.", "record 17"]
    ]
    assert len(data_page.content(sample.page_data(3))["problems"]) == 1


def test_the_search_has_every_claim_the_newest_first(sample) -> None:
    """With its page where it has one, and all rows that are no records."""
    found = search_data(sample.page_data(20).searched, {sample.claim_number(3)})
    claims, rows = found["claims"], found["rows"]
    assert len(claims["claim"]) == 20
    assert claims["failed_on"] == sorted(claims["failed_on"], reverse=True)
    assert [c for c, page in zip(claims["claim"], claims["page"], strict=True) if page] == [
        sample.claim_number(3)
    ]
    assert (rows["kind"], rows["line"]) == ({"texts": ["set_aside"], "at": [0]}, [9])
    assert named_once(pl.Series(["b", "a", "b"])) == {"texts": ["b", "a"], "at": [0, 1, 0]}
    own = {*claims["claim"], *claims["call"], *claims["serial"]}
    assert not own & {field for fields in claims["fields"] for field in fields}
    assert "CALL-LOST" in rows["fields"][0]


SAID = [
    ("ruling", None, {"ruling": "not_covered", "reason": "dent", "granted": {"total": "0.00"}},
     "Ruled not covered, 0.00 to be paid: dent"),
    ("hold", None, {"until": "2026-04-01", "reason": "waits"}, "On hold until 2026-04-01: waits"),
    ("hold", None, {"until": None}, "Ended the hold."),
    ("assignment", None, {"to": "ada"}, "Assigned to ada."),
    ("assignment", None, {"to": None}, "Assigned to nobody."),
    ("letter", "letter 12", {"entries": [{"entry": 12}]}, "Letter 12 is to be sent."),
    ("letter", None, {"entries": [{}, {}]},
     "2 agencies were told before the register of letters began."),
    ("letter", "letter 12", {"states": [{"entry": 12, "state": "to_send", "note": "Lost."}]},
     "Letter 12: to send. Lost."),
    ("sending", "letter 12", {"stage": "refused", "to": "a@b.example", "answer": "550 no"},
     "The mail server refused letter 12 to a@b.example: 550 no."),
    ("ruling", None, {"ruling": "covered", "reason": "fair", "needs_approval": True},
     "Ruled covered: fair It waits for a second person."),
    ("approval", "ruling 7", {"approves": 7}, "Approved ruling 7."),
    ("withdrawal", "ruling 7", {"withdraws": 7, "reason": "typo"}, "Withdrew ruling 7: typo"),
    ("withdrawal", None, {"withdraws": 7, "reason": "typo"}, "Withdrew 7: typo"),
    ("appeal", None, {"received_on": "2026-04-01", "reason": "new photo"},
     "Appeal received on 2026-04-01: new photo"),
    ("note", None, {"text": "Called back."}, "Note: Called back."),
    ("record", "startups R9", {"feed": "startups", "values": {"level": "yes", "gas": ""}},
     "Entered startups R9: level yes"),
    ("record", None, {"feed": "startups", "values": {"level": "yes", "gas": "natural"}},
     "Entered startups: level yes, gas natural"),
    ("correction", "units U1", {"feed": "units", "was": {"site": "S1", "region": "US-OR"},
     "values": {"site": "S2", "region": "US-OR", "model": "M1"}, "reason": "Moved."},
     "Corrected units U1: site “S1” → “S2”, model “” → “M1”. Moved."),
    ("correction", None, {"feed": "units", "was": {}, "values": {}},
     "Corrected units: . "),
    ("document", "photo.jpg", {"name": "dent.jpg"}, "Added the document dent.jpg."),
    ("document", "photo.jpg", {}, "Added the document photo.jpg."),
    ("letter", None, {}, "The register of letters was brought up to the last refresh."),
    ("letter", None, {"entries": [{}]}, "1 agency was told before the register of letters began."),
    ("letter", "letter 12", {"states": [{"state": "sent"}]}, "Letter 12: sent."),
    ("letter", "letter 12", {}, "Letter 12."),
    ("sending", None, {"stage": "sending", "letters": [3, 4], "to": "a@b.example"},
     "Began to send letter 3, letter 4 by mail to a@b.example."),
    ("sending", "letter 3", {"stage": "sent"}, "Sent letter 3 by mail."),
    ("sending", "letter 3", {"stage": "lost", "answer": "no line"},
     "Sending letter 3: no line."),
    ("closing", "2026-03", {"month": "2026-02"}, "Closed the month 2026-03."),
    ("closing", None, {"month": "2026-02"}, "Closed the month 2026-02."),
    ("user", "ada", {"change": "added", "role": "clerk"}, "User ada: added clerk."),
    ("user", "ada", {"change": "token"}, "User ada: a token was made."),
    ("backup", "monday", {}, "Backup: monday."),
    ("backup", None, {}, "Backup."),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "subject", "payload", "sentence"), SAID)
def test_events_are_said_in_plain_words(kind, subject, payload, sentence) -> None:
    """One sentence for each thing that somebody did."""
    assert said(kind, subject, payload) == sentence


# Words of the workshop that people should not meet; a figure's `stands out` is another thing.
FORBIDDEN = re.compile(r"\bstand(?:s|ing)?\b(?! out)|beyond what", re.IGNORECASE)


def words_of(page: str) -> str:
    """What a reader sees of a page."""
    plain = re.sub(r"<(script|style)\b.*?</\1>|<!--.*?-->", " ", page, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", plain))


def test_no_page_speaks_of_what_stands(sample, tmp_path) -> None:
    """Every page of the sample but the Field page, and the dictionary, which names columns."""
    data = sample.page_data(10)
    build_site(data, tmp_path, data.decisions["claim"].to_list())
    named = ("index", "startups", "upcoming", "data", "terms")
    pages = [tmp_path / f"{name}.html" for name in named] + sorted(tmp_path.glob("claims/*.html"))
    assert len(pages) == len(named) + 10
    for page in pages:
        found = FORBIDDEN.search(words_of(page.read_text(encoding="utf-8")))
        assert found is None, (page.name, found)
