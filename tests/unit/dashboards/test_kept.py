"""What is made once and kept: chart files and compiled templates."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from dashboards import kept
from dashboards.charts import shared_files
from dashboards.environment import page_environment


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A cache folder of the test's own, which is not there yet."""
    monkeypatch.setattr(kept, "user_cache_path", lambda *_, **__: tmp_path / "cache")
    return tmp_path / "cache"


class Maker:
    """Counts how often it was asked."""

    def __init__(self, text: str = "made – once") -> None:
        self.text = text
        self.calls = 0

    def __call__(self) -> str:
        """The text."""
        self.calls += 1
        return self.text


def test_a_text_is_made_once() -> None:
    """The second time it is read, to the letter."""
    make = Maker()
    assert [kept.made_once("kind", b"a", make) for _ in range(3)] == [make.text] * 3
    assert make.calls == 1


def test_another_origin_is_another_text() -> None:
    """What it is made from decides, and so does the kind."""
    first, second, third = Maker("1"), Maker("2"), Maker("3")
    assert kept.made_once("kind", b"a", first) == "1"
    assert kept.made_once("kind", b"b", second) == "2"
    assert kept.made_once("other", b"a", third) == "3"
    assert kept.made_once("kind", b"a", second) == "1"


def test_where_nothing_can_be_kept_it_is_made_each_time(folder) -> None:
    """A cache folder that cannot be there stops nothing."""
    folder.write_text("a file in the folder's place")
    make = Maker()
    assert [kept.made_once("kind", b"a", make) for _ in range(2)] == [make.text] * 2
    assert make.calls == 2
    assert page_environment().get_template("terms.html") is not None


def test_a_user_without_a_home_keeps_nothing(monkeypatch, tmp_path) -> None:
    """No folder named ~ appears where the tool was called."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(kept, "user_cache_path", lambda *_, **__: Path("~/.cache/limeledger"))
    make = Maker()
    assert [kept.made_once("kind", b"a", make) for _ in range(2)] == [make.text] * 2
    assert page_environment().get_template("terms.html") is not None
    assert list(tmp_path.iterdir()) == []


def test_a_broken_file_is_made_anew(folder) -> None:
    """Bytes that are no text are replaced."""
    kept.made_once("kind", b"a", Maker())
    (path,) = folder.glob("kind-*")
    path.write_bytes(b"\xff\xfe")
    make = Maker("anew")
    assert kept.made_once("kind", b"a", make) == "anew"
    assert path.read_text(encoding="utf-8").endswith("\nanew")
    assert kept.made_once("kind", b"a", make) == "anew"
    assert make.calls == 1


@pytest.mark.parametrize(
    "harm",
    [
        lambda whole: whole[:-1],
        lambda whole: whole[:64],
        lambda whole: whole.replace(b"once", b"0nce"),
        lambda whole: whole.partition(b"\n")[2],
        lambda _: b"",
    ],
    ids=["cut", "no text", "altered", "no hash", "empty"],
)
def test_a_text_that_is_not_whole_is_made_anew(folder, harm) -> None:
    """What is readable, yet not what was kept, is never handed out."""
    kept.made_once("kind", b"a", Maker())
    (path,) = folder.glob("kind-*")
    whole = path.read_bytes()
    path.write_bytes(harm(whole))
    make = Maker()
    assert kept.made_once("kind", b"a", make) == make.text
    assert make.calls == 1
    assert path.read_bytes() == whole


def test_only_the_newest_are_kept(folder) -> None:
    """What versions long gone have made does not pile up."""
    for n in range(20):
        kept.made_once("kind", str(n).encode(), Maker())
    assert len(list(folder.iterdir())) == 8


def test_templates_are_compiled_once(folder) -> None:
    """A second environment finds the first one's code."""
    page_environment().get_template("terms.html")
    (path,) = folder.iterdir()
    written = path.stat().st_mtime_ns
    page_environment().get_template("terms.html")
    assert path.stat().st_mtime_ns == written


def test_specifications_know_all_that_they_are_drawn_from() -> None:
    """Every module of ours that drawing loads counts among what they are made from."""
    listing = (
        "import sys, dashboards.specifications as s; print(*(m.__file__ for n, m in "
        "sorted(sys.modules.items()) if n.startswith(('dashboards', 'schemas', 'pipelines'))))"
    )
    loaded = subprocess.check_output([sys.executable, "-c", listing], text=True).split()
    known = {str(path) for path in shared_files.sources()}
    beside = {path for path in loaded if path.endswith("/__init__.py")}
    assert len(loaded) > 15
    assert set(loaded) - beside <= known


def test_each_currency_has_its_own_specifications() -> None:
    """Axis titles name the currency."""
    dollars, francs = (shared_files.chart_specifications(name) for name in ("USD", "CHF"))
    assert "Cost a unit, USD" in dollars
    assert "Cost a unit, CHF" in francs
    assert "CHF" not in dollars
