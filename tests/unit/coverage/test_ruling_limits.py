"""Who may rule, and up to what amount."""

from decimal import Decimal

import polars as pl
import pytest

from pipelines.coverage.ruling_limits import beyond_limit, granted, limit_of
from schemas.columns import CENTS

LIMITS = {"M. Odell": Decimal(2000), "R. Ames": Decimal("99.50"), "*": Decimal(0)}
WORTH = {
    "parts_if_covered": Decimal("200"),
    "labor_if_covered": Decimal("170"),
    "travel_if_covered": Decimal("60"),
    "parts_payable": Decimal("200"),
    "labor_payable": Decimal(0),
    "travel_payable": Decimal(0),
}


@pytest.mark.parametrize(
    ("person", "limits", "most"),
    [
        ("M. Odell", LIMITS, Decimal(2000)),
        (" m. odell ", LIMITS, Decimal(2000)),
        ("Someone", LIMITS, Decimal(0)),
        ("Someone", {"M. Odell": Decimal(1)}, None),
    ],
)
def test_a_person_is_found_whatever_the_capitals(person, limits, most):
    """Whoever is not named goes by `*`, and may not rule where that is missing."""
    assert limit_of(person, limits) == most


@pytest.mark.parametrize(
    ("ruling", "given", "total"),
    [
        ("covered", {}, "430"),
        ("covered", {"labor": Decimal(0)}, "260"),
        ("covered_in_part", {}, "200"),
        ("not_covered", {}, "0"),
        ("not_covered", {"travel": Decimal("12.5")}, "12.5"),
    ],
)
def test_a_ruling_grants_its_own_amounts_and_otherwise_what_its_word_pays(ruling, given, total):
    """Line by line, as the standing amounts will be."""
    assert granted(ruling, given, WORTH) == Decimal(total)


@pytest.mark.parametrize(
    ("by", "standing", "beyond"),
    [
        ("R. Ames", "99.50", True),  # two lines of it
        ("R. Ames", "49.75", False),
        ("r. ames", "49.75", False),
        ("Someone", "0.00", False),
        ("Someone", "0.01", True),
        (None, "500.00", False),
    ],
)
def test_a_ruling_beyond_its_makers_limit_is_marked(by, standing, beyond):
    """Exactly the limit is within it; a claim without a ruling is never beyond."""
    frame = pl.DataFrame(
        {
            "ruling": [None if by is None else "covered"],
            "ruled_by": [by],
            "parts_standing": [Decimal(standing)],
            "labor_standing": [Decimal(standing)],
            "travel_standing": [Decimal(0)],
        },
        schema_overrides={"ruling": pl.String, "ruled_by": pl.String}
        | {f"{line}_standing": CENTS for line in ("parts", "labor", "travel")},
    )
    assert frame.select(found=beyond_limit(LIMITS)).item() is beyond
    assert frame.select(found=beyond_limit(None)).item() is False
    unnamed = {"M. Odell": Decimal(1)}
    assert frame.select(found=beyond_limit(unnamed)).item() is (by is not None)


def test_a_marked_ruling_stands_all_the_same(tools, bench):
    """Rulings from exports are never dropped; the decision says that one is beyond its limit."""
    from pipelines.coverage.decisions import decide

    rulings = [
        {"claim": "K1", "ruled_at": "2024-10-01T09:00:00", "ruled_by": "R. Ames"}
        | {"ruling": "covered", "reason": "goodwill"}
    ]
    evidence = tools.evidence_of(units=[tools.UNIT], service_calls=[tools.CALL], rulings=rulings)
    for limits, beyond in ((None, False), (LIMITS, True), ({"R. Ames": Decimal(9999)}, False)):
        decided = decide(evidence, bench.terms(tools.BENCH_TERMS), ruling_limits=limits)
        row = tools.decision(decided)
        assert (row["standing"], row["ruling_beyond_limit"]) == ("covered", beyond)
