"""`limeledger advise` through the real command: sources, forms of output, errors."""

from __future__ import annotations

import json
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import pytest

from pipelines.cli.main import main

CASES = Path(__file__).parents[1] / "cases" / "worked_claims"
MEMBRANE = "OSMO<b>,reverse osmosis,system,,scale chloride chloramine,0,16,25\n"
HARD = ["ph=7.5", "hardness_mg_l_caco3=240", "calcium_mg_l_caco3=160", "alkalinity_mg_l_caco3=150"]


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """The worked claims' workspace with a membrane, whose name and claim are both wrong."""
    folder = tmp_path / "workspace"
    shutil.copytree(CASES / "workspace", folder)
    with (folder / "reference" / "treatments.csv").open("a", encoding="utf-8") as file:
        file.write(MEMBRANE)
    return folder


def advised(
    capsys: pytest.CaptureFixture[str], workspace: Path, *call: str, model: str = "BR-6"
) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of one call, with runs of blanks as one."""
    code = main(["advise", str(workspace), "--model", model, *call])
    told = capsys.readouterr()
    return code, re.sub(r"\s+", " ", told.out), told.err.strip()


def test_typed_values(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Needs, choices, deliming with its cautions; each line with how far it can be trusted."""
    code, out, err = advised(capsys, workspace, "--region", "US-VT", "--values", *HARD)
    assert (code, err) == (0, "")
    assert "The water calls for: scale." in out
    assert "Choice 1: LIME-OFF serves all of scale. [well founded]" in out
    assert "never let an acid and a chlorine cleaner meet" in out
    assert "local code" in out


def test_json_holds_what_the_text_says(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same lines, and the figures behind them, for a machine."""
    _, text, _ = advised(capsys, workspace, "--values", *HARD)
    main(["advise", str(workspace), "--model", "BR-6", "--json", "--values", *HARD])
    told = json.loads(capsys.readouterr().out)
    assert told["needs"] == ["scale"]
    assert told["figures"]["scale_ceiling_mg_l"] == 150.0
    assert all(re.sub(r"\s+", " ", line["text"]) in text for line in told["lines"])


def test_a_file_in_the_wide_layout(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One test in a file of one's own, by the feed's names."""
    file = tmp_path / "mine.csv"
    file.write_text(
        "sample,site,point,sampled_on,ph,hardness_mg_l_caco3\nLAB-9,S9,supply,2025-03-01,7.5,150\n"
    )
    code, out, _ = advised(capsys, workspace, "--test", str(file))
    assert code == 0
    assert "Water test LAB-9 of site S9, taken 2025-03-01" in out
    assert "Hardness 150 mg/L: outside the limit" in out


def test_a_file_in_the_long_layout(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One row an analyte, read with the workspace's mapping."""
    (workspace / "mappings").mkdir(exist_ok=True)
    (workspace / "mappings" / "water_tests.toml").write_text(
        'layout = "long"\n[columns]\nsample = "No"\nsite = "Site"\npoint = "Point"\n'
        'sampled_on = "Taken"\nanalyte = "Test"\nvalue = "Result"\nunit = "Unit"\n'
        '[analytes]\n"Hardness, total" = "hardness_mg_l_caco3"\n"pH value" = "ph"\n'
    )
    file = tmp_path / "long.csv"
    file.write_text(
        "No,Site,Point,Taken,Test,Result,Unit\n"
        'LAB-9,S9,supply,2025-03-01,"Hardness, total",150,mg/L\n'
        "LAB-9,S9,supply,2025-03-01,pH value,7.5,\n"
    )
    code, out, err = advised(capsys, workspace, "--test", str(file))
    assert code == 0, err
    assert "Hardness 150 mg/L: outside the limit" in out
    assert "pH 7.5: within the limit" in out


@pytest.mark.usefixtures("no_figures", "no_pages")
def test_a_site(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A site's latest complete test, after a refresh; a site without units is not found."""
    as_of = (CASES / "expected" / "as_of.txt").read_text(encoding="utf-8").strip()
    later = "FUT,SITE-33,supply,2099-01-15,7.5,900\nPRE,NEW-1,supply,2025-03-01,7.5,150\n"
    head = "sample,site,point,sampled_on,ph,hardness_mg_l_caco3\n"
    (workspace / "exports" / "water_tests_2099.csv").write_text(head + later)
    main(["refresh", str(workspace), "--as-of", as_of])
    capsys.readouterr()
    code, out, _ = advised(capsys, workspace, "--site", "SITE-33")
    assert code == 0
    assert "FUT" not in out, "it is taken after the day of the last refresh"
    assert "Water test LAB-33 of site SITE-33, taken 2024-01-15" in out
    code, out, err = advised(capsys, workspace, "--site", "NOWHERE")
    assert (code, out) == (4, "")
    assert err.startswith("No unit is at a site NOWHERE, nor was its water tested;")
    code, out, _ = advised(capsys, workspace, "--site", "NEW-1")
    assert code == 0, "before a sale there is a test, and no unit yet"
    assert "Water test PRE of site NEW-1, taken 2025-03-01" in out


class _Sheet(HTMLParser):
    """Collects tags, addresses and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Notes the tag and where it leads."""
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href")]

    def handle_data(self, data: str) -> None:
        """Notes the text."""
        self.text += data


def test_the_sheet_stands_alone(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two pictures, every line and caution, no script, no other file, and names as mere text."""
    out = tmp_path / "sheet.html"
    values = [*HARD, "chloride_mg_l=140", "free_chlorine_mg_l=0", "total_chlorine_mg_l=2"]
    call = ("--region", "US-VT", "--html", str(out), "--json", "--values", *values)
    code = main(["advise", str(workspace), "--model", "BR-6", *call])
    captured = capsys.readouterr()
    told = json.loads(captured.out)
    assert code == 0
    assert captured.err.strip() == f"The sheet is in {out}."
    page = _Sheet(out.read_text(encoding="utf-8"))
    assert "script" not in page.tags
    assert "b" in page.tags
    assert page.tags.count("svg") >= 2
    assert all(address.startswith(("data:", "#")) for address in page.addresses)
    assert "OSMO<b>" in page.text
    for line in told["lines"][len(told["analytes"]) :]:
        assert line["text"] in page.text
        assert all(caution in page.text for caution in line["cautions"])
    ids = re.findall(r'\bid="([^"]+)"', out.read_text(encoding="utf-8"))
    assert len(ids) == len(set(ids))


def test_a_sheet_without_limits_or_membranes(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where nothing is limited, there is a table and no picture."""
    out = tmp_path / "sheet.html"
    code, text, _ = advised(
        capsys, workspace, "--html", str(out), "--values", "iron_mg_l=0.1", model="CO-1"
    )
    assert (code, text) == (0, "")
    page = _Sheet(out.read_text(encoding="utf-8"))
    assert "svg" not in page.tags
    assert "Iron" in page.text


def test_reverse_osmosis_lets_chloramine_through(
    workspace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A list that credits a membrane with chloramine is contradicted (common practice, no
    source)."""
    values = ["free_chlorine_mg_l=0", "total_chlorine_mg_l=2", "chloride_mg_l=140"]
    _, out, _ = advised(capsys, workspace, "--region", "US-VT", "--values", *values)
    assert "Reverse osmosis lets chloramine through" in out
    assert "A colder supply means less output: size at the year's coldest." in out


def test_acid_water_is_corrosive(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """pH below 7 is corrosive, and can rust a cavity through within days (common practice, no
    source), also where the terms allow it."""
    _, out, _ = advised(capsys, workspace, "--values", "ph=6.8", "hardness_mg_l_caco3=50")
    assert "pH 6.8 is below 7 and so corrosive" in out
    assert "within one to two days of use" in out


def test_hardness_in_grains_is_suspected(
    workspace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Calcium of 160 in a hardness of 14 cannot be: 14 gpg are 240 mg/L, and the doubt says so."""
    values = ["ph=7.5", "hardness_mg_l_caco3=14", "calcium_mg_l_caco3=160"]
    code, out, _ = advised(capsys, workspace, "--values", *values)
    assert code == 0
    doubts = re.findall(r"Doubt: [^\[]*", out)
    assert any("gpg" in doubt or "grains" in doubt for doubt in doubts), out


@pytest.mark.parametrize(
    ("call", "model", "code", "told"),
    [
        (["--values", "ph=7"], "NONE", 2, '"NONE" is no model in models.csv; there are: AL-2'),
        (["--region", "US-XX", "--values", "ph=7"], "BR-6", 2, '"US-XX" is no region'),
        (["--values", "hardnes=7"], "BR-6", 2, "hardnes is no analyte; the analytes are ph"),
        (["--values", "ph"], "BR-6", 2, '"ph" is no value; write such as ph=7.4'),
        (["--test", "/nowhere.csv"], "BR-6", 4, "There is no file /nowhere.csv"),
    ],
)  # fmt: skip
def test_a_wrong_call_is_told_in_a_sentence(
    workspace: Path,
    capsys: pytest.CaptureFixture[str],
    call: list[str],
    model: str,
    code: int,
    told: str,
) -> None:
    """The exit code, one line on stderr that says what is wrong, and nothing on stdout."""
    got, out, err = advised(capsys, workspace, *call, model=model)
    assert (got, out) == (code, "")
    assert err.startswith(told)
    assert "\n" not in err


def test_a_sheet_that_cannot_be_written(
    workspace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder that is not there is the caller's to mend."""
    code, _, err = advised(capsys, workspace, "--html", "/nowhere/a.html", "--values", "ph=7")
    assert code == 2
    assert err.startswith("/nowhere/a.html cannot be written")


def test_a_file_of_broken_rows_alone(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where no row can be used, the first one's line and reason are told."""
    file = tmp_path / "broken.csv"
    file.write_text("sample,site,point,sampled_on,ph\nLAB-9,S9,supply,someday,7.5\n")
    code, out, err = advised(capsys, workspace, "--test", str(file))
    assert (code, out) == (2, "")
    assert err.startswith(f"{file} line 2: ")
    assert "someday" in err
