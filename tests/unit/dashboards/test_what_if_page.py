"""The page of other terms: its sentences, its sums, and nothing that came in with the data."""

import re

from tests.unit.dashboards.what_if_sample import SCRIPT, page


def test_the_answer_and_the_sums_are_told():
    """One sentence first; groups that do not change stand in one line."""
    text = page()
    assert (
        "1 of 3 claims would move: 150.00 USD payable in place of 50.00 USD, a change of "
        "+100.00 (+200.0%)." in text
    )
    assert "With the rulings in force, 150.00 USD would be to be paid in place of 50.00" in text
    assert '<td>no change</td><td class="number">2</td>' in text
    rows = [re.findall(r"<td[^>]*>([^<]*)</td>", row) for row in text.split("<tr>")]
    assert ["Covered", "2", "3", "+1"] in rows
    assert ["Not covered", "1", "0", "−1"] in rows
    assert "expected to cost 1,000 USD as it is and 1,250 USD under the other terms" in text
    assert text.count("data:image/svg+xml;base64,") == 2


def test_nothing_that_came_in_with_the_data_runs():
    """Names and reasons are escaped, and the page takes no script at all."""
    text = page()
    assert SCRIPT not in text
    assert "<script" not in text
    assert "US-&lt;script&gt;" in text


def test_reasons_that_name_agencies_stay_off_a_page_that_hides_them():
    """Where the settings hide agencies."""
    assert "NORTH was authorized" in page()
    assert "NORTH" not in page(hide=("agency",))


def test_terms_that_move_nothing_say_so():
    """No chart of groups, no table of claims."""
    text = page(moved=False)
    assert "None of 3 claims moves; the money stays as it is." in text
    assert "Claims that move" not in text
