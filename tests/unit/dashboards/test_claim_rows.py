"""What stands for a claim's page moves with every row that it is made of, and with no other."""

from __future__ import annotations

from dataclasses import replace

import polars as pl
import pytest

from dashboards.pages.claim import beside, contents, contents_of
from dashboards.pages.claim_rows import claim_rows

CLAIMS = 8


@pytest.fixture(scope="module")
def rows(sample):
    """The rows of eight claims' pages."""
    data = sample.page_data(CLAIMS, **sample.suggested_causes())
    claims = data.decisions["claim"].to_list()
    return claim_rows(data, claims, beside(claims))


def test_a_row_that_goes_or_says_otherwise_moves_its_claims_alone(rows) -> None:
    """Whatever the frame: by claim, by unit and by site."""
    before, tried = rows.keys(), set()
    for name, frame in {"decisions": rows.decisions, **rows.frames}.items():
        if frame.is_empty():
            continue
        key, text = (
            frame.columns[0],
            next(n for n in frame.columns[1:] if frame[n].dtype == pl.String),
        )
        place = pl.int_range(pl.len()) == 0
        other = frame.with_columns(pl.when(place).then(pl.lit("other")).otherwise(text).alias(text))
        of_it = rows.decisions.filter(pl.col(key) == frame[key][0])["claim"].to_list()
        if name == "decisions":
            moved = [replace(rows, decisions=other)]
        else:
            moved = [
                replace(rows, frames={**rows.frames, name: one}) for one in (other, frame.tail(-1))
            ]
        for one in moved:
            now = one.keys()
            assert [claim for claim in before if now[claim] != before[claim]] == of_it, name
        tried.add(name)
    assert len(tried) > 12


def test_what_all_pages_share_moves_all(rows) -> None:
    """A currency, or the name of a region."""
    assert len(rows.of_all) == 4
    for name in rows.of_all:
        now = replace(rows, of_all={**rows.of_all, name: "other"}).keys()
        assert not {*now.values()} & {*rows.keys().values()}


def test_the_page_of_a_claim_beside_gone_moves_its_neighbours(sample, rows) -> None:
    """The same rows, but one page less to lead to: whoever names that claim is made again."""
    data = sample.page_data(CLAIMS, **sample.suggested_causes())
    claims = data.decisions["claim"].to_list()
    gone = next(row["claim"] for row in rows.frames["of_site"].iter_rows(named=True) if row["href"])
    fewer = claim_rows(data, claims, beside([claim for claim in claims if claim != gone]))
    site = data.decisions.filter(claim=gone)["site"].item()
    of_site = data.decisions.filter(site=site)["claim"].to_list()
    before, now = rows.keys(), fewer.keys()
    assert {claim for claim in claims if now[claim] != before[claim]} >= {*of_site}


def test_some_claims_alone_have_the_content_that_they_have_among_all(sample, rows) -> None:
    """Rows of others lead to nothing else."""
    data = sample.page_data(CLAIMS, **sample.suggested_causes())
    claims = data.decisions["claim"].to_list()
    chosen = claims[2:5]
    among_all = {one["claim"]: one for one in contents(data, claims)}
    alone = list(contents_of(rows.only(chosen)))
    assert alone == [among_all[claim] for claim in chosen]
