"""An edition to try: in whose place it stands, from which day, and what is wrong with it."""

import tomllib
from datetime import date

import pytest

from pipelines.errors import UsageError, WorkspaceError
from pipelines.terms import other_terms
from pipelines.workspace.toml_file import TomlFile, read_toml
from schemas import codes
from tests.unit.coverage import bench

FAMILIES = ["F", "G"]


@pytest.fixture(scope="module")
def terms(tmp_path_factory):
    """Two editions: T1 of 2020 and T2 of 2024."""
    folder = tmp_path_factory.mktemp("terms")
    later = bench.changed(edition='"T2"', effective_from="2024-01-01")
    return bench.terms_of(folder, bench.BENCH_TERMS, later)


@pytest.fixture
def tried(terms, tmp_path):
    """Tries the bench's edition with changes."""

    def build(stands_for=None, **values):
        path = tmp_path / "draft.toml"
        path.write_text(bench.changed(**values), encoding="utf-8")
        file = read_toml(path, "draft.toml")
        return other_terms(terms, file, FAMILIES, codes.ABILITIES, stands_for)

    return build


def editions(other):
    """Names and first days of the editions that hold."""
    return [(edition.name, edition.effective_from) for edition in other.terms.editions]


def test_an_edition_of_the_same_name_takes_its_place_from_its_own_day(tried):
    """T1 moved to 2021: T2 stays."""
    other = tried(effective_from="2021-01-01", labor_months="24")
    assert editions(other) == [("T1", date(2021, 1, 1)), ("T2", date(2024, 1, 1))]
    assert other.terms.values.filter(edition="T1")["labor_months"].to_list() == [24, 24]
    assert other.reading == (
        "draft.toml (edition T1) stands in the place of the edition of that name, for units bought "
        "from 2021-01-01 on."
    )


def test_an_edition_of_the_same_day_takes_that_ones_place(tried):
    """The draft begins on T2's day under another name."""
    other = tried(edition='"DRAFT"', effective_from="2024-01-01")
    assert editions(other) == [("T1", date(2020, 1, 1)), ("DRAFT", date(2024, 1, 1))]


def test_an_edition_of_a_new_name_and_day_stands_for_all(tried):
    """From the first day on which any unit has terms."""
    other = tried(edition='"DRAFT"', effective_from="2026-01-01")
    assert editions(other) == [("DRAFT", date(2020, 1, 1))]
    assert "in the place of every edition" in other.reading


@pytest.mark.parametrize(
    ("stands_for", "expected"),
    [
        ("T2", [("T1", date(2020, 1, 1)), ("DRAFT", date(2024, 1, 1))]),
        ("all", [("DRAFT", date(2020, 1, 1))]),
        (
            "new",
            [("T1", date(2020, 1, 1)), ("T2", date(2024, 1, 1)), ("DRAFT", date(2026, 1, 1))],
        ),
    ],
)
def test_the_caller_may_say_what_it_stands_for(tried, stands_for, expected):
    """An edition, all of them, or one more."""
    other = tried(stands_for, edition='"DRAFT"', effective_from="2026-01-01")
    assert editions(other) == expected


def test_what_is_wrong_is_told_with_line_and_key(terms, tried):
    """A key that is not known, an edition that is not there, a day or a name that is taken."""
    text = bench.BENCH_TERMS.replace("parts_months", "part_months")
    wrong = TomlFile("draft.toml", tomllib.loads(text), text, "")
    with pytest.raises(WorkspaceError) as error:
        other_terms(terms, wrong, FAMILIES, codes.ABILITIES)
    assert "draft.toml line 8, column 1: coverage.part_months is not a known key" in str(
        error.value
    )
    with pytest.raises(UsageError, match='--for "T3": there is no such edition'):
        tried("T3")
    with pytest.raises(WorkspaceError, match="two editions cannot begin on one day"):
        tried("new", edition='"DRAFT"', effective_from="2024-01-01")
    with pytest.raises(WorkspaceError, match="give it a name of its own"):
        tried("new")
