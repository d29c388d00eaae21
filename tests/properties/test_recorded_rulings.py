"""What people record reads back, whatever they write and however the file was cut off before."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipelines.errors import UsageError
from pipelines.events.takeover import FILE, read_recorded
from pipelines.workspace.append_log import append_rows
from schemas.columns import column_names
from schemas.feeds import Rulings

COLUMNS = column_names(Rulings)
# Quotes, delimiters and line ends as often as all other characters of Unicode together.
TEXTS = st.text(
    st.one_of(st.sampled_from('",;\r\n\t |x é'), st.characters(exclude_categories=["Cs"])),
    max_size=12,
).map(str.strip)
DAMAGES = st.sampled_from(
    [
        b"",
        b"W9,2025-12-01T10:00:00-07:00,M,covered,fine,,,",  # whole, but for its end
        b"W9,2025-12-01T10",
        b'W9,2025-12-01T10:00:00-07:00,M,covered,"half a reas',
        b'W9,2025-12-01T10:00:00-07:00,M,covered,"half a reason, and\nmore',
        b'W9,2025-12-01T10:00:00-07:00,M,covered,"a ""word',
        b'W9,2025-12-01T10:00:00-07:00,M,covered,"',
        b'W9,2025-12-01T10:00:00-07:00,M,covered,"never closed\nW8,,,,,,,\n',
        "W9,2025-12-01T10:00:00-07:00,é".encode()[:-1],
        b"\r",
        b"\n\n",
        b'"',
    ]
)


def _row(claim: int, ruled_by: str, reason: str) -> dict[str, str]:
    told = {"claim": f"W{claim}", "ruled_at": "2025-12-31T10:00:00-07:00", "ruling": "covered"}
    return dict.fromkeys(COLUMNS, "") | told | {"ruled_by": ruled_by, "reason": reason}


def _opens_one_quote(steps: list[tuple[str, str, bytes]]) -> bool:
    """Whether no later damage closes the quote of an earlier one: else nobody knows it."""
    return sum(b'"' in damage for *_, damage in steps) <= 1


@given(st.lists(st.tuples(TEXTS, TEXTS, DAMAGES), min_size=1, max_size=5).filter(_opens_one_quote))
@example([("M", "fine", b'W9,2025,M,covered,"half'), ("M", ",x", b""), ("M", '","', b"")])
@example([("M", "fine", b'W9,2025,M,covered,"half'), ("M", "x\n,\ny", b""), ("M", '"', b"")])
def test_any_sequence_of_records_reads_back(steps: list[tuple[str, str, bytes]]) -> None:
    """Each is one record with just its texts, and none before it changes, damage or not."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / FILE
        recorded: list[dict[str, str]] = []
        for number, (ruled_by, reason, damage) in enumerate(steps):
            row = _row(number, ruled_by, reason)
            if "\0" in ruled_by + reason:
                before = path.read_bytes() if path.exists() else b""
                with pytest.raises(UsageError):
                    append_rows(path, COLUMNS, [row], read_recorded)
                assert (path.read_bytes() if path.exists() else b"") == before
                continue
            append_rows(path, COLUMNS, [row], read_recorded)
            recorded.append(row)
            ours = [dict(told) for _, told in read_recorded(path).records]
            assert [told for told in ours if told["ruled_at"] == row["ruled_at"]] == recorded
            with path.open("ab") as file:
                file.write(damage)


@pytest.mark.parametrize("text", ["a\0b", "half a pair \ud800"])
def test_what_no_file_can_hold_is_refused(tmp_path: Path, text: str) -> None:
    """The sentence names the column, and there is no file afterwards."""
    path = tmp_path / FILE
    with pytest.raises(UsageError) as told:
        append_rows(path, COLUMNS, [_row(1, "M", text)], read_recorded)
    assert "reason holds a character that no text file can hold" in str(told.value)
    assert list(tmp_path.iterdir()) == []


def test_a_line_that_is_damaged_is_told_with_its_number(tmp_path: Path) -> None:
    """A quote that is never closed takes its own line alone; those around it stand."""
    path = tmp_path / FILE
    append_rows(path, COLUMNS, [_row(1, "M", "fine")], read_recorded)
    with path.open("a") as file:
        file.write('W2,2025-12-01T10:00:00-07:00,M,covered,"half a reas')
    contents = append_rows(path, COLUMNS, [_row(3, "M", 'said "yes", once')], read_recorded)
    assert [(line, row["claim"]) for line, row in contents.records] == [(2, "W1"), (4, "W3")]
    assert len(contents.faults) == 1
    assert contents.faults[0].startswith(f"store/{FILE} line 3: ")
