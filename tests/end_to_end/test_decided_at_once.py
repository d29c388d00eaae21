"""Whatever is recorded, what is decided at once is what reading everything anew decides.

Random records, corrections, rulings and withdrawals on the worked claims. The other side reads all
exports with all events in memory, by the steps of a refresh, and decides every claim.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import random
import shutil

import duckdb
import polars as pl
import pytest

from pipelines.actions import Caller, Refused, correct, enter, rule, withdraw
from pipelines.coverage import Evidence, decide
from pipelines.coverage.standing import latest_rulings
from pipelines.engine.ground import DECIDING
from pipelines.events import open_desk
from pipelines.events.letters import read_register
from pipelines.events.recorded import recorded_of
from pipelines.letters.register import due
from pipelines.letters.standing import standing_claims
from pipelines.queries.decided_since import decided_since
from pipelines.queries.deciding_now import decisions_now
from pipelines.queries.store_now import store_now
from pipelines.steps.feed_states import feed_states
from pipelines.steps.ingest import read_files, row_accounts, settle, stored_rows
from pipelines.steps.landing import facts_of, set_aside_of
from pipelines.store.deliveries import EXPORT_FILES, delivered
from pipelines.store.evidence import records
from pipelines.store.inputs import load_inputs
from pipelines.store.reading import kept_open
from pipelines.workspace.layout import Workspace
from schemas.codes import FEEDS, REFERENCES

DAYS = ("2023-06-01", "2024-01-05", "2024-03-01", "2024-08-30", "2025-01-15", "2026-02-01")
MONEY = [f"{a}_{b}" for a in ("parts", "labor", "travel") for b in ("payable", "standing")]
TOLD = ["claim", "serial", "verdict", "lead_reason", "missing", "ruling", "standing", *MONEY]


def read_anew(inputs):
    """Every claim decided from the exports and all events, without the store."""
    facts, parts = [], []
    for one in read_files(inputs, delivered(inputs)):
        facts.append({**dict.fromkeys(EXPORT_FILES.names()), **one.facts})
        for part in one.parts:
            parts.append((one.facts["file"], part))
    told, of_parts = set_aside_of(parts), facts_of(parts)
    rows = {f: stored_rows(f, [one for one in parts if one[1].feed == f]) for f in FEEDS}
    settled = {f: settle(inputs, f, rows[f], of_parts, told) for f in FEEDS}
    files = pl.DataFrame(facts, schema=EXPORT_FILES)
    states = feed_states(inputs, row_accounts(files, of_parts, settled), settled)
    evidence = Evidence(
        **{feed: settled[feed].records for feed in DECIDING},
        **{name: getattr(inputs.reference, name) for name in REFERENCES},
        through=dict(states.select("feed", "through_date").iter_rows()),
        as_of=inputs.as_of,
    )
    return decide(evidence, inputs.terms, None, inputs.settings.timezone)


def random_action(draw, desk, who, store):
    """One action that may be refused."""
    where = (desk, desk.workspace, who)
    calls = store("service_calls")
    kind = draw.randrange(6)
    if kind == 0:
        row = draw.choice(store("units"))
        values = {"sample": f"D{draw.randrange(99)}", "site": row["site"] or "SITE-01"}
        values |= {"point": "supply", "sampled_on": draw.choice(DAYS), "ph": "7.2"}
        values |= {"hardness_mg_l_caco3": str(draw.randrange(10, 400)), "chloride_mg_l": "9"}
        return enter(*where, feed="water_tests", values=values)
    if kind == 1:
        row = draw.choice(store("units"))
        values = {"report": f"D{draw.randrange(99)}", "serial": row["serial"]}
        values |= {"requested_on": draw.choice(DAYS), "completed_on": draw.choice(DAYS)}
        return enter(*where, feed="startups", values=values)
    if kind == 2:
        claim = draw.choice([row["claim"] for row in calls if row["claim"]])
        ruled = {"ruling": draw.choice(["covered", "not_covered"]), "reason": "r"}
        return rule(*where, claim=claim, expected_version="present", **ruled)
    if kind == 3:
        with desk.reading() as connection:
            made = desk.events(connection, kinds=["ruling", "record", "correction"])
        event = draw.choice(made).event if made else 1
        return withdraw(*where, event=event, reason="slip", expected_version="present")
    feed = draw.choice(["service_calls", "service_calls", "units", "startups", "water_tests"])
    row = draw.choice(store(feed))
    values = draw.choice(CHANGES[feed])(draw)
    place = {"file": row["source_file"], "line": row["source_line"]}
    return correct(*where, feed=feed, **place, values=values, reason="r")


CHANGES = {
    "service_calls": [
        lambda draw: {"cause": draw.choice(["BOARD", "SCALED", ""])},
        lambda draw: {"opened_on": draw.choice(DAYS), "failed_on": ""},
        lambda draw: {"claim": draw.choice(["W01", "W90", ""])},
        lambda draw: {"call": f"CALL-{draw.randrange(1, 60):02d}"},
        lambda draw: {"completed_on": draw.choice(DAYS), "claimed_on": draw.choice(DAYS)},
        lambda draw: {"serial": f"W{draw.randrange(1, 37):02d}01"},
    ],
    "units": [
        lambda draw: {"shipped_on": draw.choice(DAYS)},
        lambda draw: {"site": f"SITE-{draw.randrange(1, 37):02d}"},
        lambda draw: {"serial": f"W{draw.randrange(1, 37):02d}01"},
    ],
    "startups": [lambda draw: {"requested_on": draw.choice(DAYS)}],
    "water_tests": [
        lambda draw: {"hardness_mg_l_caco3": str(draw.randrange(10, 400))},
        lambda draw: {"sampled_on": draw.choice(DAYS), "reported_on": ""},
    ],
}


def nobody_waits(desk, owed, day):
    """Every letter that is warranted is in the register, and none of them twice; none waits to be
    sent on a claim that is no longer on file."""
    with desk.reading() as connection:
        register = read_register(desk, connection).frame
    assert register.height >= 30
    assert due(register, owed, day, dt.datetime(2026, 1, 1)).is_nothing
    live = register.filter((pl.col("state") != "overtaken") & (pl.col("kind") != "reminder")).sort(
        "claim", "entry"
    )
    again = [pl.col(name) == pl.col(name).shift() for name in ("claim", "basis")]
    assert live.filter(*again).is_empty()
    unsent = register.filter((pl.col("state") == "to_send") & pl.col("claim").is_not_null())
    assert unsent.join(owed, on="claim", how="anti").is_empty()


@pytest.mark.parametrize("seed", [20261130, 20261131])
def test_decided_at_once_is_decided_anew(claims, tmp_path, day, seed):
    """After each of several actions, every claim has the same verdict, findings and money; what
    the desk keeps of them is no other; and the register owes nobody a letter, nor gave one twice.
    """
    root = shutil.copytree(claims[0], tmp_path / "ws")
    workspace = Workspace.open(root)
    draw, who = (
        random.Random(seed),
        Caller("ann", "ann", None, "command", dt.date.fromisoformat(day)),
    )
    with duckdb.connect(str(workspace.database), read_only=True) as con:
        frames = {feed: con.sql(f"select * from {feed}").pl().to_dicts() for feed in FEEDS}
        published = con.sql("select * from decisions").pl()
    done = 0
    with contextlib.closing(open_desk(workspace)) as desk, kept_open(workspace):
        for _ in range(14):
            try:
                random_action(draw, desk, who, frames.__getitem__)
            except Refused:
                continue  # nothing is other than it was
            done += 1
            inputs = load_inputs(root, day, recorded_of(desk))
            anew = read_anew(inputs)
            with store_now(inputs) as now:
                at_once = decisions_now(now, anew.decisions["claim"].to_list())
                numbers = now.con.sql("select claim from service_calls where claim is not null")
                assert set(numbers.pl()["claim"]) >= set(anew.decisions["claim"])
                rulings = records(now.con, "rulings")
                owed = standing_claims(
                    at_once.decisions,
                    at_once.findings,
                    latest_rulings(rulings.filter(pl.col("ruled_at").dt.date() <= who.as_of)),
                    inputs.reference.agencies,
                    inputs.terms.values,
                )
            kept = decided_since(desk, who.as_of).instead(published)
            columns = [*TOLD, "standing_since", "duplicate_of", "if_settled"]
            assert (
                kept.select(columns).sort("claim").rows()
                == at_once.decisions.select(columns).sort("claim").rows()
            )
            nobody_waits(desk, owed, who.as_of)
            same = at_once.decisions.select(TOLD).sort("claim")
            assert same.rows() == anew.decisions.select(TOLD).sort("claim").rows()
            findings = ["claim", "position", "outcome", "reason"]
            assert (
                at_once.findings.select(findings).sort("claim", "position").rows()
                == anew.findings.select(findings).sort("claim", "position").rows()
            )
    assert done >= 5
