"""A join that matches too little needs a person, wherever people look."""

from __future__ import annotations

import polars as pl
import pytest

SENTENCE = (
    "startups.serial: 2 of 20 rows match units.serial (10 %); 18 lost their leading zeros: "
    "{ pad = 7 } under [transforms] of mappings/startups.toml"
)


@pytest.fixture
def exports(unrefreshed):
    """A register with zeros, and start-up reports of which 18 of 20 have lost them."""
    for path in (unrefreshed / "exports").rglob("*.csv"):
        path.unlink()
    model = (unrefreshed / "reference/models.csv").read_text().splitlines()[1].split(",")[0]
    units = [f"{number:07},{model},2025-01-02" for number in range(1, 21)]
    (unrefreshed / "exports/units 2025-12-30.csv").write_text(
        "\n".join(["serial,model,shipped_on", *units, "X9,NONE,2025-01-02"]) + "\n"
    )
    serials = [*(str(number) for number in range(1, 19)), "0000019", "0000020"]
    starts = [
        "TRIAL,1,2025-02-01",
        *(f"R{at},{serial},2025-02-01" for at, serial in enumerate(serials)),
    ]
    (unrefreshed / "exports/startups 2025-12-30.csv").write_text(
        "\n".join(["report,serial,completed_on", *starts]) + "\n"
    )
    (unrefreshed / "mappings").mkdir(exist_ok=True)
    (unrefreshed / "mappings/startups.toml").write_text(
        '[[leave_out]]\nreason = "drafts"\nheader = "report"\nis = "DRAFT*"\n'
        '[[leave_out]]\nreason = "trials"\nheader = "report"\nis = "TRIAL*"\n'
    )
    settings = unrefreshed / "limeledger.toml"
    settings.write_text("set_aside_tolerance = 1.0\n" + settings.read_text())
    return unrefreshed


def line(found, name):
    """One line of a report."""
    feed, column = name.split(".")
    (one,) = [one for one in found if (one["feed"], one["column"]) == (feed, column)]
    return one


def test_check_tells_of_joins_and_misses(exports, run):
    """Columns as written down, one line a join; the exit code is 1 because of the join alone."""
    told = run("check", exports, "--as-of", "2025-12-31", "--json")
    assert told.json["attention"] == [SENTENCE]
    assert told.code == told.json["exit_code"] == 1
    assert len(told.json["joins"]) == 16
    assert line(told.json["joins"], "startups.serial") == {
        "feed": "startups",
        "column": "serial",
        "to": "units.serial",
        "rows": 20,
        "matched": 2,
        "share": 0.1,
        "lost_zeros": 18,
        "case_or_punctuation": 0,
        "close_spelling": 0,
        "unknown": 0,
        "min_share": 0.9,
        "below": True,
    }
    models = line(told.json["joins"], "units.model")
    assert (models["rows"], models["matched"], models["unknown"]) == (21, 20, 1)
    assert len(told.json["join_misses"]) == 19
    assert told.json["join_misses"][0] == {
        "feed": "startups",
        "column": "serial",
        "to": "units.serial",
        "written": "1",
        "cause": "lost_zeros",
        "likely": "0000001",
        "rows": 1,
        "first_file": "startups 2025-12-30.csv",
        "first_line": 3,
    }
    assert SENTENCE in run("check", exports, "--as-of", "2025-12-31").out
    settings = exports / "limeledger.toml"
    settings.write_text(settings.read_text() + '\n[joins.shares]\n"startups.serial" = 0\n')
    told = run("check", exports, "--as-of", "2025-12-31", "--json")
    assert (told.json["attention"], told.code) == ([], 0)


def test_a_refresh_publishes_the_report(exports, run, no_figures):
    """Exit code 1, one sentence on the Morning page and for the doctor, the tables published."""
    torn = exports / "exports" / "units_torn.csv"
    torn.write_text("Number,model,shipped_on\nX1,M,2024-01-01\n", encoding="utf-8")
    told = run("refresh", exports, "--as-of", "2025-12-31", "--json")
    assert told.code == 1
    assert SENTENCE in told.json["attention"]
    why = "The file units_torn.csv was set aside: The file lacks the required column serial"
    assert any(one.startswith(why) for one in told.json["attention"])
    assert (exports / "help" / "conditions.md").is_file()
    joins = pl.read_parquet(exports / "published/data/joins.parquet")
    misses = pl.read_parquet(exports / "published/data/join_misses.parquet")
    assert (joins.height, misses.height) == (16, 19)
    assert joins.filter("below")["to"].to_list() == ["units.serial"]
    findings = run("doctor", exports, "--json").json["findings"]
    assert [one["sentence"] for one in findings if one["matter"] == "joins"] == [SENTENCE]
    idle = [one["sentence"] for one in findings if one["matter"] == "mappings"]
    assert idle == ['mappings/startups.toml: the entry "drafts" leaves out no row.']
    morning = (exports / "published/index.html").read_text()
    assert SENTENCE in morning
    data = (exports / "published/data.html").read_text()
    assert "1 join below what the settings ask." in data
    assert "trials" in data
    assert "drafts" not in data
    assert "19 values without a match" in data
