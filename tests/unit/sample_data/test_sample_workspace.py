"""The committed sample: it is what the generator writes, and holds what it says it holds."""

import csv
import datetime as dt
import io
import tomllib
from importlib.resources import files

import polars as pl
import pytest

import sample_data
from sample_data import lay_out, workspace_files
from sample_data.generate import generate, main
from sample_data.planted import FATES
from schemas.codes import FEEDS

MOST_BYTES = 6_000_000
TERMS_DAY = dt.date(2026, 9, 30)


@pytest.fixture(scope="module")
def fresh(tmp_path_factory):
    """A fresh generation: its folder and the text of planted.toml."""
    folder = tmp_path_factory.mktemp("sample") / "workspace"
    return folder, generate(folder)


@pytest.fixture(scope="module")
def planted():
    """The committed planted.toml."""
    return tomllib.loads((files("sample_data") / "planted.toml").read_text("utf-8"))


@pytest.fixture(scope="module")
def committed():
    """The committed workspace: path and bytes."""
    return {path: entry.read_bytes() for path, entry in workspace_files().items()}


def test_committed_sample_is_what_the_generator_writes(fresh, committed):
    """Every committed file equals a fresh generation byte for byte, and there is no other."""
    folder, _ = fresh
    written = {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }
    assert sorted(written) == sorted(committed)
    assert [path for path in written if written[path] != committed[path]] == []


def test_committed_plan_is_what_the_generator_tells(fresh):
    """planted.toml equals what a fresh generation returns."""
    assert (files("sample_data") / "planted.toml").read_text("utf-8") == fresh[1]


def test_another_seed_gives_other_exports_of_the_same_shape(tmp_path, committed):
    """A seed changes the exports but neither settings, terms nor reference files."""
    generate(tmp_path / "other", seed=5)
    same = (tmp_path / "other" / "reference" / "models.csv").read_bytes()
    assert same == committed["reference/models.csv"]
    path = "exports/service_calls/calls_2025-06-30.csv"
    assert (tmp_path / "other" / path).read_bytes() != committed[path]


def test_sample_is_small(committed):
    """The whole workspace stays within six megabytes."""
    assert sum(map(len, committed.values())) <= MOST_BYTES


def test_every_feed_comes_in_several_files(committed):
    """Every feed has at least four files each, with a date in every name."""
    exports = [path.removeprefix("exports/") for path in committed if path.startswith("exports/")]
    feeds = FEEDS
    for feed in feeds:
        mine = [path for path in exports if path.startswith(feed)]
        assert len(mine) >= 4
        assert all("20" in path for path in mine)
    assert all(path.startswith(feeds) for path in exports)


def test_counts_are_about_as_promised(planted):
    """About 2,500 units, 7,000 calls and a hundred rulings or more."""
    accounts = planted["accounts"]
    assert accounts["units"]["records"] == 2_500
    assert 6_500 <= accounts["service_calls"]["records"] <= 7_500
    assert accounts["rulings"]["records"] >= 100
    assert accounts["startups"]["records"] >= 2_000
    assert accounts["water_tests"]["records"] >= 1_700
    assert accounts["treatment_purchases"]["records"] >= 2_000


def test_accounts_add_up(planted):
    """Per file and per feed the four fates add up to the rows read."""
    assert len(planted["accounts"]) == len(FEEDS)
    for account in planted["accounts"].values():
        for part in (account, *account["files"].values()):
            assert sum(part[fate] for fate in FATES) == part["rows_read"]
        for name in ("rows_read", *FATES):
            assert account[name] == sum(file[name] for file in account["files"].values())


def test_rows_read_are_the_rows_in_the_files(planted, committed):
    """The standard library counts as many rows in each file as the account gives it."""
    encodings = {"units": ("utf-8-sig", ","), "startups": ("cp1252", ";")}
    assert len(planted["accounts"]) == len(FEEDS)
    for feed, account in planted["accounts"].items():
        encoding, delimiter = encodings.get(feed, ("utf-8", ","))
        for file, counts in account["files"].items():
            text = committed[f"exports/{file}"].decode(encoding)
            text = text.replace("\0", "")  # planted, and no matter for the number of rows
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
            assert len(rows) - 1 == counts["rows_read"], file


def test_faults_are_what_is_set_aside(planted):
    """The listed faults of a file are all that its account sets aside."""
    faults = pl.DataFrame(planted["faults"]).group_by("file").agg(pl.col("rows").sum())
    listed = dict(faults.iter_rows())
    accounts = [account["files"] for account in planted["accounts"].values()]
    aside = {f: c["set_aside"] for files_ in accounts for f, c in files_.items() if c["set_aside"]}
    assert listed == aside


def test_set_aside_stays_within_the_tolerance(planted, committed):
    """No feed sets aside more than the share that the sample's settings allow."""
    settings = tomllib.loads(committed["limeledger.toml"].decode())
    assert len(planted["accounts"]) == len(FEEDS)
    for account in planted["accounts"].values():
        assert account["set_aside"] / account["rows_read"] <= settings["set_aside_tolerance"]


def test_every_kind_of_row_occurs(planted):
    """There are superseded rows, duplicates, late files and every promised kind of fault."""
    accounts = planted["accounts"]
    assert accounts["units"]["superseded"] > 500
    assert accounts["service_calls"]["superseded"] > 500
    assert accounts["service_calls"]["duplicates"] > 100
    kinds = {fault["kind"] for fault in planted["faults"]}
    assert kinds >= {
        "impossible_date",
        "ambiguous_thousands",
        "unknown_model",
        "missing_value",
        "claim_on_wrong_kind",
        "second_repair_call",
    }
    assert {quirk["kind"] for quirk in planted["quirks"]} >= {
        "letter_for_zero",
        "same_failure_claimed_twice",
        "installed_before_shipped",
    }


def test_terms_have_three_editions_with_overrides(committed):
    """Three dated editions, an override for Linn, and one edition that switches a condition off."""
    terms = [tomllib.loads(committed[p].decode()) for p in committed if p.startswith("terms/")]
    days = [edition["effective_from"] for edition in terms]
    assert len(set(days)) == 3
    assert max(days) < TERMS_DAY
    assert all("Linn" in edition["family"] for edition in terms)
    assert sum("conditions_off" in edition for edition in terms) == 1


def test_agencies_end_and_open_again(committed):
    """About two dozen agencies; some authorizations ended, some of those were taken up again."""
    table = pl.read_csv(committed["reference/agencies.csv"])
    periods = table.group_by("agency").agg(
        pl.len(), pl.col("authorized_until").is_null().any().alias("open")
    )
    assert 20 <= periods.height <= 30
    assert periods.filter(pl.col("len") > 1).height >= 2
    assert periods.filter(~pl.col("open")).height >= 2


def test_lay_out_writes_the_workspace(tmp_path, committed):
    """`lay_out` writes every committed file into a folder that did not exist."""
    lay_out(tmp_path / "new")
    written = [p for p in (tmp_path / "new").rglob("*") if p.is_file()]
    assert len(written) == len(committed)
    assert (tmp_path / "new/limeledger.toml").read_bytes() == committed["limeledger.toml"]


def test_as_of_is_the_last_day_of_the_exports(planted, committed):
    """The default as-of date is the latest date in the names of the exports."""
    names = " ".join(path for path in committed if path.startswith("exports/"))
    assert planted["as_of"] == sample_data.AS_OF
    assert str(sample_data.AS_OF) in names
    assert str(sample_data.AS_OF + dt.timedelta(days=31))[:7] not in names


def test_generator_refuses_a_folder_in_use(tmp_path, capsys):
    """The command writes nothing into a folder that holds something, and says why."""
    (tmp_path / "mine.txt").write_text("keep")
    assert main([str(tmp_path)]) == 2
    assert "is not empty" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
