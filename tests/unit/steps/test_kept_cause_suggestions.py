"""When suggested causes are learned anew, and when the published ones stand."""

import datetime as dt
import shutil
from pathlib import Path
from unittest import mock

import pytest
from polars.testing import assert_frame_equal

from pipelines.steps import cause_suggestions as step
from pipelines.store.transaction import open_session
from schemas.causes import CAUSE_TABLES
from tests.nights import KNOWN, make, publish

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"
DAY = dt.date(2025, 12, 21)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A workspace of which one night is published."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    assert learned(folder, DAY)
    return folder


def learned(folder: Path, as_of: dt.date) -> bool:
    """One night: whether it learned. Its tables are those of learning, whichever it did."""
    with open_session(folder, as_of, known=KNOWN) as session:
        make(session, "landed_exports", "record_tables", "unit_tables")
        with mock.patch.object(step, "study_causes", wraps=step.study_causes) as study:
            frames = step.cause_frames(session)
        with mock.patch.object(step, "_are_published", return_value=False):
            anew = step.cause_frames(session)
        assert frames.keys() == anew.keys() == CAUSE_TABLES.keys()
        for name, table in CAUSE_TABLES.items():
            assert_frame_equal(frames[name], anew[name], abs_tol=0, rel_tol=0)
            session.put(session.write(name, frames[name], table))
        publish(session)
    return study.called


def calls_of(folder: Path) -> Path:
    """The export of service calls."""
    return next((folder / "exports" / "service_calls").glob("*.csv"))


def test_nothing_is_learned_where_no_call_has_changed(folder: Path) -> None:
    """The day alone moves; then a note is written otherwise, and the night after it is not."""
    assert not learned(folder, DAY + dt.timedelta(days=1))
    calls = calls_of(folder)
    lines = calls.read_text("utf-8").splitlines(keepends=True)
    columns = lines[0].strip().split(",")
    at = next(n for n, line in enumerate(lines) if ",repair," in line)
    cells = lines[at].rstrip("\n").split(",")
    cells[columns.index("notes")] = "white crust on the heater"
    lines[at] = ",".join(cells) + "\n"
    calls.write_text("".join(lines), "utf-8")
    assert learned(folder, DAY + dt.timedelta(days=2))
    assert not learned(folder, DAY + dt.timedelta(days=3))


def test_a_call_that_comes_to_be_seen_is_learned_from(folder: Path) -> None:
    """No file is new: the day has reached a repair that was on file before."""
    calls = calls_of(folder)
    text = calls.read_text("utf-8")
    columns = text.splitlines()[0].split(",")
    first = next(line for line in text.splitlines() if ",repair," in line).split(",")
    first[columns.index("call")] = "LATER"
    for name in ("claim", "claimed_on", "completed_on", "failed_on"):
        first[columns.index(name)] = ""
    first[columns.index("opened_on")] = str(DAY + dt.timedelta(days=3))
    calls.write_text(text + ",".join(first) + "\n", "utf-8")
    assert not learned(folder, DAY + dt.timedelta(days=2))
    assert learned(folder, DAY + dt.timedelta(days=3))


def test_other_phrases_are_learned_with(folder: Path) -> None:
    """A reference file that changes may bear on every suggestion."""
    causes = folder / "reference" / "causes.csv"
    causes.write_text(causes.read_text("utf-8") + "NEWLY,new,wear,no,no,,1,\n", "utf-8")
    assert learned(folder, DAY + dt.timedelta(days=1))
