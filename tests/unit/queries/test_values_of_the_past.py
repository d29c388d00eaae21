"""How the archive's values are told: numbers as people write them."""

from pipelines.queries.past_explanation import _as_amounts


def test_decimals_are_told_without_idle_zeros() -> None:
    """Money to the cent, unless it was written finer; hours as they were; all else untouched."""
    values = {
        "call": "100.00",
        "parts_amount": "200.000000",
        "labor_rate": "90.125000",
        "travel_amount": "0.000000",
        "labor_hours": "10.0000000000",
        "notes": "2.50",
    }
    assert _as_amounts("service_calls", values) == values | {
        "parts_amount": "200.00",
        "labor_rate": "90.125000",
        "travel_amount": "0.00",
        "labor_hours": "10",
    }
    assert _as_amounts("service_calls", {"labor_hours": "1.2500000000"}) == {"labor_hours": "1.25"}
