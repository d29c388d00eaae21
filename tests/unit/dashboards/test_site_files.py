"""The written site: which files, what they share, and that nothing from outside runs."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from dashboards.formats import file_name
from dashboards.site import build_site, claim_document
from dashboards.specifications import specifications

WRITTEN = ("index.html", "field.html", "upcoming.html", "data.html", "terms.html")


class Page(HTMLParser):
    """Elements, ids and addresses of one page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        """Keeps every element with its attributes."""
        self.tags.append((tag, dict(attrs)))

    def of(self, tag: str) -> list[dict]:
        """The attributes of all elements of one kind."""
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def site(sample, tmp_path_factory):
    """A site of forty claims."""
    out = tmp_path_factory.mktemp("site")
    data = sample.page_data(40)
    build_site(data, out, data.decisions["claim"].to_list())
    return out


def _pages(site) -> dict[str, Page]:
    pages = {
        str(path.relative_to(site)): Page(path.read_text(encoding="utf-8"))
        for path in sorted(site.rglob("*.html"))
    }
    assert len(pages) > 40
    return pages


def test_all_pages_are_there(site, sample) -> None:
    """Five pages, one a claim, and one copy of the chart library."""
    for name in WRITTEN:
        assert (site / name).is_file()
    names = {path.name for path in (site / "claims").iterdir()}
    assert names == {file_name(sample.claim_number(place)) for place in range(40)}
    assert len(list(site.rglob("vega-bundle.js"))) == 1


def test_only_named_claims_get_a_page(sample, tmp_path) -> None:
    """Claims that are not asked for, or have no decision, get no page."""
    build_site(sample.page_data(10), tmp_path, [sample.claim_number(3), "NO-SUCH-CLAIM"])
    assert [path.name for path in (tmp_path / "claims").iterdir()] == [
        file_name(sample.claim_number(3))
    ]


def test_every_link_and_file_exists(site) -> None:
    """Every script, style and relative link leads to a file or an id that is there."""
    seen = 0
    for name, page in _pages(site).items():
        folder = (site / name).parent
        ids = {attrs["id"] for _, attrs in page.tags if attrs.get("id")}
        for attrs in page.of("script") + page.of("link") + page.of("a"):
            target = attrs.get("src") or attrs.get("href")
            if not target or target.startswith(("data:", "data/")):
                continue
            assert "//" not in target, f"{name} reaches out to {target}"
            path, _, fragment = target.partition("#")
            if path:
                assert (folder / path).resolve().is_file(), f"{name}: {target}"
            elif fragment:
                assert fragment in ids, f"{name}: #{fragment}"
            seen += 1
    assert seen > 200


def test_scripts_come_from_files_alone(site) -> None:
    """No page has a script of its own, an event attribute or a style attribute."""
    for name, page in _pages(site).items():
        if name.startswith("handouts/"):  # one file each, to be sent: its style stands in it
            assert page.of("script") == page.of("link") == [], name
            text = (site / name).read_text(encoding="utf-8")
            assert "http" not in text.replace("http-equiv", ""), name
            continue
        policy = page.of("meta")[1]["content"]
        assert policy.startswith("default-src 'none'; script-src 'self' file:;"), name
        assert "unsafe" not in policy
        for attrs in page.of("script"):
            assert "src" in attrs or attrs["type"] == "application/json", name
        for tag, attrs in page.tags:
            assert not [a for a in attrs if a.startswith("on") or a == "style"], (name, tag)


def test_planted_scripts_stay_text(site, sample) -> None:
    """Scripts in names, notes, sentences, labels and letters are shown, and are no elements."""
    for name, page in _pages(site).items():
        assert not [attrs for attrs in page.of("img") if attrs.get("src") == "x"], name
        text = (site / name).read_text(encoding="utf-8")
        assert "<script>window.planted" not in text, name
    hostile = (site / "claims" / file_name(sample.claim_number(0))).read_text(encoding="utf-8")
    assert hostile.count("&lt;script&gt;window.planted = true&lt;/script&gt;") >= 4


def test_a_claim_page_tells_the_whole_claim(site, sample) -> None:
    """Answer, money, twenty findings, evidence with its landed row, letter: all on the page."""
    text = (site / "claims" / file_name(sample.claim_number(3))).read_text(encoding="utf-8")
    assert "Not covered: The lead reason of 2025-11-30." in text
    assert "309.03" in text
    assert len(re.findall(r'<li class="(?:met|unmet)"><b>\d+\. ', text)) == 20
    assert "service_calls/calls.csv, line 5" in text
    assert "<dt>Call No.</dt><dd>CALL-00003</dd>" in text
    assert "Letter to Fennel Repair 3" in text
    assert "Condition 15 of 20, water tested; terms 2024-A, water.panel" in text
    assert "412.5 mg/L CaCO₃" in text


def test_ids_are_unique(site) -> None:
    """No page uses an id twice."""
    for name, page in _pages(site).items():
        ids = [attrs["id"] for _, attrs in page.tags if attrs.get("id")]
        assert len(ids) == len(set(ids)), name


def test_a_claim_alone_needs_no_other_file(sample) -> None:
    """One claim as a document has its charts as pictures, and no script or outside address."""
    page = Page(claim_document(sample.page_data(10), sample.claim_number(0)))
    assert page.of("script") == []
    assert page.of("link") == [{"rel": "icon", "href": "data:,"}]
    pictures = [attrs["src"] for attrs in page.of("img")]
    assert len(pictures) == 2
    assert all(src.startswith("data:image/svg+xml;base64,") for src in pictures)
    with pytest.raises(KeyError):
        claim_document(sample.page_data(1), "NO-SUCH-CLAIM")


def test_an_empty_workspace_has_pages_too(sample, tmp_path) -> None:
    """Without a single record every page is written, and says that there is nothing."""
    empty = type(sample.page_data(1))(
        maker="Tarnfell", as_of=sample.AS_OF, timezone="UTC", currency="USD"
    )
    build_site(empty, tmp_path, [])
    assert "No claim is open." in (tmp_path / "index.html").read_text(encoding="utf-8")
    assert "Nothing is set aside." in (tmp_path / "data.html").read_text(encoding="utf-8")


def test_hidden_names_are_on_no_page(sample, tmp_path) -> None:
    """What the settings hide is in no file of the site."""
    data = sample.page_data(12, hide=("site_name", "agency"))
    build_site(data, tmp_path, data.decisions["claim"].to_list())
    pages = list(tmp_path.rglob("*.html"))
    assert len(pages) > 12
    for path in pages:
        text = path.read_text(encoding="utf-8")
        assert "AGENCY" not in text, path
        assert "Fennel Repair" not in text, path
        assert "Kitchen 1" not in text, path


def test_charts_hold_no_rows_of_their_own() -> None:
    """Specifications are shared: they name their rows, and name a color only by token."""
    charts = specifications("USD")
    assert len(charts) > 5
    for name, spec in charts.items():
        text = str(spec)
        assert not re.search(r"#[0-9a-f]{6}", text), name
        assert spec["config"]["background"] == "transparent"


def test_every_chart_is_as_its_schema_wants_it() -> None:
    """Refreshes do not check the specifications; they are the same where they are checked."""
    assert specifications("USD", validate=True) == specifications("USD")


def test_what_charts_share_stays_where_it_is_already(sample, tmp_path) -> None:
    """It may be the file of the last pages, which nobody writes into."""
    (tmp_path / "assets").mkdir()
    (tmp_path / "assets/vega-bundle.js").write_text("library")
    (tmp_path / "assets/specifications.js").write_text("specifications")
    build_site(sample.page_data(1), tmp_path, [])
    assert (tmp_path / "assets/vega-bundle.js").read_text() == "library"
    assert (tmp_path / "assets/specifications.js").read_text() == "specifications"
