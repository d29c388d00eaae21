"""Aliases come last, are compared loosely and are applied once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from pipelines.exports.text_rows import read_rows
from pipelines.records.aliases import aliases_of, meant
from pipelines.records.feed_file import parse_file
from pipelines.records.mapping import Mapping, read_mapping
from pipelines.records.serving import Mappings

ALIASES = pl.DataFrame(
    [
        ("agency", "North  Kitchens", "NORTH"),
        ("product", "softener", "SOFT"),
        ("site", "A", "B"),
        ("site", "B", "C"),
        ("cause", "limed up", "SCALED"),
        ("seller", "direct", "MAKER"),
        ("model", "force six", "FR-6"),
        ("region", "new mexico", "US-NM"),
    ],
    schema=["kind", "written", "means"],
    orient="row",
)


@pytest.mark.parametrize(
    ("feed", "columns"),
    [
        ("units", {"site", "model", "region"}),
        ("startups", {"agency", "treatment_product"}),
        ("water_tests", {"site"}),
        ("treatment_purchases", {"product", "site", "seller"}),
        ("service_calls", {"agency", "product", "cause"}),
        ("rulings", set()),
    ],
)
def test_a_kind_goes_for_its_columns_of_every_feed(feed: str, columns: set[str]):
    """A product is meant in two columns; no feed has a column of another kind."""
    assert set(aliases_of(feed, ALIASES)) == columns


@pytest.mark.parametrize("text", ["north kitchens", " NORTH \t KITCHENS ", "North  Kitchens"])
def test_case_and_spaces_make_no_difference(text: str):
    """Case, spaces at the ends and their number inside; nothing else."""
    words = aliases_of("startups", ALIASES)["agency"]
    frame = pl.DataFrame({"text": [text, "North-Kitchens", None]})
    assert frame.select(meant(pl.col("text"), words))["text"].to_list() == [
        "NORTH",
        "North-Kitchens",
        None,
    ]


def test_an_alias_is_never_chained():
    """A means B and B means C, yet A is not C."""
    words = aliases_of("units", ALIASES)["site"]
    assert pl.DataFrame({"t": ["A", "b"]}).select(meant(pl.col("t"), words))["t"].to_list() == [
        "B",
        "C",
    ]


def test_aliases_come_after_steps_and_translations(tmp_path: Path):
    """A cell goes through its steps, then the mapping's translations, then the aliases."""
    path = tmp_path / "units.csv"
    path.write_text("serial,model,shipped_on,site\n1,f6!,2024-01-02,x1\n2,FORCE SIX,2024-01-02,a\n")
    mapping = read_mapping(
        "units",
        "mappings/units.toml",
        {"transforms": {"model": [{"remove": ["!"]}]}, "values": {"model": {"F6": "Force Six"}}},
    )
    mapping = replace(mapping, aliases=aliases_of("units", ALIASES))
    rows = parse_file("units", read_rows(path), mapping, "America/Denver").rows
    assert rows.select("model", "site").rows() == [("FR-6", "x1"), ("FR-6", "B")]


def test_every_mapping_of_a_workspace_has_the_aliases():
    """Named ones, and the plain ones of feeds without a mapping; rereading follows a change."""
    named = read_mapping("startups", "mappings/s.toml", {"feed": "startups", "files": ["s*.csv"]})
    mappings = Mappings.of_workspace([named], ALIASES)
    served = mappings.serving("s1.csv", "units")
    words = {feed: one.aliases for feed, (one,) in served.items()}
    assert words == {feed: aliases_of(feed, ALIASES) for feed in ("startups", "units")}
    assert mappings["units"].fingerprint != Mapping.plain("units").fingerprint
    assert mappings["rulings"].fingerprint == Mapping.plain("rulings").fingerprint
