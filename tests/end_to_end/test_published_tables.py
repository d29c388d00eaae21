"""What others build on: the published tables, told to machines and people, and the views."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator
from pathlib import Path

import duckdb
import frictionless
import polars as pl
import pytest

from schemas.catalog import CATALOG, PUBLISHED
from schemas.views import EVENT_WORDS


@pytest.fixture(scope="module")
def data(sample) -> Path:
    """The folder of the published tables of the sample."""
    return sample[0] / "published" / "data"


@pytest.fixture(scope="module")
def con(sample):
    """The store of the sample, to look at."""
    con = duckdb.connect(str(sample[0] / "store" / "limeledger.duckdb"), read_only=True)
    yield con
    con.close()


@pytest.fixture(scope="module")
def package(data) -> dict:
    """The descriptor as it lies."""
    return json.loads((data / "datapackage.json").read_text(encoding="utf-8"))


THIN = 400  # rows of a table that the library reads, which takes a second for 5,000


def test_frictionless_finds_the_package_valid(data, package, tmp_path):
    """Types, constraints, keys and links between tables all hold (Frictionless Data, version 1).

    Tables that others link to are there whole, the others by their first rows and some of the
    rest; `test_every_row_is_as_the_package_says` looks at them all.
    """
    linked = {link["reference"]["resource"] for link in links_of(package)}
    assert linked
    for resource in package["resources"]:
        rows = list(rows_of(data / resource["path"]))
        kept = rows if resource["name"] in linked else thin(rows)
        (tmp_path / resource["path"]).write_text("".join(kept), "utf-8", newline="")
    (tmp_path / "datapackage.json").write_text(json.dumps(package))
    report = frictionless.Package(str(tmp_path / "datapackage.json")).validate()
    faults = [
        (task.name, error.type, error.message) for task in report.tasks for error in task.errors
    ]
    assert not faults, faults[:10]
    assert report.valid
    assert len(report.tasks) > 50


def rows_of(path: Path) -> Iterator[str]:
    """The rows of a CSV file as they lie, the heading first; a quoted cell may go over lines."""
    row = ""
    with path.open(encoding="utf-8", newline="") as lines:
        for line in lines:
            row += line
            if row.count('"') % 2 == 0:
                yield row
                row = ""
    assert row == ""


def thin(rows: list[str]) -> list[str]:
    """The heading, the first rows and some of the others."""
    if len(rows) <= THIN:
        return rows
    return [*rows[: THIN // 2], *rows[THIN // 2 :: len(rows) // (THIN // 2)]]


def links_of(package: dict) -> list[dict]:
    """Every link of a table to another."""
    return [
        link
        for resource in package["resources"]
        for link in resource["schema"].get("foreignKeys", [])
    ]


FORMS = {  # how a value is written, by the type in the descriptor (Table Schema, version 1)
    "integer": r"^-?\d+$",
    "number": r"^-?\d+(\.\d+)?([eE][-+]?\d+)?$",
    "boolean": r"^(true|false)$",
    "date": r"^\d{4}-\d{2}-\d{2}$",
}


def test_every_row_is_as_the_package_says(data, package):
    """The same for every row of every table: forms, what must be there, words, bounds, keys and
    links, each read from the descriptor."""
    rows = {
        resource["name"]: pl.read_csv(data / resource["path"], infer_schema=False)
        for resource in package["resources"]
    }
    checked = keys = 0
    for resource in package["resources"]:
        frame, schema = rows[resource["name"]], resource["schema"]
        assert frame.columns == [field["name"] for field in schema["fields"]]
        for field in schema["fields"]:
            wrong = wrong_values(frame[field["name"]], field)
            assert wrong == [], (resource["name"], field["name"], wrong)
            checked += 1
        if key := schema.get("primaryKey"):
            assert not frame.select(key).is_duplicated().any(), (resource["name"], key)
            keys += 1
        for link in schema.get("foreignKeys", []):
            there = rows[link["reference"]["resource"] or resource["name"]]
            lost = frame.drop_nulls(link["fields"]).join(
                there, left_on=link["fields"], right_on=link["reference"]["fields"], how="anti"
            )
            assert lost.is_empty(), (resource["name"], link)
    assert (checked > 500, keys > 50) == (True, True)


def wrong_values(column: pl.Series, field: dict) -> list[str]:
    """Some of the texts that are not as a field of the descriptor says."""
    held = field.get("constraints", {})
    text = pl.col(column.name)
    bad = text.is_null() if held.get("required") else pl.lit(False)
    if form := FORMS.get(field["type"]):
        bad |= ~text.str.contains(form)
    if words := held.get("enum"):
        bad |= ~text.is_in(list(map(str, words)))
    if pattern := held.get("pattern"):
        bad |= ~text.str.contains(f"^(?:{pattern})$")
    for bound, outside in (("minimum", pl.Expr.lt), ("maximum", pl.Expr.gt)):
        if bound in held:
            bad |= outside(text.cast(pl.Float64), float(held[bound]))
    told = column.to_frame().filter(bad.fill_null(False)).to_series()
    return [str(one) for one in told.head(5)]


def test_the_package_names_every_table_with_its_files(data, package):
    """A resource a table, which says what a row is; both its files are there."""
    assert package["profile"] == "tabular-data-package"
    assert package["version"] == "2.0.0"
    assert {"created", "state", "as_of"} <= package.keys()
    names = [resource["name"].replace("-", "_") for resource in package["resources"]]
    there = {path.stem for path in data.glob("*.parquet")}
    assert set(names) == there
    assert there == set(PUBLISHED)
    for resource in package["resources"]:
        assert (data / resource["path"]).is_file()
        assert (data / resource["parquet"]).is_file()
        assert resource["profile"] == "tabular-data-resource"
        assert resource["description"].startswith("One row is ")
        assert CATALOG[resource["name"].replace("-", "_")].key
        assert all(field["description"] for field in resource["schema"]["fields"])
    links = sum("foreignKeys" in resource["schema"] for resource in package["resources"])
    assert links >= 10


def test_every_column_is_described_in_the_store(con):
    """Each table, view and column has the comment that the dictionary tells."""
    said = con.execute(
        "select table_name, column_name, comment from duckdb_columns() "
        "where schema_name = 'main' and not internal"
    ).fetchall()
    assert len(said) > 500
    lacking = [(table, column) for table, column, comment in said if not comment]
    assert not lacking
    rows = con.sql('select "table", "column", description from data_dictionary').pl()
    assert rows.sort(rows.columns).rows() == sorted(said)
    tables = con.execute(
        "select table_name, comment from duckdb_tables() where schema_name = 'main' "
        "union all select view_name, comment from duckdb_views() where not internal"
    ).fetchall()
    assert len(tables) > 60
    for table, comment in tables:
        assert comment.endswith(f" Key: {', '.join(CATALOG[table].key)}."), table


def test_stored_columns_are_those_of_the_catalog(con):
    """No table of the store has a column that is described nowhere, and none lacks one."""
    stored = con.sql(
        "select table_name, list(column_name order by ordinal_position) as columns "
        "from information_schema.columns where table_schema = 'main' group by 1"
    ).pl()
    assert stored.height > 60
    for table, columns in stored.iter_rows():
        assert sorted(columns) == sorted(c.name for c in CATALOG[table].columns), table


def test_evidence_has_a_row_a_citation(con, data):
    """As many as the findings cite, and each stands in a record of its feed."""
    frame = pl.read_parquet(data / "evidence.parquet")
    findings = pl.read_parquet(data / "findings.parquet")
    assert frame.height == findings["evidence"].list.len().sum() > 1000
    assert frame["row_sha256"].null_count() == 0
    assert frame["arrived_on"].null_count() == 0
    for feed in frame["feed"].unique():
        places = pl.read_parquet(data / f"{feed}.parquet").select(
            file="source_file", line="source_line"
        )
        cited = frame.filter(feed=feed)
        assert cited.join(places, on=["file", "line"], how="anti").is_empty()
        assert cited.height


def test_claim_overview_lays_a_claim_beside_what_is_known_of_it(data):
    """Every claim once; what it takes from other tables is what these say of the claim."""
    view = pl.read_parquet(data / "claim_overview.parquet")
    decisions = pl.read_parquet(data / "decisions.parquet")
    calls = pl.read_parquet(data / "service_calls.parquet").filter(pl.col("claim").is_not_null())
    rulings = pl.read_parquet(data / "rulings.parquet")
    assert view["claim"].to_list() == decisions["claim"].sort().to_list()
    both = view.join(calls, on="claim", suffix="_of_call")
    assert both.height == view.height
    assert both["part"].equals(both["part_of_call"])
    totals = sum(view[f"{line}_standing"] for line in ("parts", "labor", "travel"))
    assert totals.equals(view["total_standing"])
    ruled = view.filter(pl.col("ruling").is_not_null())
    latest = rulings.sort("ruled_at").unique("claim", keep="last")
    joined = ruled.join(latest, on="claim", suffix="_of_file")
    assert joined.height == ruled.height > 0
    assert joined["ruling"].equals(joined["ruling_of_file"])
    assert joined["ruling_reason"].equals(joined["reason"])
    assert view.filter(pl.col("ruling").is_null())["ruled_by"].null_count() == (
        view.height - ruled.height
    )


def test_unit_overview_counts_what_belongs_to_a_unit(data):
    """Units, calls and claims add up; a site's test counts for each of its units."""
    view = pl.read_parquet(data / "unit_overview.parquet")
    histories = pl.read_parquet(data / "unit_histories.parquet")
    tests = pl.read_parquet(data / "unit_water_tests.parquet")
    assert view["serial"].to_list() == histories["serial"].sort().to_list()
    assert (
        view["claims"].sum()
        == pl.read_parquet(data / "decisions.parquet")
        .join(histories, on="serial", how="semi")
        .height
    )
    assert view["water_tests"].sum() == tests.height > 100
    assert (view["repairs"] <= view["calls"]).all()
    one = view.filter(pl.col("water_tests") > 1).row(0, named=True)
    last = tests.filter(serial=one["serial"]).sort("sampled_on", "sample").row(-1, named=True)
    assert (one["latest_sample"], one["latest_sampled_on"]) == (
        last["sample"],
        last["sampled_on"],
    )


def test_unit_events_tell_lives_with_their_records(data, sample):
    """Every event word occurs, none lies after the as-of day, and each names its record."""
    events = pl.read_parquet(data / "unit_events.parquet")
    as_of = dt.date.fromisoformat(sample[1].json["as_of"])
    assert set(events["event"].unique()) == set(EVENT_WORDS)
    assert events["day"].max() <= as_of
    assert events.select(CATALOG["unit_events"].key).is_unique().all()
    units = pl.read_parquet(data / "units.parquet")
    shipped = events.filter(event="shipped").join(units, on="serial")
    assert shipped.height == pl.read_parquet(data / "unit_histories.parquet").height
    assert shipped["day"].equals(shipped["shipped_on"])
    assert (shipped["line"] == shipped["source_line"]).all()
    calls = pl.read_parquet(data / "service_calls.parquet")
    at_site = events.filter(event="treatment installed", feed="service_calls").join(
        calls, left_on="key", right_on="call"
    )
    assert at_site.filter(pl.col("serial") != pl.col("serial_right")).height > 0


def test_tests_and_purchases_of_units_are_as_the_rules_take_them(data):
    """The test by which a claim was judged is a complete one of its unit; sellers are approved."""
    tests = pl.read_parquet(data / "unit_water_tests.parquet")
    assert tests["complete"].n_unique() == 2
    assert tests.filter("complete")["point"].unique().to_list() == ["supply"]
    evidence = pl.read_parquet(data / "evidence.parquet")
    findings = pl.read_parquet(data / "findings.parquet")
    met = findings.filter(condition="water_tested", outcome="met").select("claim", "position")
    judged = (
        evidence.filter(feed="water_tests")
        .join(met, on=["claim", "position"], how="semi")
        .join(pl.read_parquet(data / "decisions.parquet").select("claim", "serial"), on="claim")
    )
    of_units = judged.join(tests, left_on=["serial", "key"], right_on=["serial", "sample"])
    assert of_units.height == judged.height > 50
    assert of_units["complete"].all()
    bought = pl.read_parquet(data / "unit_purchases.parquet")
    assert bought["approved_seller"].n_unique() == bought["bought_new"].n_unique() == 2
    assert (bought["bought_new"] == (bought["condition"] == "new")).all()


def test_no_column_holds_a_path_of_the_machine(sample, data):
    """The workspace may lie anywhere; what is published does not tell where."""
    files = sorted(data.glob("*.csv"))
    assert len(files) > 50
    told = str(sample[0]).encode()
    assert not [file.name for file in files if told in file.read_bytes()]


def test_the_dictionary_page_tells_every_published_column(sample):
    """An anchor a table and a column, linked from every page, the schema's changes at the end."""
    folder = sample[0] / "published"
    page = (folder / "dictionary.html").read_text(encoding="utf-8")
    ids = set(re.findall(r'id="([^"]+)"', page))
    for name in PUBLISHED:
        assert name in ids
        assert {f"{name}.{column.name}" for column in CATALOG[name].columns} <= ids
    targets = re.findall(r'href="#([^"]+)"', page)
    assert len(targets) > 50
    assert set(targets) <= ids
    assert page.index('id="schema-changes"') > page.index('id="unit_purchases"')
    pages = [*folder.glob("*.html"), *sorted(folder.glob("claims/*.html"))[:3]]
    assert len(pages) >= 8
    assert all('dictionary.html">' in path.read_text(encoding="utf-8") for path in pages)
    assert "## 2.0.0" in (folder / "data" / "CHANGES.md").read_text(encoding="utf-8")
