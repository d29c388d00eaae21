"""The sample after one refresh: every row accounted for, every promised table in all its forms."""

import re
import shutil
import tomllib
from importlib.resources import files
from pathlib import Path

import duckdb
import polars as pl
import pytest

import sample_data

ENDS = ("records", "superseded", "duplicates", "set_aside")
PROMISED = tomllib.loads((Path(__file__).parent / "promised_tables.toml").read_text())
FIGURES = PROMISED.pop("figures")
SLICES = ["by", "family", "region", "profile", "cause_class", "startup", "treatment"]
# Anything that a browser would fetch by itself: attributes, styles, imports, requests.
FETCHED = re.compile(
    r"""(?:\b(?:src|srcset|href|action|poster|data)\s*=\s*["']?|url\(\s*["']?|@import\s+["']?|"""
    r"""\b(?:fetch|import|open)\(\s*["'`]?)\s*(?:https?:)?//""",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def plan():
    """What the sample says it holds."""
    return tomllib.loads((files("sample_data") / "planted.toml").read_text("utf-8"))


@pytest.fixture(scope="module")
def con(sample, tmp_path_factory):
    """A copy of the sample's store, to look at while the command uses the store itself."""
    copy = tmp_path_factory.mktemp("store") / "copy.duckdb"
    shutil.copyfile(sample[0] / "store" / "limeledger.duckdb", copy)
    opened = duckdb.connect(str(copy), read_only=True)
    yield opened
    opened.close()


def test_every_file_is_accounted_as_planted(con, plan):
    """Rows read and all four ends of each of the files, and of each feed, are as planted."""
    found = con.sql("select feed, file, rows_read, " + ", ".join(ENDS) + " from row_accounts").pl()
    planted = [
        {"feed": feed, "file": file, **{name: counts[name] for name in ("rows_read", *ENDS)}}
        for feed, account in plan["accounts"].items()
        for file, counts in account["files"].items()
    ]
    key = ["feed", "file"]
    assert found.sort(key).to_dicts() == pl.DataFrame(planted).sort(key).to_dicts()
    totals = found.group_by("feed").agg(pl.col("rows_read", *ENDS).sum())
    for row in totals.iter_rows(named=True):
        account = plan["accounts"][row.pop("feed")]
        assert row == {name: account[name] for name in ("rows_read", *ENDS)}


def test_the_four_ends_add_up_and_each_record_is_in_its_table(con):
    """Per file the ends give the rows read; per feed the table has as many rows as records."""
    accounts = con.sql("from row_accounts").pl()
    assert accounts.filter(pl.sum_horizontal(ENDS) != pl.col("rows_read")).is_empty()
    for feed, records in accounts.group_by("feed").agg(pl.col("records").sum()).iter_rows():
        assert con.sql(f"select count(*) from {feed}").fetchall() == [(_lines(con, feed, records),)]


def _lines(con, feed: str, records: int) -> int:
    """Rows that a feed's table must have: in the long layout one a sample, not one an analyte."""
    if feed != "water_tests":
        return records
    return con.sql("select count(distinct sample) from parsed_water_tests").fetchall()[0][0]


def test_each_row_set_aside_is_told_with_file_line_rule_and_reason(con, plan):
    """As many distinct lines as are set aside, in exactly the files with planted faults."""
    aside = con.sql("from set_aside").pl()
    lines = aside.group_by("file").agg(pl.struct("file", "line").n_unique().alias("rows"))
    faults = pl.DataFrame(plan["faults"]).group_by("file").agg(pl.col("rows").sum())
    assert lines.sort("file").rows() == faults.sort("file").rows()
    assert aside.filter(~pl.col("reason").str.ends_with(".") | (pl.col("rule") == "")).is_empty()
    columns = {(fault["file"], fault["column"] or None) for fault in plan["faults"]}
    assert columns <= set(aside.select("file", "column").iter_rows())


@pytest.mark.parametrize("table", [*PROMISED, *FIGURES])
def test_every_promised_table_is_there_three_times_with_its_columns(sample, con, table):
    """Store, Parquet and CSV hold the promised columns, in order, and the same rows."""
    folder = sample[0] / "published" / "data"
    stored = con.sql(f'from "{table}"').pl()
    promised = PROMISED.get(table) or SLICES + FIGURES[table]
    assert [name for name in stored.columns if name in promised] == promised
    if table not in PROMISED:
        assert stored.columns[: len(SLICES)] == SLICES
        assert "thin" in stored.columns
    assert stored.height > 0
    assert pl.read_parquet(folder / f"{table}.parquet").equals(stored)
    text = pl.read_csv(folder / f"{table}.csv", infer_schema=False)
    text = text.with_columns(pl.all().replace("", None))
    assert text.columns == stored.columns
    # A number may be written in more than one way.
    numbers = [name for name, kind in stored.schema.items() if kind == pl.Float64]
    as_numbers = pl.col(numbers).cast(pl.Float64)
    assert text.with_columns(as_numbers).equals(_as_csv_says(con, table).with_columns(as_numbers))


def _as_csv_says(con, table: str) -> pl.DataFrame:
    """The stored table as text: lists joined, formulas made harmless, empty text as nothing."""
    told = con.sql(f'select columns(*)::varchar from "{table}"').pl()
    for name, kind in con.sql(f'from "{table}"').pl().schema.items():
        if kind == pl.List(pl.String):
            joined = con.sql(f"select array_to_string({name}, '; ') as v from \"{table}\"").pl()
            told = told.with_columns(joined["v"].alias(name))
        elif kind.is_nested():
            told = told.with_columns(
                con.sql(f'select to_json("{name}")::varchar as "{name}" from "{table}"').pl()[name]
            )
        elif kind == pl.String:
            formula = pl.col(name).str.contains(r"^[=+\-@\t\r]")
            told = told.with_columns(
                pl.when(formula).then("'" + pl.col(name)).otherwise(pl.col(name)).alias(name)
            )
    return told.with_columns(pl.all().replace("", None))


def test_money_is_exact_and_consistent_in_every_decision(con):
    """What is payable never exceeds what is claimed, and an unpayable verdict pays nothing."""
    rows = con.sql("from decisions").pl()
    for line in ("parts", "labor", "travel"):
        assert rows.schema[f"{line}_payable"] == pl.Decimal(18, 2)
        over = pl.col(f"{line}_payable") > pl.col(f"{line}_claimed")
        assert rows.filter(over).is_empty()
        unpaid = rows.filter(pl.col("verdict") == "not_covered")[f"{line}_payable"]
        assert unpaid.sum() == 0
    assert rows.height == con.sql("select count(*) from findings").fetchall()[0][0] / 20


def test_the_exports_are_not_touched(sample):
    """Every export of the workspace is the committed one, byte for byte."""
    committed = {p: e.read_bytes() for p, e in sample_data.workspace_files().items()}
    assert {p for p, b in committed.items() if (sample[0] / p).read_bytes() != b} == set()
    found = {str(p.relative_to(sample[0])) for p in (sample[0] / "exports").rglob("*.csv")}
    assert found == {path for path in committed if path.startswith("exports/")}


def test_a_second_refresh_of_the_sample_changes_nothing(sample, run, tools, tmp_path):
    """Nothing is new: the same summary, and every file of the workspace is the same."""
    folder = shutil.copytree(sample[0], tmp_path / "workspace")  # others read the sample meanwhile
    before = tools["hashes"](folder)
    call = run("refresh", folder, "--as-of", sample_data.AS_OF, "--json")
    assert "Nothing is new" in call.err
    there = {"seconds": 0, "pages": ""}
    assert call.json | there == sample[1].json | there
    assert call.json["pages"].startswith(str(folder))
    assert tools["hashes"](folder) == before


def test_the_morning_page_tells_the_changes_of_its_own_refresh(sample):
    """After a first refresh each claim with a page is told as new, as many as there are pages."""
    page = (sample[0] / "published" / "index.html").read_text(encoding="utf-8")
    pages = len(list((sample[0] / "published" / "claims").glob("*.html")))
    assert pages > 100
    assert f"{pages} claims are new." in page


def test_no_page_loads_anything_from_the_network(sample):
    """Nothing that a browser would fetch is outside the folder, and a policy says so."""
    folder = sample[0] / "published"
    pages = sorted(folder.rglob("*.html"))
    assert len(pages) > 100
    for page in pages:
        text = page.read_text()
        assert not FETCHED.search(text), page.name
        assert "default-src 'none'" in text, page.name
        for link in re.findall(r'(?:src|href)="([^"#?:]+)"', text):
            assert (page.parent / link).resolve().is_relative_to(folder.resolve()), link
            assert (page.parent / link).exists(), f"{page.name}: {link}"
    for script in (folder / "assets").iterdir():
        if script.name != "vega-bundle.js":  # a library; the pages' policy keeps it from fetching
            assert not FETCHED.search(script.read_text()), script.name


def test_the_chart_library_is_there_once(sample):
    """One shared copy, which pages link to."""
    bundles = [p for p in (sample[0] / "published").rglob("*") if "vega-bundle" in p.name]
    assert len(bundles) == 1
    heavy = [
        p for p in (sample[0] / "published").rglob("*.html") if b"vegaEmbed=" in p.read_bytes()
    ]
    assert heavy == []


def test_nothing_fetches_is_a_test_that_can_fail():
    """The pattern of the test above does find what it must."""
    for text in (
        '<script src="https://x.test/a.js">',
        "<img src=//x.test/a.png>",
        "body { background: url('http://x.test/a') }",
        'fetch("https://x.test")',
        '@import "https://x.test/a.css"',
    ):
        assert FETCHED.search(text), text
    assert not FETCHED.search('<a href="claims/a.html">http://x.test</a>')
