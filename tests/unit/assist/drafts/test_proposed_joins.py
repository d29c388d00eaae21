"""Drafts of joins: exports that are tied by their keys, commented out for a person."""

from __future__ import annotations

import re

import pytest

from pipelines.assist.drafts.drafting import Source, beside, draft_file
from pipelines.assist.drafts.files import found_tables
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.writing import parsed
from pipelines.exports.limits import Limits
from pipelines.records.mapping_checks import faults_of

MANY = range(1, 13)  # with orders 4101 to 4112
ORDERS = "Service Order,Serial No,Type,Opened,Problem\n" + "".join(
    f"{4100 + n:08d},S{n % 4}000,repair,2024-03-{n:02d},no steam\n" for n in MANY
)
HEADS = "Claim No,Order Ref,Submitted\n" + "".join(
    f"CL-{n:03d},{4100 + n},2024-04-{n:02d}\n" for n in MANY
)
LINES = "Claim No,Item,Kind,Net\n" + "".join(
    f"CL-{n:03d},{item},{kind},{n}.{item}0\n"
    for n in MANY
    for item, kind in ((1, "MAT"), (2, "LAB"))
)
OWNERS = "Serial,Owner Since\n" + "".join(f"S{n}000,2024-03-01\n" for n in range(4))


@pytest.fixture
def blocks(tmp_path):
    """The text of a draft of calls beside other exports, and its blocks of joins, uncommented."""

    def draft(text: str, **others: str):
        def tables(name: str, content: str):
            path = tmp_path / f"{name}.csv"
            path.write_text(content, encoding="utf-8")
            return found_tables(path, Limits())

        near = [
            one
            for name, told in others.items()
            for one in beside(f"erp/{name}.csv", tables(name, told))
        ]
        made = draft_file(
            Source("orders.csv"), tables("orders", text), Known(), "service_calls", near
        )
        toml = made.drafts[0].toml
        joins = re.findall(r"^# \[\[join\]\]\n(?:# [a-z_]+ = .*\n)+", toml, re.M)
        bare = "".join(re.sub(r"^# ", "", one, flags=re.M) for one in joins)
        return toml, parsed(bare).get("join", [])

    return draft


def test_header_and_lines_are_tied_by_their_keys(blocks):
    """The header by an order that lost its zeros, the lines by the header's claim; none applied."""
    toml, joins = blocks(ORDERS, heads_2024=HEADS, lines_2024=LINES)
    assert "join" not in parsed(toml)
    assert joins == [
        {
            "name": "heads",
            "files": ["erp/heads_*.csv"],
            "on": {"Service Order": "Order Ref"},
            "on_steps": [{"strip_zeros": True}],
        },
        {
            "name": "lines",
            "files": ["erp/lines_*.csv"],
            "on": {"heads.Claim No": "Claim No"},
            "sum": {"net": {"header": "Net"}},
            "first": {"item": {"header": "Item"}, "kind": {"header": "Kind"}},
        },
    ]
    assert "12 of 12 values of Order Ref in heads_2024.csv stand in Service Order" in toml
    assert [*faults_of("service_calls", {**parsed(toml), "join": joins})] == []


def test_what_many_rows_share_and_what_is_elsewhere_ties_nothing(blocks):
    """A serial names many calls; keys of which one in six is not here are of something else."""
    assert blocks(ORDERS, owners=OWNERS)[1] == []
    foreign = HEADS.replace(",4101,", ",9101,").replace(",4102,", ",9102,")
    assert blocks(ORDERS, heads=foreign)[1] == []
    assert len(blocks(ORDERS, heads=HEADS)[1]) == 1
    assert blocks(ORDERS)[1] == []


def test_lines_with_decimal_commas_say_so(blocks):
    """The orders have no number that would tell it, and sums are read by the join's own mark."""
    commas = "Claim No;Item;Kind;Net\n" + "".join(
        f"CL-{n:03d};{item};MAT;{n}.234,{item}0\n" for n in MANY for item in (1, 2)
    )
    _, joins = blocks(ORDERS, heads=HEADS, lines=commas)
    assert [join.get("decimal") for join in joins] == [None, ","]
    _, joins = blocks(ORDERS, heads=HEADS, lines=LINES)
    assert [join.get("decimal") for join in joins] == [None, None]
