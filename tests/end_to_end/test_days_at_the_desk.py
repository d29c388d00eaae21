"""From December to March at one desk: what falls due, what is held, and what a close freezes.

Amounts are those that the worked claims give by hand: 200.00 for parts, 127.50 for labor (1.5 h at
85.00) and 60.00 for travel make 387.50; with 2 h of labor it is 430.00.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import shutil
from decimal import Decimal
from types import SimpleNamespace

import pytest

from pipelines.desk.site import site_of
from pipelines.desk.views.worklist import chosen, worklist
from pipelines.events import open_desk
from pipelines.events.letters import read_register
from pipelines.workspace.layout import Workspace

END = "2025-12-31"
BY = ("--by", "a.fenn")
SETTINGS = """
[letters]
since = 2020-01-01
[rulings]
limits = { "a.fenn" = 400, "*" = 0 }
"""
CREDITS = """claim,credited_on,credit,parts_amount,labor_amount,travel_amount
W01,2025-12-20,CR-1,200.00,127.50,60.00
"""
UNLEVEL = """report,serial,requested_on,completed_on,agency,level
SU-90,W1601,2024-01-21,2026-01-15,NORTHSTAIR,no
"""


def called(run, *arguments):
    """What a command says that has to do its work."""
    call = run(*arguments, "--json")
    assert call.code in (0, 1), call.err
    return call.json


def register(folder) -> list[dict]:
    """The register as the desk has it, without bringing it up."""
    opened = open_desk(Workspace.open(folder))
    with contextlib.closing(opened) as desk, desk.reading() as connection:
        return read_register(desk, connection).frame.sort("entry").to_dicts()


def told_of(folder, **of) -> list[tuple]:
    """Kind, state and day of the register's entries on a claim or unit."""
    ((name, value),) = of.items()
    rows = [row for row in register(folder) if row[name] == value]
    return [(row["kind"], row["state"], str(row["as_of"])) for row in rows]


def in_order(folder, day: str) -> list[tuple[str, str]]:
    """The worklist of that day, as group and claim."""
    with contextlib.closing(open_desk(Workspace.open(folder))) as desk:
        listed = worklist(site_of(desk, as_of=dt.date.fromisoformat(day)))
        return chosen(listed, {}, "a.fenn").select("group", "claim").rows()


def sums(rows: list[dict], state: str) -> dict[tuple, tuple[int, Decimal]]:
    """Claims and money by measure and the month that is mended."""
    found: dict[tuple, tuple[int, Decimal]] = {}
    for row in rows:
        if row["state"] == state:
            key = row["measure"], row["adjusts"]
            claims, total = found.get(key, (0, Decimal(0)))
            found[key] = claims + row["claims"], total + Decimal(row["total"])
    return found


@pytest.fixture(scope="module")
def story(claims, run, tools, tmp_path_factory):
    """The whole story on one workspace, with what was seen on the way."""
    folder = tmp_path_factory.mktemp("days") / "workspace"
    shutil.copytree(claims[0], folder)
    settings = folder / "limeledger.toml"
    settings.write_text(settings.read_text() + SETTINGS)
    seen = SimpleNamespace(folder=folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
        _december(seen, run)
        _january(seen, run, patch)
    return seen


def _ruled(run, patch, folder, *claims: str):
    patch.setattr("sys.stdin", io.StringIO("\n".join(claims)))
    when = ("--as-of", "2026-01-05", "--at", "2026-01-05T09:00")
    return run("rule", "-", "covered", folder, *BY, *when, "--reason", "seen on paper")


def _december(seen, run) -> None:
    """A request goes out, a claim is held, and the month is closed."""
    folder, day = seen.folder, (*BY, "--as-of", END)
    made = called(run, "rule", "W21", "not_covered", folder, *day, "--reason", "a slip")
    (entry,) = (row["entry"] for row in register(folder) if row["state"] == "to_send")
    called(run, "mark", entry, "sent", folder, *day)
    called(run, "withdraw", made["event"], folder, *day, "--reason", "on the wrong claim")
    seen.asked = register(folder)[-1]
    called(run, "mark", seen.asked["entry"], "sent", folder, *day)
    called(run, "hold", "W15", folder, *day, "--until", "2026-01-02", "--reason", "the report")
    new_year = (*BY, "--as-of", "2026-01-01")
    seen.closed = called(run, "month", "2025-12", folder, "--close", *new_year)
    seen.lists = {day: in_order(folder, day) for day in (END, "2026-01-01", "2026-01-02")}


def _january(seen, run, patch) -> None:
    """Claims are ruled, one anew, a credit and a report come late, and a refresh is cut off at its
    end; January is closed."""
    folder = seen.folder
    before = len(called(run, "audit", folder)["events"])
    seen.refused = _ruled(run, patch, folder, "W05", "W22", "W09")
    seen.recorded = len(called(run, "audit", folder)["events"]) - before
    seen.ruled = _ruled(run, patch, folder, "W05", "W09")
    when = ("--as-of", "2026-01-10", "--at", "2026-01-10T09:00")
    less = ("--parts", "150", "--reason", "the invoice says 150")
    called(run, "rule", "W02", "covered", folder, *BY, *when, *less)
    (folder / "exports" / "credits_2026-01-31.csv").write_text(CREDITS)
    (folder / "exports" / "startups_2026-01-30.csv").write_text(UNLEVEL)
    with patch.context() as cut_off:
        cut_off.setattr("pipelines.steps.publish.bring_up_to", lambda *_: None)
        called(run, "refresh", folder, "--as-of", "2026-01-31")
    seen.cut_off = register(folder)
    called(run, "letters", folder, "--out", folder / "out")
    seen.brought_up = register(folder)
    seen.december = called(run, "month", "2025-12", folder)
    seen.january = called(run, "month", "2026-01", folder)
    for row in seen.brought_up:
        if row["kind"] == "reminder":
            called(run, "mark", row["entry"], "sent", folder, *BY, "--as-of", "2026-01-31")
    called(run, "month", "2026-01", folder, "--close", *BY, "--as-of", "2026-02-01")
    seen.february = called(run, "month", "2026-02", folder)
    march = (*BY, "--as-of", "2026-03-10")
    made = called(run, "rule", "W21", "not_covered", folder, *march, "--reason", "a slip")
    called(run, "withdraw", made["event"], folder, *march, "--reason", "on the wrong claim")


def test_a_reminder_falls_due_and_is_sent_once(story) -> None:
    """Asked for by 30 January, it is repeated the day after; in March the claim is looked at again,
    and no other follows, as the settings ask for one."""
    assert told_of(story.folder, claim="W21")[-1] == ("ruling", "overtaken", "2026-03-10")
    assert str(story.asked["due_on"]) == "2026-01-30"
    assert (story.asked["kind"], story.asked["claim"]) == ("documents", "W21")
    made = [row for row in register(story.folder) if row["kind"] == "reminder"]
    assert [(row["claim"], row["reminds"], row["state"]) for row in made] == [
        ("W21", story.asked["entry"], "sent")
    ]
    assert (str(made[0]["as_of"]), str(made[0]["due_on"])) == ("2026-01-31", "2026-03-02")


def test_a_refresh_that_is_cut_off_at_its_end_loses_no_letter(story) -> None:
    """Published, it is not in the register yet; whatever looks next brings it up, once."""
    assert all(str(row["as_of"]) <= "2026-01-10" for row in story.cut_off)
    new = [row for row in story.brought_up if str(row["as_of"]) == "2026-01-31"]
    told = [(row["claim"] or row["serial"], row["kind"], row["state"]) for row in new]
    assert ("W21", "reminder", "to_send") in told
    assert ("W1601", "installation", "to_send") in told
    assert len(set(told)) == len(told)
    assert told_of(story.folder, serial="W1601") == [("installation", "to_send", "2026-01-31")]


def test_of_many_ruled_together_one_above_the_limit_stops_all(story) -> None:
    """430.00 is above 400.00: nothing is recorded; without it both are ruled and told."""
    assert story.refused.code == 2
    assert "W22" in story.refused.err
    assert "W05" not in story.refused.err
    assert story.recorded == 0
    assert story.ruled.code == 0, story.ruled.err
    first = ("documents", "told_before", END)
    assert told_of(story.folder, claim="W22") == [first]
    for claim in ("W05", "W09"):
        assert told_of(story.folder, claim=claim) == [first, ("ruling", "to_send", "2026-01-05")]


def test_a_hold_ends_on_its_day_and_the_claim_comes_back_on_top(story) -> None:
    """Off the list until the day before; on the day first of its group."""
    for day in (END, "2026-01-01"):
        assert "W15" not in [claim for _, claim in story.lists[day]], day
    back = story.lists["2026-01-02"]
    (group,) = [group for group, claim in back if claim == "W15"]
    mine = [claim for each, claim in back if each == group]
    assert len(mine) > 1
    assert mine[0] == "W15"


def test_what_comes_late_for_a_closed_month_mends_the_next_open_one(story) -> None:
    """387.50 were paid in December; of what it had approved, January ruled 387.50 anew and refused
    430.00. What was frozen stays, and each is told once."""
    frozen = [row for row in story.closed["rows"] if row["state"] == "frozen"]
    assert frozen
    assert [row for row in story.december["rows"] if row["state"] == "frozen"] == frozen
    assert sums(story.closed["rows"], "frozen").get(("paid", None)) is None
    assert sums(story.january["rows"], "adjustment") == {
        ("paid", "2025-12"): (1, Decimal("387.50")),
        ("approved", "2025-12"): (-2, Decimal("-817.50")),
    }
    # W02 anew (150.00, 127.50, 60.00), W05 and W09; W30 is ruled too, and pays nothing.
    now = sums(story.january["rows"], "now")
    assert now["ruled", None] == (4, Decimal("1112.50"))
    assert now["approved", None] == (3, Decimal("1112.50"))
    assert ("paid", None) not in now
    assert story.february["state"] == "open"
    assert sums(story.february["rows"], "adjustment") == {}
