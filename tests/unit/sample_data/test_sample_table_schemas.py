"""The sample's plain exports, judged by the Frictionless library against our Table Schemas."""

from __future__ import annotations

import codecs
from pathlib import Path

import frictionless
import polars as pl
import pytest

from pipelines.exports import read_rows
from pipelines.records.accounting import account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.mapping import Mapping
from schemas.codes import FEEDS
from schemas.dictionary import data_package
from schemas.feeds import FEED_TABLES

SAMPLE = Path(__file__).parents[3] / "sample_data" / "workspace"
MAPPED = {path.stem for path in (SAMPLE / "mappings").glob("*.toml")}
MARK = codecs.BOM_UTF8
PLAIN = [feed for feed in FEEDS if feed not in MAPPED]


def first_files(feed: str) -> list[str]:
    """Up to three exports of a feed in UTF-8 under the feed's own names."""
    found = [*(SAMPLE / "exports" / feed).glob("*.csv"), *(SAMPLE / "exports").glob(f"{feed}*.csv")]
    head = ",".join(FEED_TABLES[feed].to_schema().columns)
    plain = [
        p for p in sorted(found) if p.read_bytes().startswith((head.encode(), MARK + head.encode()))
    ]
    return [str(path.relative_to(SAMPLE)) for path in plain][:3]


def lines_not_records(feed: str, path: Path) -> tuple[set[int], set[int]]:
    """By our own account, the lines beaten by others of their key, and those set aside."""
    parsed = parse_file(feed, read_rows(path), Mapping.plain(feed), "America/Denver")
    names = ("models", "treatments", "causes")
    frames = [pl.read_csv(SAMPLE / "reference" / f"{n}.csv", infer_schema=False) for n in names]
    done = account(feed, *gather({path.name: (None, parsed)}), References.of(*frames))
    beaten = done.fates.filter(pl.col("fate") != "record")["line"]
    return set(beaten), set(done.set_aside["line"])


@pytest.mark.parametrize("feed", PLAIN)
def test_plain_exports_fit_the_descriptor(feed: str) -> None:
    """What the library faults (a planted fault, a repeated key) is no record by our account."""
    paths = first_files(feed)
    assert paths
    descriptor = data_package("sample", FEED_TABLES, {feed: paths})
    for path in paths:
        schema = frictionless.Schema.from_descriptor(descriptor["resources"][0]["schema"])
        marked = (SAMPLE / path).read_bytes().startswith(MARK)
        resource = frictionless.Resource(
            path=path,
            basepath=str(SAMPLE),
            schema=schema,
            encoding="utf-8-sig" if marked else "utf-8",
        )
        report = resource.validate()
        told = report.flatten(["type", "rowNumber"])
        beaten, aside = lines_not_records(feed, SAMPLE / path)
        assert {row for kind, row in told if kind != "primary-key"} <= aside, path
        # The library blames the later of two rows with one key, and the account beats the earlier.
        assert sum(kind == "primary-key" for kind, _ in told) <= len(beaten | aside), path


def test_the_descriptor_finds_a_planted_fault(tmp_path: Path) -> None:
    """A word of no list, a missing key and text in a date column are errors to the library."""
    (tmp_path / "calls.csv").write_text(
        "call,claim,serial,kind,opened_on\n1,,A,repaired,2025-01-02\n,,A,repair,soon\n",
        encoding="utf-8",
    )
    schema = data_package("x", FEED_TABLES, {"service_calls": ["calls.csv"]})["resources"][0][
        "schema"
    ]
    schema["fields"] = schema["fields"][:5]
    resource = frictionless.Resource(
        path="calls.csv",
        basepath=str(tmp_path),
        schema=frictionless.Schema.from_descriptor(schema),
    )
    found = resource.validate().flatten(["type", "fieldName"])
    assert ["constraint-error", "kind"] in found
    assert ["constraint-error", "call"] in found
    assert ["type-error", "opened_on"] in found
