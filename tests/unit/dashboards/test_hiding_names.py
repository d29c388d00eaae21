"""Hidden names are gone from every frame before a page is made."""

from __future__ import annotations

import polars as pl
import pytest

from dashboards.hiding import HIDDEN, hide_in_tables, hide_names


def _texts(data) -> str:
    frames = [value for value in vars(data).values() if isinstance(value, pl.DataFrame)]
    frames += list(data.figures.values())
    return "\n".join(frame.write_json() for frame in frames)


def test_agencies_vanish_with_their_codes_and_names(sample) -> None:
    """No frame holds an agency's code or name, and no sentence either."""
    data = sample.page_data(12, hide=("agency",))
    reason = pl.lit("AGENCY3 was not authorized; Fennel Repair 3 is AGENCY3's name.")
    data = sample.page_data(
        12, hide=("agency",), findings=data.findings.with_columns(reason=reason)
    )
    shown = hide_names(data)
    text = _texts(shown)
    assert "AGENCY" not in text
    assert "Fennel Repair" not in text
    assert shown.findings["reason"][0].startswith(f"{HIDDEN} was not authorized; {HIDDEN} is")
    assert shown.findings.height == data.findings.height


def test_site_names_vanish_but_sites_stay(sample) -> None:
    """A kitchen's name is hidden; the site's number is not."""
    shown = hide_names(sample.page_data(12, hide=("site_name",)))
    text = _texts(shown)
    assert "Kitchen 1" not in text
    assert shown.decisions["site_name"].null_count() == 12
    assert shown.decisions["site"].null_count() == 0
    assert "AGENCY1" in text


def test_nothing_is_touched_without_hiding(sample) -> None:
    """Without names to hide the very same data comes back."""
    data = sample.page_data(3)
    assert hide_names(data) is data


def test_other_columns_cannot_be_hidden(sample) -> None:
    """A column that pages need cannot be hidden, and the fault names those that can."""
    with pytest.raises(ValueError) as caught:
        hide_names(sample.page_data(3, hide=("verdict",)))
    assert str(caught.value).startswith("'verdict' cannot be hidden; site_name, agency, ")


def test_laboratories_vanish_from_the_checks_of_the_night(sample) -> None:
    """Checks of one laboratory are left out; those of feeds and claims stay."""
    shown = hide_names(sample.page_data(3, hide=("lab",)))
    assert "Dale Water" not in _texts(shown)
    assert shown.night_checks["check"].to_list() == ["freshness", "claim_count"]


def test_tables_that_no_page_shows_are_hidden_too(sample):
    """Columns go, their values in texts, keys and file names are masked, whole words alone."""
    data = sample.page_data(12, hide=("agency",))
    agency = data.decisions["agency"].drop_nulls()[0]
    cited = {"feed": "units", "key": agency, "file": f"units/{agency}.csv", "line": 3}
    tables = {
        "service_calls": pl.DataFrame(
            {"agency": [agency], "notes": [f"Done by {agency}."], "source_file": ["calls.csv"]}
        ),
        "claim_overview": pl.DataFrame({"agency_name": ["Whoever"], "evidence": [[cited]]}),
        "reference_agencies": pl.DataFrame({"agency": [agency], "name": ["Whoever"]}),
    }
    shown = hide_in_tables(data, tables)
    assert shown["service_calls"].row(0) == (None, f"Done by {HIDDEN}.", "calls.csv")
    overview = shown["claim_overview"].row(0, named=True)
    assert overview["agency_name"] is None
    assert overview["evidence"] == [
        {"feed": "units", "key": HIDDEN, "file": f"units/{HIDDEN}.csv", "line": 3}
    ]
    assert shown["reference_agencies"].is_empty()
