"""A cartridge is due no later than the treatment counts as kept up, whichever way lasts longer."""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.startups.cartridges_due import due_while_kept_up

STAKE = "cover of failures that water brings about; the cartridge of SOFT runs out"


def matter(serial: str, name: str, due_on: date) -> dict[str, object]:
    """A row of `upcoming` as of 2026-09-30, as far as it matters."""
    left = (due_on - date(2026, 9, 30)).days
    return {"serial": serial, "matter": name, "due_on": due_on, "days_left": left,
            "at_stake": STAKE, "sentence": "as it was"}  # fmt: skip


def test_a_cartridge_is_due_by_the_day_to_which_a_claim_takes_it_as_kept_up() -> None:
    """Sooner only, with its days and its sentence; other matters and units stay as they are."""
    january, november = date(2027, 1, 29), date(2026, 11, 21)
    given = pl.DataFrame(
        [
            matter("U1", "cartridge due", january),
            matter("U1", "deliming due", january),
            matter("U2", "cartridge due", november),
            matter("U3", "cartridge due", january),
        ]
    )
    kept = pl.DataFrame(
        {"serial": ["U1", "U2", "U3"], "kept_until": [november, january, None]},
        schema_overrides={"kept_until": pl.Date},
    )
    told = due_while_kept_up(given, kept)
    assert told.columns == given.columns
    assert told.select("serial", "due_on", "days_left").rows() == [
        ("U1", november, 52), ("U1", january, 121), ("U2", november, 52), ("U3", january, 121),
    ]  # fmt: skip
    assert told["sentence"].to_list()[1:] == ["as it was"] * 3
    assert "unit U1 changed and the change reported by 21 November 2026" in told["sentence"][0]
