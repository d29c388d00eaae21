"""Row accounts as a property: nothing is lost, no order matters, and a slow count agrees."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.exports import read_rows
from pipelines.records.accounting import account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.mapping import Mapping
from schemas.codes import FEEDS
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES
from tests.drawn import examples

REFERENCES = References(pl.Series(["M"]), pl.Series(["P"]), pl.Series(["X"]))
ENDS = ["records", "superseded", "duplicates", "set_aside"]


def parsed(feed, text, mapping=None):
    """A file of bytes or text, read and typed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "export.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        reading = read_rows(path, known_names=column_names(FEED_TABLES[feed]))
    return parse_file(feed, reading, mapping or Mapping.plain(feed), "America/Denver")


def accounted(feed, files):
    """The account of (path, date in its name, typed file), in the order given."""
    return account(feed, *gather({path: (day, file) for path, day, file in files}), REFERENCES)


def state(done):
    """All that an account says, without regard to the order in which it says it."""
    return (
        done.records.rows(),
        sorted(done.fates.rows()),
        done.set_aside.sort(pl.all()).rows(),
        done.accounts.rows(),
        done.through_date,
    )


CALLS = st.tuples(
    st.sampled_from(["1", "2", "3"]),
    st.sampled_from(["", "C1", "C1", "C2", "C3"]),
    st.sampled_from(["repair", "repair", "repair", "delime"]),
    st.sampled_from(["2024-01-01", "2024-01-02", "2024-01-03", "soon"]),
    st.sampled_from(["", "X", "Y"]),
)
FILES = st.lists(
    st.tuples(
        st.sampled_from([None, dt.date(2024, 1, 2), dt.date(2024, 2, 1)]),
        st.lists(CALLS, max_size=7),
    ),
    max_size=4,
)


def call_files(drawn):
    """Drawn files of service calls, read and typed."""
    out = []
    for number, (day, rows) in enumerate(drawn):
        lines = ["call,claim,serial,kind,opened_on,cause"]
        lines += [f"{c},{claim},S,{kind},{day},{cause}" for c, claim, kind, day, cause in rows]
        text = "\n".join(lines) + "\n"
        out.append((f"{number}/calls_{number % 2}.csv", day, parsed("service_calls", text)))
    return out


def slow_fates(drawn):
    """The fates by plain loops: rows one by one, the rules as they are written."""
    rows, aside, through = [], set(), {}
    for number, (named, calls) in enumerate(drawn):
        seen = []
        for line, row in enumerate(calls, start=2):
            _, claim, kind, day, cause = row
            place = (number, line)
            wrong_claim = claim and kind != "repair"
            if day == "soon" or cause == "Y" or wrong_claim:
                aside.add(place)
            else:
                rows.append((place, row))
                seen.append(day)
        through[number] = str(named) if named else max(seen, default="")

    def order(place):
        number, line = place
        return (through[number], f"calls_{number % 2}", number, line)

    while True:
        winners = {}
        for place, row in rows:
            if place not in aside:
                best = winners.get(row[0])
                if best is None or order(place) > order(best[0]):
                    winners[row[0]] = (place, row)
        held = {}
        for place, row in sorted(winners.values(), key=lambda w: (w[1][3], w[1][0])):
            if row[1]:
                held.setdefault(row[1], []).append(place)
        lost = {place for places in held.values() for place in places[1:]}
        if not lost:
            break
        aside |= lost
    fates = {}
    for number, (_, calls) in enumerate(drawn):
        for line, row in enumerate(calls, start=2):
            place = (number, line)
            if place in aside:
                fates[place] = "set_aside"
            elif winners[row[0]][0] == place:
                fates[place] = "record"
            else:
                again = any(
                    other == row and at not in aside and order(at) > order(place)
                    for at, other in rows
                )
                fates[place] = "duplicate" if again else "superseded"
    return fates


@settings(max_examples=examples(80), deadline=None)
@given(drawn=FILES)
def test_the_fates_of_calls_agree_with_a_slow_account(drawn):
    """Versions, duplicates and the rounds of claim numbers come out as the rules are written."""
    files = call_files(drawn)
    done = accounted("service_calls", files)
    expected = slow_fates(drawn)
    found = {
        (int(file.split("/")[0]), line): fate
        for file, line, fate in done.fates.select("file", "line", "fate").rows()
    }
    typed_only = {place: fate for place, fate in expected.items() if place in found}
    assert found == typed_only
    assert all(fate == "set_aside" for place, fate in expected.items() if place not in found)
    for file, *ends in done.accounts.select("file", *ENDS).rows():
        mine = [fate for (number, _), fate in expected.items() if number == int(file[0])]
        names = ("record", "superseded", "duplicate", "set_aside")
        assert ends == [mine.count(name) for name in names]


@settings(max_examples=examples(40), deadline=None)
@given(drawn=FILES, order=st.randoms(use_true_random=False))
def test_no_order_of_files_rows_or_batches_matters(drawn, order):
    """Shuffled files, shuffled rows and rows that were stored in batches give the same account."""
    files = call_files(drawn)
    expected = state(accounted("service_calls", files))
    order.shuffle(files)
    assert state(accounted("service_calls", files)) == expected
    rows, facts, reasons = gather({path: (day, file) for path, day, file in files})
    if rows.height:
        shuffled = rows.sample(fraction=1, shuffle=True, seed=order.randrange(1000))
        again = account("service_calls", shuffled, facts.reverse(), reasons.reverse(), REFERENCES)
        assert state(again) == expected


@settings(max_examples=examples(40), deadline=None)
@given(drawn=FILES)
def test_the_same_files_again_change_no_record(drawn):
    """A copy of every file under a later name makes duplicates and nothing else."""
    files = call_files(drawn)
    once = accounted("service_calls", files)
    copies = [(f"{path}.again.csv", day, file) for path, day, file in files]
    twice = accounted("service_calls", files + copies)
    columns = [name for name in once.records.columns if not name.startswith("source_")]
    assert twice.records.select(columns).equals(once.records.select(columns))
    assert twice.accounts["records"].sum() == once.accounts["records"].sum()


CELLS = st.sampled_from(
    ["", "A", "A-1", "2024-01-02", "31/02/2025", "1,5", "1,234", "<0.05", "ND", "yes", "repair",
     "new", "supply", "P", "M", "-1", "0", "2", "x" * 40, 'say "hi"', "a\nb", "é", "\0", "covered",
     "2024-01-02T03:04:05Z"]
)  # fmt: skip


@st.composite
def exports(draw):
    """A feed and a file of it: most columns, cells of any kind, rows cut, joined and broken."""
    feed = draw(st.sampled_from(FEEDS))
    names = column_names(FEED_TABLES[feed])
    kept = draw(st.lists(st.sampled_from(names), max_size=3))
    header = [name for name in names if name not in kept or draw(st.booleans())]
    rows = draw(st.lists(st.lists(CELLS, min_size=len(header), max_size=len(header)), max_size=6))

    def quoted(cell):
        return '"' + cell.replace('"', '""') + '"' if set(cell) & set('",\n') else cell

    lines = [",".join(header)] + [",".join(map(quoted, row)) for row in rows]
    data = "\n".join(lines).encode(draw(st.sampled_from(["utf-8", "utf-16", "cp1252"])))
    for _ in range(draw(st.integers(0, 2))):
        at = draw(st.integers(0, len(data)))
        hurt = draw(st.sampled_from([b"", b'"', b",", b"\n", b"\0", b"\xff", b"\x81"]))
        data = data[:at] + hurt + data[at + draw(st.integers(0, 3)) :]
    return feed, data


@settings(max_examples=examples(120), deadline=None)
@given(drawn=exports())
def test_every_row_of_any_broken_export_has_one_end(drawn):
    """The four ends add up to the rows read, and every row set aside has its reason."""
    feed, data = drawn
    file = parsed(feed, data)
    done = accounted(feed, [("export.csv", None, file)])
    (counts,) = done.accounts.rows(named=True)
    assert counts["rows_read"] == file.rows_read == sum(counts[end] for end in ENDS)
    assert done.records.height <= counts["records"] <= counts["rows_read"]
    if file.is_whole:
        assert done.set_aside.height == 1
        assert counts["set_aside"] == file.rows_read
    else:
        assert done.set_aside["line"].n_unique() == counts["set_aside"]
    assert done.set_aside["reason"].str.len_chars().min() != 0
    FEED_TABLES[feed].validate(done.records.select(column_names(FEED_TABLES[feed])))


LONG_ROWS = st.lists(
    st.tuples(
        st.sampled_from(["S1", "S2"]),
        st.sampled_from(["pH", "Iron", "Colour", ""]),
        st.sampled_from(["7", "<5", "ND", "", "brown"]),
        st.sampled_from(["", "ug/L", "psi", "SU"]),
        st.sampled_from(["", "<", "E"]),
        st.sampled_from(["2024-01-01", "2024-01-02", "soon"]),
    ),
    max_size=8,
)


@settings(max_examples=examples(80), deadline=None)
@given(batches=st.lists(LONG_ROWS, max_size=3), order=st.randoms(use_true_random=False))
def test_long_files_lose_no_row_and_know_no_order(batches, order):
    """Each row has one end; each sample with a record has one line, whatever came first."""
    mapping = Mapping(
        "water_tests",
        "mappings/water_tests.toml",
        layout="long",
        analytes={"ph": "ph", "iron": "iron_mg_l"},
        constants={"point": "supply"},
    )
    files = []
    for number, rows in enumerate(batches):
        lines = ["sample,analyte,value,unit,remark,sampled_on,site"]
        lines += [",".join((*row, "K")) for row in rows]
        file = parsed("water_tests", "\n".join(lines) + "\n", mapping)
        files.append((f"lab_{number}.csv", None, file))
    done = accounted("water_tests", files)
    for counts in done.accounts.rows(named=True):
        assert counts["rows_read"] == sum(counts[end] for end in ENDS)
    typed = [file.rows for _, _, file in files]
    samples = pl.concat(typed)["sample"].n_unique() if typed else 0
    assert done.records.height == samples
    expected = state(done)
    order.shuffle(files)
    assert state(accounted("water_tests", files)) == expected
