"""What is read of rulings that an earlier version kept."""

from pathlib import Path

from pipelines.events.takeover import read_recorded

HEADER = "claim,ruled_at,ruled_by,ruling,reason,parts_amount,labor_amount,travel_amount\n"
ROW = "{},2025-12-01T10:00:00,Ann,covered,seen,,,\n"


def test_a_file_whose_header_went_is_told_and_gives_no_ruling(tmp_path: Path) -> None:
    """Its rows would be rulings on no claim, made by nobody."""
    path = tmp_path / "rulings.csv"
    path.write_text(HEADER + ROW.format("W01"), encoding="utf-8")
    assert [row["claim"] for _, row in read_recorded(path).records] == ["W01"]
    path.write_text(ROW.format("W01") + ROW.format("W02"), encoding="utf-8")
    contents = read_recorded(path)
    assert contents.records == []
    (fault,) = contents.faults
    assert fault.startswith("store/rulings.csv line 1: The file lacks the required column claim")
