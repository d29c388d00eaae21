"""Every count of the sample's Field page opens as many failures, and every mark opens some list."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.failures_behind import Failures, page_json


@pytest.fixture(scope="module")
def site(sample):
    """The published pages of the sample."""
    return sample[0] / "published"


@pytest.fixture(scope="module")
def failures(site) -> Failures:
    """What the page of failures lists."""
    return Failures(site)


@pytest.fixture(scope="module")
def views(site) -> dict:
    """The views of all figures, as the page's script reads them."""
    return page_json(site / "field.html", "field-data")["views"]


def test_every_count_has_as_many_failures(views, failures) -> None:
    """Thousands of counts over all figures, choices and picks."""
    seen: Counter[str] = Counter()
    wrong = []
    for figure, own in views.items():
        for key, view in own.items():
            links = [cell for row in view["table"][1:] for cell in row if isinstance(cell, list)]
            for text, to in links:
                count = text.replace(",", "")
                if not count.replace(".", "").isdigit():
                    continue
                seen[figure] += 1
                if failures.of(to) != float(count):
                    wrong.append((figure, key, text, to, failures.of(to)))
    assert wrong == []
    assert len(seen) >= 12
    assert sum(seen.values()) > 3000


def test_every_mark_opens_a_list(views, failures) -> None:
    """Bars, dots, cells and tiles select by columns that there are; nearly all find failures."""
    marks = 0
    empty = 0
    for own in views.values():
        for view in own.values():
            for part in view["charts"].values():
                for columns, *rows in part["rows"].values():
                    at = columns.index("to") if "to" in columns else None
                    for to in [row[at] for row in rows if at is not None and row[at] is not None]:
                        marks += 1
                        empty += failures.of(to) == 0
    assert marks > 3000
    assert empty < marks / 5


def test_every_figure_of_the_page_links_to_its_handout(site) -> None:
    """The address of each handout leads to a page without a script."""
    text = (site / "field.html").read_text(encoding="utf-8")
    names = {part.split('"')[0] for part in text.split('href="handouts/')[1:]}
    assert len(names) > 12
    for name in names:
        handout = (site / "handouts" / name).read_text(encoding="utf-8")
        assert "<script" not in handout
        assert "limeledger field " in handout
