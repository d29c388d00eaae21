"""`limeledger field` on a refreshed workspace: the same functions as the pages, for any slice."""

from __future__ import annotations

import csv
import io
import json

import polars as pl
import pytest


@pytest.fixture
def asked(claims, run):
    """What the command prints for some options."""
    workspace, _ = claims

    def ask(*options: str) -> str:
        call = run("field", workspace, *options)
        assert call.code == 0
        return call.out

    return ask


def test_a_slice_comes_out_alike_as_json_csv_and_table(asked) -> None:
    """All three forms tell the same rows, and the parts add up to the whole."""
    rows = json.loads(asked("--by", "region,profile", "--json"))
    listed = list(csv.DictReader(io.StringIO(asked("--by", "profile,region", "--csv"))))
    assert [(r["region"], r["profile"], str(r["failures"])) for r in rows] == [
        (r["region"], r["profile"], r["failures"]) for r in listed
    ]
    (whole,) = json.loads(asked("--by", "all", "--json"))
    assert whole["failures"] > 0
    assert sum(row["failures"] for row in rows) == whole["failures"]
    assert sum(row["units"] for row in rows) == whole["units"]
    assert str(whole["failures"]) in asked("--by", "all")


def test_since_and_until_part_the_calendar(asked) -> None:
    """Failures and unit-years before and from a day add up to those of all time."""
    (whole,) = json.loads(asked("--by", "all", "--json"))
    parts = [
        json.loads(asked("--by", "all", option, "2025-03-01", "--json"))[0]
        for option in ("--until", "--since")
    ]
    assert sum(part["failures"] for part in parts) == whole["failures"]
    assert sum(part["unit_years"] for part in parts) == pytest.approx(whole["unit_years"])


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--by", "colour"], "colour"),
        (["--by", "all", "--class", "rust"], "rust"),
        (["--by", "all", "--since", "March"], "YYYY-MM-DD"),
        (["--by", "family", "--region", "US-ME"], "--by region"),
    ],
)
def test_a_wrong_option_is_named_with_the_way_out(claims, run, options, said) -> None:
    """One sentence on the error stream, and no figure."""
    call = run("field", claims[0], *options)
    assert call.code == 2
    assert said in call.err
    assert call.out == ""


def test_conditions_part_the_failures_and_list_them(asked) -> None:
    """As many failures are listed as the rate of the same selection counts, for any dimensions."""
    (whole,) = json.loads(asked("--by", "all", "--json"))
    rows = json.loads(asked("--by", "season,age", "--json"))
    assert sum(row["failures"] for row in rows) == whole["failures"] > 0
    most = max(rows, key=lambda row: row["failures"])
    where = [part for name in ("season", "age") for part in ("--where", f"{name}={most[name]}")]
    listed = json.loads(asked("--failures", *where, "--json"))
    assert len(listed) == most["failures"]
    (again,) = json.loads(asked("--by", "all", *where, "--json"))
    assert again["failures"] == most["failures"]
    assert again["unit_years"] == pytest.approx(most["unit_years"])
    either = asked("--failures", "--where", "season=winter|spring|summer|autumn", "--csv")
    assert len(either.splitlines()) == whole["failures"] + 1


def test_two_slices_are_compared(asked) -> None:
    """A slice and all other days add up to the whole; the ratio is that of their rates."""
    told = json.loads(asked("--compare", "season=winter", "--json"))
    (whole,) = json.loads(asked("--by", "all", "--json"))
    a, b = told["a"], told["b"]
    assert a["failures"] + b["failures"] == whole["failures"]
    assert a["unit_years"] + b["unit_years"] == pytest.approx(whole["unit_years"])
    assert [ratio["method"] for ratio in told["ratios"]] == ["exact", "robust", "mantel_haenszel"]
    swapped = json.loads(
        asked("--compare", "season=spring|summer|autumn", "season=winter", "--json")
    )
    assert swapped["a"] == b
    assert swapped["b"] == a


def test_a_comparison_is_of_the_region_that_is_named(asked, claims, run) -> None:
    """`--region` and `--profile` part both sides, as the condition of that name does."""
    rows = json.loads(asked("--by", "region,profile", "--json"))
    most = max(rows, key=lambda row: row["failures"])
    region, profile = most["region"], most["profile"]
    told = json.loads(
        asked("--region", region, "--profile", profile, "--compare", "season=winter", "--json")
    )
    same = ("--where", f"region={region}", "--where", f"profile={profile}")
    again = json.loads(asked(*same, "--compare", "season=winter", "--json"))
    assert told["a"] == pytest.approx(again["a"])
    assert told["a"]["failures"] + told["b"]["failures"] == most["failures"] > 0
    unknown = run("field", claims[0], "--by", "region", "--region", "US-ZZ")
    assert unknown.code == 2
    assert "US-ZZ" in unknown.err


def test_a_comparison_goes_by_its_event_and_lists_its_failures(asked, tmp_path) -> None:
    """Water-caused failures on both sides, as many lines as both have, and a page that says so."""
    sides = ("--compare", "season=winter", "season=summer|autumn", "--event", "water")
    told = json.loads(asked(*sides, "--json"))
    rows = json.loads(asked("--by", "season", "--event", "water", "--json"))
    count = {row["season"]: row["failures"] for row in rows}
    assert told["a"]["failures"] == count["winter"]
    assert told["b"]["failures"] == count["summer"] + count["autumn"]
    listed = json.loads(asked(*sides, "--failures", "--json"))
    assert len(listed) == told["a"]["failures"] + told["b"]["failures"] > 0
    assert {row["season"] for row in listed} <= {"winter", "summer", "autumn"}
    assert all(row["water_related"] for row in listed)
    file = tmp_path / "handout.html"
    asked(*sides, "--handout", str(file))
    text = file.read_text(encoding="utf-8")
    assert "Selected: event=water; season=winter; season=summer|autumn." in text
    assert f"; {len(listed):,} failure" in text
    assert "--event water" in text
    one = ("--event", "water", "--compare", "season=winter", "--handout", str(file))
    assert json.loads(asked(*one, "--json"))["a"] == told["a"]
    assert "Selected: event=water; season=winter; all other days." in file.read_text("utf-8")
    asked(*sides, "--failures", "--handout", str(file))
    assert f"<p>{len(listed):,} failures of either side.</p>" in file.read_text("utf-8")


def test_an_unknown_event_is_told_the_events_once(claims, run) -> None:
    """Classes that failed already are those of the list, and stand in it once."""
    call = run("field", claims[0], "--event", "xylophone")
    assert call.code == 2
    assert call.err.count("scale") == 1


def test_a_handout_stands_alone(asked, tmp_path) -> None:
    """No script, nothing from elsewhere, the command that makes it again."""
    file = tmp_path / "handout.html"
    asked("--by", "season", "--where", "age=0-6", "--handout", str(file))
    text = file.read_text(encoding="utf-8")
    assert "<script" not in text
    assert "http" not in text.replace("http-equiv", "")
    assert "--where age=0-6" in text
    assert "winter" in text
    told = json.loads(asked("--by", "all", "--where", "age=0-6", "--json"))[0]
    assert f"<p>{told['failures']:,} failures in " in text
    assert f"{told['rate_per_100']:.1f} per 100 unit-years.</p>" in text


@pytest.mark.parametrize("figure", ["alarms", "regions"])
def test_a_figure_of_dimensions_of_its_own_says_what_the_page_says(
    asked, claims, tmp_path, figure
) -> None:
    """Nobody asks for alarms by family and class: they come so."""
    file = tmp_path / "handout.html"
    asked("--figure", figure, "--handout", str(file))
    told = pl.read_parquet(claims[0] / "published" / "data" / "field_sentences.parquet")
    own = told.filter(pl.col("figure") == figure, pl.col("event").is_in(["any", "all"]))
    assert own["by"][0] != "all"
    assert f"<p>{own['sentence'][0]}</p>" in file.read_text("utf-8")


def test_a_handout_of_a_whole_figure_says_what_the_page_says(asked, claims, tmp_path) -> None:
    """Its sentence is the figure's own, and the site's handout of it has the same."""
    file = tmp_path / "screen.html"
    asked("--figure", "screen", "--handout", str(file))
    published = claims[0] / "published"
    told = pl.read_parquet(published / "data" / "field_sentences.parquet")
    (sentence,) = told.filter(pl.col("figure") == "screen")["sentence"]
    assert f"<p>{sentence}</p>" in file.read_text(encoding="utf-8")
    rates = (published / "handouts" / "rates.html").read_text(encoding="utf-8")
    (sentence,) = told.filter(
        pl.col("figure") == "rates", pl.col("by") == "family", pl.col("event") == "any"
    )["sentence"]
    assert f"<p>{sentence}</p>" in rates
    assert "limeledger field --figure rates --by family --handout rates.html" in rates


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--where", "colour=red"], "no dimension"),
        (["--where", "season=wintr"], "did you mean winter?"),
        (["--where", "season=winter..spring"], "no ranges"),
        (["--where", "failed_on=2025-13-01.."], "no day"),
        (["--where", "year=2026..2025"], "ends before it begins"),
        (["--by", "season,age,year,need,needs"], "4 dimensions"),
        (["--figure", "ratez"], "did you mean rates?"),
        (["--event", "rust"], "no event"),
    ],
)
def test_a_wrong_selection_is_named_with_the_way_out(claims, run, options, said) -> None:
    """One sentence with the nearest names, and exit code 2."""
    call = run("field", claims[0], *options)
    assert call.code == 2
    assert said in call.err
    assert call.out == ""
