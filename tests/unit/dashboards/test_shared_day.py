"""Claim pages refer to one file for the as-of day, and are not made again for the day alone."""

import datetime as dt
import json
from dataclasses import replace

import polars as pl
import pytest

from dashboards.shared_day import NEXT, SharedDay, filled, referring, script, words_of
from dashboards.site import build_site

DAY = dt.date(2026, 3, 9)
LATER = DAY + dt.timedelta(days=1)


@pytest.fixture
def published(sample, tmp_path):
    """The sample's pages as of a day, and as of the next one with the first ones at hand."""
    data = replace(sample.page_data(3), as_of=DAY)
    claims = data.decisions["claim"].to_list()
    build_site(data, tmp_path / "one", claims)
    build_site(replace(data, as_of=LATER), tmp_path / "two", claims, last=tmp_path / "one")
    build_site(replace(data, as_of=LATER), tmp_path / "whole", claims)
    return tmp_path


def contents(folder):
    """Every file below a folder by its path, at least one."""
    files = {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    assert files
    return files


def test_a_later_day_alone_makes_no_claim_page_again(published):
    """The pages of claims are the very files of the day before; what else tells the day is new."""
    pages = sorted((published / "two" / "claims").iterdir())
    assert len(pages) == 3
    for page in pages:
        assert page.samefile(published / "one" / "claims" / page.name)
    assert '"2026-03-10"' in (published / "two" / "assets" / "day.js").read_text()
    assert "10 March 2026" in (published / "two" / "index.html").read_text()


def test_pages_taken_are_those_that_would_be_made(published):
    """With and without the last pages at hand every file is the same, to the byte."""
    assert contents(published / "two") == contents(published / "whole")


def test_what_was_changed_by_hand_or_in_content_is_made_again(sample, published, tmp_path):
    """Neither a page that somebody altered nor one of a changed claim is taken over."""
    data = replace(sample.page_data(3), as_of=LATER)
    claims = data.decisions["claim"].to_list()
    altered, changed, *_ = sorted((published / "two" / "claims").iterdir())
    altered.unlink()  # the name alone: the file of the day before stays as it is
    altered.write_text("by hand", encoding="utf-8")
    name = next(c for c in claims if f"Claim {c}<" in changed.read_text(encoding="utf-8"))
    other = data.decisions.with_columns(
        model=pl.when(pl.col("claim") == name).then(pl.lit("OTHER")).otherwise("model")
    )
    build_site(replace(data, decisions=other), tmp_path / "three", claims, last=published / "two")
    again = tmp_path / "three" / "claims"
    assert (again / altered.name).read_bytes() == (
        published / "whole/claims" / altered.name
    ).read_bytes()
    assert "OTHER" in (again / changed.name).read_text(encoding="utf-8")


def test_a_page_states_no_day_but_where_to_find_it(published):
    """Without script a page refers to the Morning page, which states its day."""
    for page in (published / "one" / "claims").iterdir():
        text = page.read_text(encoding="utf-8")
        assert DAY.isoformat() not in text
        assert "9 March 2026" not in text
        assert '<a href="../index.html">Morning page</a> states' in text
        assert "9 March 2026" in filled(text, DAY)
    assert "9 March 2026" in (published / "one" / "index.html").read_text(encoding="utf-8")


def test_only_what_is_said_as_of_the_day_refers_to_it():
    """Other days, the same day said otherwise, and tags stay as they are."""
    html = '<p title="as of 2026-03-09">as of 2026-03-09; seen 2026-03-09, as of 2026-03-090</p>'
    told = referring(html, SharedDay.of(DAY))
    assert told.startswith('<p title="as of 2026-03-09">as of <span data-day="iso">')
    assert told.endswith("</span>; seen 2026-03-09, as of 2026-03-090</p>")
    assert filled(told, DAY) == html
    assert referring(html, DAY) == html


def test_the_file_tells_the_day_in_every_spelling():
    """The day, its words, and the day after, by which a chart ends what goes on."""
    told = json.loads(script(DAY).removeprefix("window.limeledgerDay = ").removesuffix(";\n"))
    assert told == words_of(DAY) | {"next": "2026-03-10T00:00:00"}
    assert filled(f'["{NEXT}"]', DAY) == '["2026-03-10T00:00:00"]'
