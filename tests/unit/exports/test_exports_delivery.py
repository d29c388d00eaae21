"""Which files under exports/ are read, of which feed, and which are refused with what words."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.exports import find_exports, sha256_of, through_date_in_name
from pipelines.exports.delivery import is_workbook

FEEDS = ["units", "water_tests", "service_calls"]


@pytest.fixture
def workspace(tmp_path) -> Path:
    """A workspace with an empty exports folder, and room beside it."""
    (tmp_path / "work" / "exports").mkdir(parents=True)
    return tmp_path / "work"


def put(workspace: Path, below: str, content: str = "serial\n") -> Path:
    """Writes a file below exports/."""
    path = workspace / "exports" / below
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(content)
    return path


def found(workspace: Path, feeds=FEEDS) -> dict[str, tuple[str | None, str | None]]:
    """Path to feed and rule of refusal."""
    return {
        file.path: (file.feed, file.refusal and file.refusal[0])
        for file in find_exports(workspace, feeds)
    }


def sentence(workspace: Path, path: str) -> str:
    """The words with which a file is refused."""
    return next(file.refusal[1] for file in find_exports(workspace, FEEDS) if file.path == path)


def test_folder_or_beginning_of_name_tells_the_feed(workspace):
    """A file in a feed's folder or with a name that begins with a feed is of that feed."""
    put(workspace, "units/may.csv")
    put(workspace, "units/service_calls.csv")
    put(workspace, "water_tests_2026-05-01.csv")
    assert found(workspace) == {
        "units/may.csv": ("units", None),
        "units/service_calls.csv": ("units", None),
        "water_tests_2026-05-01.csv": ("water_tests", None),
    }


def test_names_match_in_any_letter_case(workspace):
    """Folders, names and endings match in any case, also the folder exports/ itself."""
    put(workspace, "Units/MAY.CSV")
    put(workspace, "WATER_TESTS.Csv")
    put(workspace, "Service_Calls.XLSX")
    (workspace / "exports").rename(workspace / "Exports")
    assert found(workspace) == {
        "Service_Calls.XLSX": ("service_calls", None),
        "Units/MAY.CSV": ("units", None),
        "WATER_TESTS.Csv": ("water_tests", None),
    }


def test_longest_feed_name_wins(workspace):
    """Of two feeds that begin a file's name, the longer one is its feed."""
    put(workspace, "units_retired_may.csv")
    assert found(workspace, ["units", "units_retired"]) == {
        "units_retired_may.csv": ("units_retired", None)
    }


def test_dot_names_and_lock_files_are_not_read(workspace):
    """Names that begin with a dot and a spreadsheet program's lock files are passed over."""
    put(workspace, ".units.csv")
    put(workspace, ".units/a.csv")
    put(workspace, "units/.hidden.csv")
    put(workspace, "units/~$may.xlsx")
    assert found(workspace) == {}


def test_other_files_are_passed_over(workspace):
    """Only CSV files and workbooks count; names that begin with a dot are not read."""
    put(workspace, "units.txt")
    put(workspace, "units.csv.bak")
    put(workspace, "archive/units.txt")
    put(workspace, ".archive/units.csv")
    put(workspace, "units/.old/units.csv")
    assert found(workspace) == {}


def test_files_too_deep_or_in_a_folder_of_no_feed_are_refused(workspace):
    """They are not read, but nobody should believe that they were: each is set aside."""
    put(workspace, "service-calls/may.csv")
    put(workspace, "units/2025/units.csv")
    put(workspace, "archive/2024/units.xlsx")
    (workspace / "exports" / "old.csv").mkdir()
    assert found(workspace) == {
        "archive/2024/units.xlsx": (None, "no_feed"),
        "old.csv": (None, "folder"),
        "service-calls/may.csv": (None, "no_feed"),
        "units/2025/units.csv": (None, "no_feed"),
    }
    assert "put it directly into a feed's folder" in sentence(workspace, "units/2025/units.csv")


def test_links_to_folders_of_no_feed_are_not_followed(workspace):
    """A link in a circle must not be walked for ever, nor one that leads out be entered."""
    put(workspace, "archive/units.csv")
    (workspace / "exports" / "archive" / "round").symlink_to(workspace / "exports")
    (workspace / "exports" / "out").symlink_to("/")
    assert found(workspace) == {"archive/units.csv": (None, "no_feed")}


def test_odd_names_are_read(workspace):
    """Blanks, quotes, line breaks, right-to-left letters and emoji in a name do not matter."""
    names = ["units (2) 'x'.csv", "units\n.csv", "units יחידות 😀.csv", "units;,|.csv"]
    for name in names:
        put(workspace, name)
    assert found(workspace) == dict.fromkeys(names, ("units", None))


def test_name_that_is_no_utf8_is_shown_with_its_bytes(workspace):
    """A file whose name is Windows-1252 is read, and its path can stand in a table."""
    path = os.fsencode(workspace / "exports") + b"/units_\xe9.csv"
    with open(path, "wb") as file:
        file.write(b"serial\nSK1\n")
    (file,) = find_exports(workspace, FEEDS)
    assert (file.path, file.feed, file.refusal) == ("units_\\xe9.csv", "units", None)
    assert file.absolute.read_bytes() == b"serial\nSK1\n"


def test_file_of_no_feed_is_refused(workspace):
    """A CSV file of no feed is set aside, with the two ways to name its feed."""
    put(workspace, "customers.csv")
    assert found(workspace) == {"customers.csv": (None, "no_feed")}
    words = sentence(workspace, "customers.csv")
    assert "customers.csv is of no feed" in words
    assert "under a name that begins with the feed's" in words


def test_folder_named_like_a_file_is_refused(workspace):
    """A folder x.csv is set aside, in exports/ and in a feed's folder."""
    (workspace / "exports" / "units_may.csv").mkdir()
    (workspace / "exports" / "units" / "x.csv").mkdir(parents=True)
    assert found(workspace) == {
        "units/x.csv": ("units", "folder"),
        "units_may.csv": ("units", "folder"),
    }
    assert "units/x.csv is a folder" in sentence(workspace, "units/x.csv")


def test_link_out_of_the_workspace_is_refused(workspace, tmp_path):
    """A link that leads out is set aside, as a file, as a chain and as a feed's folder."""
    (tmp_path / "outside").mkdir()
    secret = tmp_path / "outside" / "units.csv"
    secret.write_text("serial\n")
    (workspace / "exports" / "units_a.csv").symlink_to(secret)
    (workspace / "hop").symlink_to(secret)
    (workspace / "exports" / "units_b.csv").symlink_to("../hop")
    (workspace / "exports" / "water_tests").symlink_to(secret.parent)
    assert found(workspace) == {
        "units_a.csv": ("units", "link_outside"),
        "units_b.csv": ("units", "link_outside"),
        "water_tests": ("water_tests", "link_outside"),
    }
    assert "units_a.csv is a link that leads out of the workspace" in sentence(
        workspace, "units_a.csv"
    )


def test_link_to_nowhere_or_to_itself_is_refused(workspace):
    """A link without a target and a ring of links are set aside."""
    (workspace / "exports" / "units_a.csv").symlink_to("gone.csv")
    (workspace / "exports" / "units_b.csv").symlink_to("units_b.csv")
    assert found(workspace) == {
        "units_a.csv": ("units", "link_nowhere"),
        "units_b.csv": ("units", "link_nowhere"),
    }
    assert "units_a.csv is a link that leads nowhere" in sentence(workspace, "units_a.csv")


def test_link_inside_the_workspace_is_read(workspace):
    """A link to a file of the workspace is as good as the file."""
    target = put(workspace, "archive/old.txt", "serial\nSK1\n")
    (workspace / "exports" / "units.csv").symlink_to(target)
    (file,) = find_exports(workspace, FEEDS)
    assert (file.path, file.refusal, file.size) == ("units.csv", None, 11)


def test_workspace_that_is_itself_a_link_is_read(workspace, tmp_path):
    """A link to the workspace does not make its files lead out of it."""
    put(workspace, "units.csv")
    (tmp_path / "link").symlink_to(workspace)
    assert found(tmp_path / "link") == {"units.csv": ("units", None)}


def test_unreadable_file_is_refused(workspace, monkeypatch):
    """A file that may not be opened is set aside; the others go on."""
    put(workspace, "units_a.csv")
    put(workspace, "units_b.csv")
    opened = Path.open

    def refuse_a(path, *args, **kwargs):
        if path.name == "units_a.csv":
            raise PermissionError(13, "Permission denied")
        return opened(path, *args, **kwargs)

    monkeypatch.setattr(Path, "open", refuse_a)
    assert found(workspace) == {
        "units_a.csv": ("units", "unreadable"),
        "units_b.csv": ("units", None),
    }
    assert "units_a.csv cannot be read (Permission denied)" in sentence(workspace, "units_a.csv")


def test_pipe_is_refused_and_not_opened(workspace):
    """A named pipe would never end; it is set aside unopened."""
    os.mkfifo(workspace / "exports" / "units.csv")
    assert found(workspace) == {"units.csv": ("units", "not_a_file")}
    assert "units.csv is no file that can be read" in sentence(workspace, "units.csv")


def test_old_workbook_is_refused(workspace):
    """An .xls file of a feed is set aside with the formats that are read."""
    put(workspace, "units.xls")
    assert found(workspace) == {"units.xls": ("units", "old_workbook")}
    assert "save it as .xlsx or CSV" in sentence(workspace, "units.xls")


@pytest.mark.parametrize("name", ["units.xlsb", "UNITS.ODS", "loose.xls"])
def test_other_workbooks_are_told_and_not_passed_over(workspace, name):
    """Also those of no feed, whose bytes are no lines to count."""
    put(workspace, name)
    assert found(workspace)[name][1] == "old_workbook"
    assert "save it as .xlsx or CSV" in sentence(workspace, name)


def test_workbook_with_macros_is_read(workspace):
    """It is an .xlsx beside its macros, which nothing runs."""
    put(workspace, "units/may.xlsm")
    assert found(workspace) == {"units/may.xlsm": ("units", None)}
    assert is_workbook("units/MAY.XLSM")
    assert not is_workbook("units/may.csv")


def test_missing_exports_folder_is_an_error(tmp_path):
    """Without exports/ nothing can be found, and the error says so."""
    with pytest.raises(WorkspaceError) as caught:
        find_exports(tmp_path, FEEDS)
    assert "the folder exports/ cannot be read" in str(caught.value)


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("units_2026-03-31.csv", dt.date(2026, 3, 31)),
        ("2026-03-01_2026-03-31_2025-12-31.csv", dt.date(2026, 3, 31)),
        ("2026-03-01-2026-03-31.csv", dt.date(2026, 3, 31)),
        ("units_2026-02-30.csv", None),
        ("units_2026-02-30_2026-01-31.csv", dt.date(2026, 1, 31)),
        ("units_12026-03-31.csv", None),
        ("units_2026-03-311.csv", None),
        ("units_20260331.csv", None),
        ("units_0000-01-01.csv", None),
        ("units_٢٠٢٦-03-31.csv", None),
        ("2026-03-31/units.csv", None),
        ("units.csv", None),
    ],
)
def test_through_date_is_the_latest_day_in_the_name(name, day):
    """Of several days in a file's name the latest counts; impossible ones do not."""
    assert through_date_in_name(name) == day


def test_hash_is_that_of_the_bytes(tmp_path):
    """The hash is the SHA-256 of the file as it lies on disk."""
    path = tmp_path / "units.csv"
    path.write_bytes(b"\xff\xfe" * 70_000)
    assert sha256_of(path) == hashlib.sha256(b"\xff\xfe" * 70_000).hexdigest()


def test_a_lock_file_is_not_read_though_a_mapping_names_it(workspace):
    """Whoever has the workbook open lays one beside it, and `*.xlsx` would name it."""
    put(workspace, "may.xlsx")
    put(workspace, "~$may.xlsx")
    put(workspace, "units/~$may.txt")
    named = find_exports(workspace, FEEDS, lambda path: True)
    assert [file.path for file in named] == ["may.xlsx"]
