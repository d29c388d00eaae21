"""Parameters of what programs read at the desk: what is taken, and what is refused."""

from __future__ import annotations

import pytest

from pipelines.desk.problems import Problem
from pipelines.desk.reading import parameters
from pipelines.desk.readings import READINGS


@pytest.mark.parametrize(
    ("limit", "sound"), [("1", True), ("1000", True), (" 7 ", True), ("0", False), ("1001", False)]
)
def test_a_list_gives_one_to_a_thousand_rows(limit, sound) -> None:
    """The ends of what may be asked for, of every list that has a limit."""
    lists = [one for one in READINGS if "limit" in one.parameters]
    assert {"list_claims", "list_letters", "list_corrections"} <= {one.name for one in lists}
    for one in lists:
        if sound:
            assert parameters(one.parameters, {"limit": limit}) == {"limit": int(limit)}
            continue
        with pytest.raises(Problem) as caught:
            parameters(one.parameters, {"limit": limit})
        assert caught.value.status == 422
        assert "limit is no whole number from 1 to 1000." in str(caught.value.detail)
