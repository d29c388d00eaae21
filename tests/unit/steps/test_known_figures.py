"""The figures of water samples that a night takes from the store, and those it works out again."""

import datetime as dt
import shutil
from pathlib import Path

import polars as pl
from polars.testing import assert_frame_equal

from pipelines.steps.units import known_figures, water_profiles_of
from pipelines.store.transaction import open_session
from schemas.histories import WaterProfiles
from tests.nights import KNOWN, make, publish

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"
DAY = dt.date(2025, 12, 21)
NEXT = DAY + dt.timedelta(days=1)


def night(folder: Path, as_of: dt.date) -> tuple[set[str], set[str]]:
    """One night of exports and waters: the samples known of before, and all samples.

    What is known of before makes the same table as working all of it out.
    """
    with open_session(folder, as_of, known=KNOWN) as session:
        make(session, "landed_exports", "record_tables", "unit_tables")
        known = known_figures(session)
        tables = [
            pl.concat(water_profiles_of(session.inputs, session.con, session.engine, told))
            for told in (known, None)
        ]
        assert_frame_equal(*tables, abs_tol=0, rel_tol=0)
        session.put(session.write("water_profiles", tables[0], WaterProfiles))
        publish(session)
    return set() if known is None else set(known["sample"]), set(tables[0]["sample"])


def test_only_samples_that_came_or_changed_are_worked_out(tmp_path: Path) -> None:
    """A changed value, a sample taken away and one that came; the others are known."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    known, samples = night(folder, DAY)
    assert known == set()
    path = folder / "exports" / "water_tests" / "lab.csv"
    header, first, *others, last = path.read_text(encoding="utf-8").splitlines(keepends=True)
    changed, gone = (line.split(",")[0] for line in (first, last))
    first = first.replace(",7.5,", ",7.9,")
    last = last.replace(gone, "LAB-NEW", 1)
    path.write_text("".join([header, first, *others, last]), encoding="utf-8")
    known, now = night(folder, NEXT)
    assert now == samples - {gone} | {"LAB-NEW"}
    assert known == samples - {gone, changed}
    assert night(folder, NEXT) == (now, now)


def test_other_settings_work_everything_out(tmp_path: Path) -> None:
    """What was told under another share of calcium is not known of any sample."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    night(folder, DAY)
    with (folder / "limeledger.toml").open("a", encoding="utf-8") as file:
        file.write("calcium_share_of_hardness = 0.7\n")
    assert night(folder, NEXT)[0] == set()
