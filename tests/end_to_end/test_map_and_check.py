"""`map` drafts a mapping that works as it is, and `check` tells what would happen, writing nothing.

The exports are invented, each with another habit of naming, dating and abbreviating.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest

from pipelines.cli.main import main

WORKSPACE = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"

REGISTER = """\
Unit S/N;Mdl;Ship Dt;Inv Date;Cust No;Customer Name;Zip
TF-10 001;{0};13/02/2024;28/02/2024;C100;Lantern Canteen;04101
TF-10 002;{0};25/03/2024;;C101;Grange Hall;04102
TF-10 003;{1};07/04/2024;19/04/2024;C102;Mill Kitchen;04103
"""
LABORATORY = """\
SampleRef\tLocation\tSource of water\tDate Taken\tpH\tTot. Hardness (gpg)\tFree Cl2\tFe\tTemp F
W-1\tKIT-1\tSupply\t2024-03-14\t7.4\t12\t0.4\t<0.05\t59
W-2\tKIT-2\tTreated\t2024-04-02\t7.1\t1\tND\t0.06\t61
"""
CALLS = """\
"TICKET","WARRANTY_CLAIM_NBR","SER_NBR","JOB_TYPE","CALL_OPEN","CALL_CLOSE","CLM_RCVD","PARTS_$"
"77001","C-501","TF10001","Repair","Mar 14 2025","Mar 17 2025","Mar 20 2025","1,234.50"
"77002","","TF10002","Delime","Apr 2 2025","Apr 2 2025","",""
"""


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """The worked claims' settings, reference files and terms, without any export."""
    folder = tmp_path / "workspace"
    shutil.copytree(WORKSPACE, folder)
    shutil.rmtree(folder / "exports")
    (folder / "exports").mkdir()
    return folder


def models(folder: Path) -> list[str]:
    """The models of the workspace."""
    lines = (folder / "reference" / "models.csv").read_text(encoding="utf-8").splitlines()
    return [line.split(",")[0] for line in lines[1:]]


def told(capsys: pytest.CaptureFixture, *call: str) -> dict:
    """What a command prints as JSON."""
    capsys.readouterr()
    main([*call, "--json"])
    return json.loads(capsys.readouterr().out)


def hashes(folder: Path) -> dict[str, str]:
    """Every file and folder below, with its content and the time of its last change."""
    return {
        str(path.relative_to(folder)): f"{path.stat().st_mtime_ns} "
        + (hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "")
        for path in folder.rglob("*")
    }


@pytest.mark.parametrize(
    ("feed", "text", "words"),
    [
        ("units", REGISTER, ['shipped_on = "Ship Dt"', '["%d/%m/%Y"]', "lines 4"]),
        (
            "water_tests",
            LABORATORY,
            [
                'point = "Source of water"',
                "100% of the values are words of point",
                '= "gpg"',
                '= "F"',
            ],
        ),
        (
            "service_calls",
            CALLS,
            ['serial = "SER_NBR"', '["%b %d %Y"]', 'claimed_on = "CLM_RCVD"  # active'],
        ),
    ],
)
def test_a_draft_saved_as_it_is_reads_every_row(workspace, tmp_path, capsys, feed, text, words):
    """Without the mapping the file is set aside whole; with the draft all its rows are records."""
    known = models(workspace)
    export = workspace / "exports" / f"{feed}_2025-06-30.csv"
    export.write_text(text.format(known[0], known[-1]), encoding="utf-8")
    before = told(capsys, "check", str(workspace), "--as-of", "2025-07-01")
    assert before["exit_code"] == 1
    assert "lacks the required column" in before["problems"][0]["sentence"]
    as_it_was = hashes(workspace)
    draft = told(capsys, "map", str(export), "--feed", feed)["mapping"]
    assert hashes(workspace) == as_it_was
    for word in words:
        assert word in draft
    (workspace / "mappings").mkdir(exist_ok=True)
    (workspace / "mappings" / f"{feed}.toml").write_text(draft, encoding="utf-8")
    after = told(capsys, "check", str(workspace), "--as-of", "2025-07-01")
    assert after["problems"] == []
    rows = text.count("\n") - 1
    totals = after["totals"]
    assert (totals["rows_read"], totals["records"], totals["set_aside"]) == (rows, rows, 0)


def test_check_tells_all_and_writes_nothing(workspace, capsys):
    """Grouped sentences, near-miss serials and through dates; no byte of the workspace changes."""
    model = models(workspace)[0]
    exports = workspace / "exports"
    (exports / "units_2025-06-30.csv").write_text(
        f"serial,model,shipped_on,purchased_on\nTF-10001,{model},2024-02-13,31/02/2025\n"
        f"TF-10002,{model},2024-02-13,\nTF-10003,{model},2024-02-13,31/02/2025\n",
        encoding="utf-8",
    )
    (exports / "service_calls.csv").write_text(
        "call,serial,kind,opened_on\n1,TFl0002,repair,2025-06-01\n2,TF1O002,repair,2025-06-02\n",
        encoding="utf-8",
    )
    (exports / "stray.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    (workspace / "mappings").mkdir(exist_ok=True)
    (workspace / "mappings" / "units.toml").write_text(
        '[columns]\nsite = "Kitchen"\n', encoding="utf-8"
    )
    as_it_was = hashes(workspace)
    found = told(capsys, "check", str(workspace), "--as-of", "2025-07-01")
    assert [(a["file"], a["column"]) for a in found["absent_headers"]] == [
        ("units_2025-06-30.csv", "site")
    ]
    assert main(["check", str(workspace), "--as-of", "2025-07-01"]) == 1
    spoken = capsys.readouterr().out
    assert hashes(workspace) == as_it_was
    sentences = [problem["sentence"] for problem in found["problems"]]
    assert (
        'purchased_on "31/02/2025" is no date; first at units_2025-06-30.csv line 2'
        in (sentences[1])
    )
    assert sentences[1].startswith("2 rows: ")
    assert "stray.csv is of no feed" in sentences[0]
    assert {(near["line"], near["suggestion"]) for near in found["suggestions"]} == {
        (2, "TF10002"),
        (3, "TF10002"),
    }
    through = {feed["feed"]: str(feed["through_date"]) for feed in found["feeds"]}
    assert through["units"] == "2025-06-30"
    assert through["service_calls"] == "2025-06-02"
    assert "2 rows: purchased_on" in spoken
    assert 'There is no header "Kitchen", which mappings/units.toml names for site' in spoken
    assert "rulings: complete to no day" in spoken
    assert spoken.endswith("Nothing was written.\n")


def drafted(folder: Path, capsys: pytest.CaptureFixture, *options: str) -> tuple[int, dict]:
    """The exit code and the JSON of a draft of calls that lie outside of the workspace."""
    export = folder.parent / "ServiceOrders_20250630.csv"
    export.write_text(CALLS, encoding="utf-8")
    capsys.readouterr()
    code = main(["map", str(export), str(folder), "--json", *options])
    return code, json.loads(capsys.readouterr().out)


def test_a_draft_is_tried_without_writing_anything(workspace, capsys):
    """Without a feed it is found; the trial counts, tells problems and joins, and shows records."""
    as_it_was = hashes(workspace)
    code, told = drafted(workspace, capsys, "--try")
    assert hashes(workspace) == as_it_was
    assert (code, told["feed"], told["feeds"][0][0]) == (0, "service_calls", "service_calls")
    (line,) = told["trial"]["accounts"]
    assert (line["rows_read"], line["records"], line["set_aside"]) == (2, 2, 0)
    assert told["trial"]["problems"] == []
    assert [record["call"] for record in told["trial"]["records"]] == ["77001", "77002"]
    assert told["trial"]["records"][0]["parts_amount"] == "1234.50"
    joins = {join["column"]: join for join in told["trial"]["joins"]}
    assert (joins["serial"]["to"], joins["serial"]["rows"]) == ("units.serial", 2)


def test_a_mapping_is_tried_whatever_files_and_days_it_is_for(workspace, capsys):
    """Rows that would be set aside are exit code 1, with their reason."""
    mapping = workspace / "mappings" / "orders.toml"
    mapping.parent.mkdir(exist_ok=True)
    columns = '[columns]\ncall = "TICKET"\nserial = "SER_NBR"\nkind = "JOB_TYPE"\n'
    head = 'feed = "service_calls"\nfiles = ["other*.csv"]\nvalid_until = 2001-01-01\n'
    mapping.write_text(head + columns + 'opened_on = "CALL_OPEN"\n', encoding="utf-8")
    code, told = drafted(workspace, capsys, "--try", str(mapping))
    assert code == 1
    (line,) = told["trial"]["accounts"]
    assert (line["mapping"], line["records"], line["set_aside"]) == ("orders.toml", 0, 2)
    assert "opened_on" in told["trial"]["problems"][0]["sentence"]


def test_a_draft_is_saved_once(workspace, capsys):
    """`--save` writes the draft; where the name is taken it refuses and changes nothing."""
    code, told = drafted(workspace, capsys, "--save", "orders")
    saved = workspace / "mappings" / "orders.toml"
    assert (code, saved.read_text(encoding="utf-8")) == (0, told["mapping"])
    assert 'files = ["**/ServiceOrders_*.csv"]' in told["mapping"]
    assert 'file_date = "%Y%m%d"' in told["mapping"]
    as_it_was = hashes(workspace)
    assert (
        main(
            [
                "map",
                str(workspace.parent / "ServiceOrders_20250630.csv"),
                str(workspace),
                "--save",
                "Orders",
            ]
        )
        == 2
    )
    assert "is there already" in capsys.readouterr().err
    assert hashes(workspace) == as_it_was
