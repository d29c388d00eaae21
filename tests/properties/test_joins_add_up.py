"""Random files joined under random mappings: rows end once, sums are those of a slow hand."""

from __future__ import annotations

import tempfile
from collections import Counter
from decimal import Decimal
from pathlib import Path

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.exports import read_rows
from pipelines.records.accounting import ENDS, account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.join_ends import settle
from pipelines.records.join_entries import Join, Made
from pipelines.records.joining import Source, join_files
from pipelines.records.left_out import CellTest, LeaveOut
from pipelines.records.mapping import Mapping
from pipelines.records.row_cells import Place
from pipelines.records.serving import Mappings
from pipelines.records.steps import Step
from tests.drawn import examples

REFERENCES = References(pl.Series(["SK-2"]), pl.Series(["CLEAR"]), pl.Series(["SCALE"]))
HEADS = {
    "orders": "call,serial,kind,opened_on",
    "claims": "Order,Claim,Status",
    "lines": "Claim,Type,Amount",
}
_KEYS = st.sampled_from(["1", "01", "2", "3", "", "a", "A"])
_ROWS = {
    "orders": st.tuples(
        _KEYS,
        st.sampled_from(["A1;B2", "A1", "", ";"]),
        st.sampled_from(["repair", "delime"]),
        st.sampled_from(["2025-01-01", "soon"]),
    ),
    "claims": st.tuples(
        _KEYS, st.sampled_from(["C1", "c1", "C2", ""]), st.sampled_from(["open", "withdrawn"])
    ),
    "lines": st.tuples(
        st.sampled_from(["C1", "c1 ", "C2", "C9", ""]),
        st.sampled_from(["MAT", "mat", "LAB", "TXT"]),
        st.sampled_from(["1.10", "-0.30", "7", "", "x", "1,234"]),
    ),
}
_FILES = {
    name: st.lists(st.lists(rows.map(",".join), max_size=6), min_size=1, max_size=2)
    for name, rows in _ROWS.items()
}
_LEFT = st.sampled_from(
    [
        (),
        (LeaveOut("withdrawn", (CellTest("claim\0Status", is_=("withdrawn",)),)),),
        (LeaveOut("delimed", (CellTest("kind", is_=("delime",)),)),),
        (LeaveOut("dear", (CellTest("line\0amount", above=1.0),)),),
    ]
)
_SPLITS = st.sampled_from([{}, {"serial": (Step("split", (";",)),)}])


def mapping(left, splits, steps, out):
    """A mapping of orders with their claims and the claims' lines."""
    columns = {"claim": "claim\0Claim", "parts_amount": "line\0amount", "notes": "claim\0Status"}
    if splits:
        columns |= {"call": "#part"}
    return Mapping(
        "service_calls",
        "mappings/x.toml",
        columns=columns,
        transforms=splits,
        leave_out=left,
        joins=(
            Join("claim", ("claims*",), (("call", "Order"),), steps),
            Join(
                "line",
                ("lines*",),
                (("claim\0Claim", "Claim"),),
                made=(Made("amount", "Amount", (("Type", ("MAT", "LAB")),), True),),
                leave_out=out,
            ),
        ),
    )


_MAPPINGS = st.builds(
    mapping,
    _LEFT,
    _SPLITS,
    st.sampled_from([(), (Step("strip_zeros", True),)]),
    st.sampled_from([(), (LeaveOut("texts", (CellTest("Type", is_=("txt",)),)),)]),
)


def sources(kind, files):
    """Files of one kind as read."""
    told = []
    with tempfile.TemporaryDirectory() as folder:
        for number, rows in enumerate(files):
            path = Path(folder) / f"{kind}{number}.csv"
            path.write_text("\n".join([HEADS[kind], *rows]) + "\n", encoding="utf-8")
            told.append(Source(Place(path.name), read_rows(path)))
    return told


def joined(one, files):
    """Records and accounts, and what became of each joined file."""
    firsts, *others = (sources(kind, files[kind]) for kind in HEADS)
    found = join_files(one, firsts, others)
    parsed = {
        source.place.file: parse_file(
            "service_calls", reading, one, "UTC", source.place, found.not_joined[number]
        )
        for number, (source, reading) in enumerate(zip(firsts, found.readings, strict=True))
    }
    ends = {
        source.place.file: (
            source.reading.rows_read,
            settle(one, [(join, number, source.reading)], found.ends),
        )
        for join, of_join in enumerate(others)
        for number, source in enumerate(of_join)
    }
    done = account("service_calls", *gather({n: (None, p) for n, p in parsed.items()}), REFERENCES)
    return done, ends


@settings(max_examples=examples(80))
@given(one=_MAPPINGS, files=st.fixed_dictionaries(_FILES))
def test_every_row_of_every_file_ends_once(one, files):
    """Own rows and joined rows; a row set aside has a reason, and no other row has one."""
    done, ends = joined(one, files)
    total = pl.sum_horizontal(ENDS)
    assert done.accounts.filter(total != pl.col("rows_read") + pl.col("rows_split")).is_empty()
    assert done.accounts["rows_read"].sum() == sum(map(len, files["orders"]))
    for rows_read, told in ends.values():
        aside = told.set_aside["line"].n_unique()
        assert rows_read == told.joined + told.duplicates + told.left_out.height + aside
        assert not set(told.set_aside["line"]) & set(told.left_out["line"])


@settings(max_examples=examples(80))
@given(files=st.fixed_dictionaries(_FILES))
def test_sums_and_ends_are_those_of_a_slow_hand(files):
    """One line of a claim after the other, with the numbers as they are written."""
    one = mapping((), {}, (), ())
    done, ends = joined(one, files)
    claims: dict[str, list[tuple[str, ...]]] = {}
    for row in (row for rows in files["claims"] for row in rows):
        order, *rest = row.split(",")
        if order:
            claims.setdefault(order.lower(), []).append((order, *rest))
    orders = [row.split(",") for rows in files["orders"] for row in rows]
    wanted = {order[0].lower() for order in orders if order[0]}
    found = {key: rows for key, rows in claims.items() if key in wanted}
    counts = Counter[str]()
    numbers = set()
    for rows in found.values():
        differ = len(set(rows)) > 1
        counts["aside"] += len(rows) if differ else 0
        counts["joined"] += not differ
        counts["duplicates"] += 0 if differ else len(rows) - 1
        if len({row[1] for row in rows}) == 1 and rows[0][1]:
            numbers.add(rows[0][1].lower())
    of_claims = [told for name, (_, told) in ends.items() if name.startswith("claims")]
    assert sum(told.joined for told in of_claims) == counts["joined"]
    assert sum(told.duplicates for told in of_claims) == counts["duplicates"]
    rules = Counter(rule for told in of_claims for rule in told.set_aside["rule"])
    assert rules["joins_several"] == counts["aside"]
    # A row with a field too many is set aside as it is read, and in no sum.
    lines = [row.split(",") for rows in files["lines"] for row in rows if row.count(",") == 2]
    sums: dict[str, Decimal] = {}
    bad = set()
    for claim, kind, amount in lines:
        key = claim.strip().lower()
        if key not in numbers:
            continue
        sums.setdefault(key, Decimal(0))
        if kind.upper() in ("MAT", "LAB"):
            if amount == "x":
                bad.add(key)
            elif amount:
                sums[key] += Decimal(amount)
    for record in done.records.iter_rows(named=True):
        key = (record["claim"] or "").lower()
        assert key not in bad
        assert record["parts_amount"] == sums.get(key)


@settings(max_examples=examples(40))
@given(one=_MAPPINGS, files=st.fixed_dictionaries(_FILES), data=st.data())
def test_the_order_of_joined_rows_changes_nothing(one, files, data):
    """Sums do not know it, and copies are copies."""
    mixed = {
        kind: rows if kind == "orders" else [data.draw(st.permutations(one)) for one in rows]
        for kind, rows in files.items()
    }
    first, ends = joined(one, files)
    again, others = joined(one, mixed)
    assert again.records.equals(first.records)
    assert again.accounts.equals(first.accounts)
    for name, (_, told) in ends.items():
        other = others[name][1]
        assert (told.joined, told.duplicates) == (other.joined, other.duplicates)
        assert sorted(told.set_aside["rule"]) == sorted(other.set_aside["rule"])


_NAMES = st.sampled_from(
    ["units/a.csv", "units.csv", "old/a 2025-01-02.csv", "claims.csv", "b.csv"]
)
_SERVING = st.lists(
    st.builds(
        lambda feed, number, files, joins: Mapping(
            feed,
            f"mappings/{number}.toml",
            files=files,
            joins=(Join("j", joins, (("a", "b"),)),) if joins else (),
        ),
        st.sampled_from(["units", "service_calls"]),
        st.integers(0, 9),
        st.sampled_from([("*.csv",), ("**/a*",), ("claims*",)]),
        st.sampled_from([(), ("b*",), ("units*",)]),
    ),
    max_size=4,
    unique_by=lambda one: one.name,
)


@settings(max_examples=examples(80))
@given(mappings=_SERVING, path=_NAMES, own=st.sampled_from([None, "units"]), data=st.data())
def test_the_order_of_mappings_changes_nothing(mappings, path, own, data):
    """Who serves a file, who joins it, and whether anybody names it."""

    def told(order):
        found = Mappings(tuple(order))
        serving = found.serving(path, own)
        return (
            {feed: sorted(one.name for one in of_feed) for feed, of_feed in serving.items()},
            sorted((one.name, number) for one, number in found.joining(path)),
            found.names(path),
        )

    serving, joining, named = told(mappings)
    assert (serving, joining, named) == told(data.draw(st.permutations(mappings)))
    for name, _ in joining:
        assert all(name not in of_feed for of_feed in serving.values())
