"""Random nights: deciding only what can have moved gives what deciding everything gives.

Each night changes the exports as companies do (a correction, a late row, a row or a file taken
back, a ruling) and moves the as-of date on; then the claims are decided both ways from the same
store, and the tables and the rows added to the history are compared.
"""

from __future__ import annotations

import csv
import datetime as dt
import shutil
import tempfile
from pathlib import Path
from unittest import mock

import polars as pl
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipelines.steps import decide as step
from pipelines.store.database import read_frame
from pipelines.store.transaction import RefreshSession, open_session
from tests.drawn import seed_of
from tests.nights import KNOWN, make, publish

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
FEEDS = ("units", "startups", "water_tests", "treatment_purchases", "service_calls")
FIRST_DAY = dt.date(2025, 12, 21)
TABLES = ("findings", "decisions", "decision_history")
night = st.tuples(
    st.sampled_from(
        ("correct", "correct", "add", "take back", "withdraw", "rule", "rule", "nothing")
    ),
    st.sampled_from(FEEDS),
    st.integers(0, 10_000),
    st.integers(-40, 40).filter(bool),
    st.integers(0, 45),
)


def change(folder: Path, kind: str, feed: str, pick: int, shift: int, as_of: dt.date) -> None:
    """What arrived, or went, since the night before."""
    exports = folder / "exports"
    files = sorted(
        path for path in exports.rglob("*.csv") if feed in str(path.relative_to(exports))
    )
    if kind == "rule":
        with (exports / "rulings.csv").open("a", encoding="utf-8") as file:
            file.write(f"W{pick % 36 + 1:02d},{as_of}T08:00:00,clerk,covered,seen,,,\n")
    if kind in ("rule", "nothing") or not files:
        return
    path = files[pick % len(files)]
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    if kind == "withdraw" and len(files) > 1:
        path.unlink()
    if kind == "withdraw" or not rows:
        return
    row = rows[pick % len(rows)]
    if kind == "take back":
        write(path, [other for other in rows if other is not row], list(row))
        return
    dated = [name for name, value in row.items() if name.endswith("_on") and value]
    for name in dated[pick % 3 :]:
        row[name] = str(dt.date.fromisoformat(row[name]) + dt.timedelta(days=shift))
    if feed == "units" and pick % 3 == 0:
        row["replaces"] = rows[pick % 7 % len(rows)]["serial"]
    if kind == "add":
        key = next(iter(row))
        row[key] = f"{row[key]}9"
        row |= {"claim": f"{row['claim']}9"} if row.get("claim") else {}
    target = exports / feed / f"{feed}_{as_of}.csv"
    target.parent.mkdir(exist_ok=True)
    write(target, [row], list(row))


def write(path: Path, rows: list[dict[str, str]], columns: list[str]) -> None:
    """A file of an export."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)


def decided(session: RefreshSession) -> dict[str, pl.DataFrame]:
    """The three tables as the step makes them."""
    make(session, "claim_decisions")
    return {name: read_frame(session.con, name) for name in TABLES}


def spend(folder: Path, as_of: dt.date) -> tuple[int, int]:
    """One night: how many claims stood, of how many."""
    asked = []

    def counted(session: RefreshSession, claims: pl.DataFrame) -> pl.DataFrame:
        asked.append(choose(session, claims))
        return asked[-1]

    choose = step.claims_to_decide
    with open_session(folder, as_of, known=KNOWN) as session:
        # Rulings, made at eight, look back on this night's decisions and not on the next one's.
        session.decided_at = dt.datetime.combine(as_of, dt.time(4))
        make(session, "landed_exports", "record_tables")
        with mock.patch.object(step, "claims_to_decide", lambda session, claims: claims):
            whole = decided(session)
        with mock.patch.object(step, "claims_to_decide", counted):
            quick = decided(session)
        for name in TABLES:
            assert_frame_equal(quick[name], whole[name])
        publish(session)
    return quick["decisions"].height - asked[0].height, quick["decisions"].height


@seed(seed_of(20251231))
@settings(
    max_examples=8,
    phases=[Phase.generate],
    deadline=None,
    suppress_health_check=list(HealthCheck),
    database=None,
)
@given(st.lists(night, min_size=4, max_size=4))
def test_deciding_what_moved_is_deciding_everything(nights: list[tuple]) -> None:
    """Verdicts, findings, evidence, history with fingerprints: the same, whatever came and went."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "workspace"
        shutil.copytree(CASES, folder)
        as_of = FIRST_DAY
        spend(folder, as_of)
        for kind, feed, pick, shift, days in nights:
            change(folder, kind, feed, pick, shift, as_of)
            as_of += dt.timedelta(days=days)
            spend(folder, as_of)


def test_an_ordinary_night_decides_little(tmp_path: Path) -> None:
    """Else the property above would hold of a choice that always takes all."""
    folder = tmp_path / "workspace"
    shutil.copytree(CASES, folder)
    stood, claims = spend(folder, FIRST_DAY)
    assert stood == 0
    change(folder, "correct", "service_calls", 7, 3, FIRST_DAY)
    stood, claims = spend(folder, FIRST_DAY + dt.timedelta(days=1))
    assert stood > claims / 2


def test_a_ruling_keeps_no_claim_from_standing(tmp_path: Path) -> None:
    """Only on the night that brings it, and where the history first tells what it was made on."""
    folder = tmp_path / "workspace"
    shutil.copytree(CASES, folder)
    spend(folder, FIRST_DAY)
    day = dt.timedelta(days=1)
    change(folder, "rule", "", 7, 0, FIRST_DAY)
    stood, _ = spend(folder, FIRST_DAY + day)
    again, _ = spend(folder, FIRST_DAY + 2 * day)
    assert again == stood + 1
