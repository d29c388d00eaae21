"""`codes` lists what exports use and drafts reference files, which nothing reads until moved."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

CALLS = """\
Ticket,Equipment,Work,Opened,Partner,Fault,Fault Text,Filter
T1,{serial},repair,2025-03-01,{agency},ZX-1,Steam sensor,
T2,{serial},repair,2025-03-02,Hollow Ridge Service,ZX-1,Steam sensor,
T3,{serial},repair,2025-03-03,Hollow Ridge Service,ZX-2,,
T4,{serial},bogus,2025-03-04,"HOLLOW RIDGE SVC, INC",ZX-1,Steam sensor,
T5,{serial},repair,2025-03-05,Total,,,
"""
MAPPING = """\
feed = "service_calls"
files = ["tickets*.csv"]
[columns]
call = "Ticket"
serial = "Equipment"
kind = "Work"
opened_on = "Opened"
agency = "Partner"
cause = "Fault"
[[leave_out]]
reason = "totals"
header = "Partner"
is = ["Total"]
"""


def table(path: Path) -> list[dict[str, str]]:
    """The lines of a CSV file."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_codes_are_listed_with_rows_that_were_set_aside(unrefreshed, run):
    """Spellings are one line, rows left out count nowhere, and nothing is ever overwritten."""
    (unrefreshed / "mappings").mkdir(exist_ok=True)
    (unrefreshed / "mappings" / "tickets.toml").write_text(MAPPING, encoding="utf-8")
    agencies = table(unrefreshed / "reference" / "agencies.csv")
    agency = agencies[0]["agency"]
    text = CALLS.format(serial="TF10001", agency=agency.lower())
    (unrefreshed / "exports" / "tickets.csv").write_text(text, encoding="utf-8")
    done = run("codes", unrefreshed, "--json")
    assert done.code == 0
    names = ("models", "treatments", "causes", "agencies", "regions", "sites")
    assert done.json["files"] == [f"drafts/{name}.csv" for name in (*names, "aliases")]
    codes = {(one["kind"], one["code"]): one for one in done.json["codes"]}
    ridge = codes["agency", "Hollow Ridge Service"]
    assert ridge["spellings"] == ["Hollow Ridge Service", "HOLLOW RIDGE SVC, INC"]
    assert (ridge["rows"], ridge["known"]) == (3, False)  # one of them was set aside
    assert agency.lower() in codes["agency", agency]["spellings"]
    assert codes["agency", agency]["known"]
    assert (codes["cause", "ZX-1"]["name"], codes["cause", "ZX-1"]["rows"]) == ("Steam sensor", 3)
    assert ("agency", "Total") not in codes
    drafts = unrefreshed / "drafts"
    line = next(one for one in table(drafts / "agencies.csv") if one["agency"].startswith("Hollow"))
    assert list(line)[-5:] == ["rows", "feeds", "first_seen", "last_seen", "known"]
    assert (line["rows"], line["feeds"], line["known"]) == ("3", "service_calls", "no")
    assert (line["first_seen"], line["last_seen"]) == ("2025-03-02", "2025-03-04")
    aliases = {one["written"]: one for one in table(drafts / "aliases.csv")}
    assert list(aliases[agency.lower()]) == [
        "kind",
        "written",
        "means",
        "rows",
        "likeness",
        "reason",
    ]
    assert aliases["HOLLOW RIDGE SVC, INC"]["means"] == "Hollow Ridge Service"
    kept = len(agencies) - len({one["agency"] for one in agencies} & {c for _, c in codes})
    again = run("codes", unrefreshed)
    assert f"reference/agencies.csv has {kept} line" in again.out  # lost if it were replaced
    assert [f"drafts/{name}-2.csv" in again.out for name in (*names, "aliases")] == [True] * 7
    assert (drafts / "aliases.csv").exists()


def test_a_draft_can_be_moved_as_it_is(unrefreshed, run):
    """The aliases load with their further columns, and are known from then on."""
    exports = unrefreshed / "exports"
    agency = table(unrefreshed / "reference" / "agencies.csv")[0]["agency"]
    head = "call,serial,kind,opened_on,agency\n"
    (exports / "service_calls_more.csv").write_text(
        f"{head}M1,TF10001,repair,2025-03-01,{agency.lower()}\n", encoding="utf-8"
    )
    run("codes", unrefreshed, "--json")
    shutil.move(unrefreshed / "drafts" / "aliases.csv", unrefreshed / "reference" / "aliases.csv")
    done = run("codes", unrefreshed, "--json")
    assert done.code == 0
    assert table(unrefreshed / "drafts" / "aliases.csv") == []
    assert run("check", unrefreshed, "--as-of", "2026-01-01", "--json").code in (0, 1)


def test_a_file_in_the_place_of_the_drafts_is_told(unrefreshed, run):
    """It is nothing that the tool did wrong, and it is not touched."""
    drafts = unrefreshed / "drafts"
    drafts.write_text("mine", encoding="utf-8")
    done = run("codes", unrefreshed, "--json")
    assert (done.code, done.out) == (2, "")
    assert "drafts is no folder" in done.err
    assert drafts.read_text(encoding="utf-8") == "mine"
