"""Search: however a number is typed, with its claims, in the order of what is meant."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.worklist.search import fold, folded, holding, near_numbers, search
from schemas.search import MOST, RESULTS, THINGS


def thing(kind: str, *fields: str, numbers: tuple = (), **more) -> dict:
    return {"kind": kind, "fields": list(fields), "numbers": list(numbers), "url": "x"} | more


def claim(number: str, serial: str, day: str, *fields: str, **more) -> dict:
    told = {"claim": number, "serial": serial, "failed_on": dt.date.fromisoformat(day)}
    return thing("claim", number, serial, *fields, numbers=(number,), **told | more)


def found(things: list[dict], query: str) -> list[str]:
    frame = pl.DataFrame([{n: r.get(n) for n in THINGS} for r in things], schema=THINGS)
    results, total = search(frame, query)
    assert results.schema == RESULTS
    assert total == results.height
    return [
        row["claim"] or row["serial"] or row["site"] or row["file"] for row in results.to_dicts()
    ]


TEXTS = ["WC-000 590", "wc_000/590", "#WC.000.590", "Ärzte Küche", "ＷＣ－000590", "a\\b", "ÉCOLE"]
# Dashes of all kinds, marks that are no accents, and signs that nobody sees.
TEXTS += ["WC\u301c1", "WC\u2e3a1", "WC1\ufe0f", "क्ष", "\u200fWC\u00ad1\u200b", "İZMİR"]


@pytest.mark.parametrize("text", TEXTS)
def test_both_sides_are_folded_alike(text) -> None:
    """Case, accents, width, and what parts a number make no difference."""
    column = pl.DataFrame({"text": [text]}).select(folded(pl.col("text"))).item()
    assert column == fold(text)
    assert not set(column) & set(" -_./\\#")


@pytest.mark.parametrize("query", ["WC-000590", "wc000590", "wc 000-590", "#000590", "00059"])
def test_a_number_is_found_however_it_is_typed(query) -> None:
    """Also a part of it."""
    assert found([claim("WC-000590", "U1", "2026-01-01")], query) == ["WC-000590"]


def test_a_number_is_found_as_it_is_pasted_from_elsewhere() -> None:
    """With a wave dash, a soft hyphen, a mark of direction or of the form of a sign."""
    things = [claim("WC-000590", "U1", "2026-01-01", "हिन्दी")]
    for query in (
        "WC\u301c000590",
        "WC\u00ad000590",
        "\u200fWC-000590",
        "WC-000590\ufe0f",
        "हिन्दी",
    ):
        assert found(things, query) == ["WC-000590"]


def test_words_may_stand_in_different_fields_and_the_whole_in_one() -> None:
    """Each word somewhere; all words together in one field; not one word alone of two."""
    things = [
        claim("K1", "U1", "2026-01-01", "North Service", "Café Linn"),
        claim("K2", "U2", "2026-01-02", "North Service", "Grill"),
    ]
    assert found(things, "linn north") == ["K1"]
    assert found(things, "cafe linn") == ["K1"]
    assert found(things, "north") == ["K2", "K1"]
    assert found(things, "north nowhere") == []


def test_words_may_be_of_a_claim_and_of_its_unit() -> None:
    """The report of its unit and the name of its agency; not the agency of another unit's claim."""
    things = [
        claim("K1", "U1", "2026-01-01", "North Service"),
        claim("K2", "U2", "2026-01-02", "North Service"),
        claim("K3", "U1", "2026-01-03", "South Service"),
        thing("unit", "U1", "REPORT-7", numbers=("U1", "REPORT-7"), serial="U1"),
    ]
    assert found(things, "report-7 north") == ["K1"]
    assert found(things, "north north") == ["K2", "K1"]
    frame = pl.DataFrame([{n: r.get(n) for n in THINGS} for r in things], schema=THINGS)
    assert holding(frame, "report-7 south")["claim"].to_list() == ["K3"]


def test_exact_numbers_go_first_then_claims_the_newest_first() -> None:
    """Then what is no claim."""
    things = [
        thing("unit", "U12", numbers=("U12",), serial="U12"),
        claim("K1", "U120", "2026-01-01"),
        claim("K2", "U121", "2026-03-01"),
        thing("set_aside", "U12 row", file="f.csv", line=3),
    ]
    assert found(things, "U12") == ["U12", "K2", "K1", "f.csv"]


@pytest.mark.parametrize(
    ("kind", "key"), [("unit", "serial"), ("agency", "agency"), ("site", "site")]
)
def test_a_record_brings_its_claims(kind, key) -> None:
    """Found by a report's number, which no claim has."""
    things = [
        thing(kind, "REPORT-7", numbers=("REPORT-7",), **{key: "X"}),
        claim("K1", "U1", "2026-01-01") | {key: "X"},
        claim("K2", "U2", "2026-01-01"),
    ]
    results = found(things, "report 7")
    assert "K1" in results
    assert "K2" not in results


def test_no_more_than_200_with_the_number_of_all() -> None:
    """The total tells how many there are."""
    rows = [claim(f"K{n:04}", "U1", "2026-01-01") for n in range(MOST + 5)]
    frame = pl.DataFrame([{n: r.get(n) for n in THINGS} for r in rows], schema=THINGS)
    results, total = search(frame, "k")
    assert (results.height, total) == (200, 205)


def test_near_numbers() -> None:
    """Zeros and dashes make no difference; else one edit; nothing near gives nothing."""
    numbers = pl.Series(["WC-000590", "WC-000591", "CL-7", None])
    assert near_numbers("wc-590", numbers) == ["WC-000590"]
    assert near_numbers("WC-00590", numbers) == ["WC-000590"]
    assert near_numbers("WC-59O", numbers) == ["WC-000590", "WC-000591"]
    assert near_numbers("zzz", numbers) == []


def test_of_exact_numbers_claims_come_first_and_signs_are_taken_as_they_are() -> None:
    """The newest claim of all, then what else has the number; a bracket is a bracket."""
    things = [
        thing("unit", "590", numbers=("590",), serial="590"),
        claim("590", "U1", "2026-01-01"),
        thing("site", "Grill (Linn)", site="S1"),
    ]
    assert found(things, "590") == ["590", "590"]
    frame = pl.DataFrame([{n: r.get(n) for n in THINGS} for r in things], schema=THINGS)
    assert search(frame, "590")[0]["kind"].to_list() == ["claim", "unit"]
    assert found(things, "(linn") == ["S1"]


def test_no_more_than_five_near_numbers() -> None:
    """The first five in their order."""
    numbers = pl.Series([f"WC-10{place}" for place in range(9, 1, -1)])
    assert near_numbers("WC-101", numbers) == ["WC-102", "WC-103", "WC-104", "WC-105", "WC-106"]
