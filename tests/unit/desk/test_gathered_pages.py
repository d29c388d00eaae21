"""Pages asked for at the same time are gathered in one go, but not where names are hidden."""

from contextlib import nullcontext
from dataclasses import dataclass, field
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.desk import claim_content as room


@dataclass(frozen=True)
class Data:
    """What the pages show, as far as gathering looks at it."""

    claims: tuple[str, ...]
    water_values: dict = field(default_factory=lambda: {"sample": None})
    water_profiles: object = None


@pytest.mark.parametrize(
    ("hide", "goes"), [((), [("K1", "K2")]), (("site_name",), [("K1",), ("K2",)])]
)
def test_what_one_page_hides_is_no_others_to_hide(hide, goes, monkeypatch):
    """Names are hidden in all texts of a go, so that then each claim has its own."""
    seen = []

    def data_of_claims(inputs, con, claims, *, alone):
        assert alone
        assert claims.dtype == pl.String
        return Data(tuple(claims))

    def hidden(data):
        seen.append(data.claims)
        return data

    inputs = SimpleNamespace(settings=SimpleNamespace(hide=hide))
    monkeypatch.setattr(room, "load_inputs", lambda *_: inputs)
    now = SimpleNamespace(inputs=inputs, con=None)
    monkeypatch.setattr(room, "store_now", lambda given: nullcontext(now))
    monkeypatch.setattr(room, "decided_since", lambda *_: None)
    # K3 is on record no more.
    monkeypatch.setattr(room, "_decided", lambda _, __, claims: [c for c in claims if c != "K3"])
    monkeypatch.setattr(room, "data_of_claims", data_of_claims)
    monkeypatch.setattr(room, "rows_of", lambda *_: None)
    monkeypatch.setattr(room, "hide_names", hidden)

    def contents(data, claims, _):
        return ({"claim": claim, "of": data.claims} for claim in claims)

    monkeypatch.setattr(room.claim_pages, "contents", contents)
    site = SimpleNamespace(workspace=SimpleNamespace(root="here"), day=None, desk=None)
    made = room._made(site, ["K1", "K2", "K3"])
    assert [go for go in seen if go] == goes
    assert {claim: content and content["claim"] for claim, content in made.items()} == {
        "K1": "K1", "K2": "K2", "K3": None
    }  # fmt: skip
