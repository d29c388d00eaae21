"""What commands print for people shows what a value holds, and obeys none of it."""

from __future__ import annotations

import json
from decimal import Decimal

import polars as pl
import pytest

from pipelines.cli.console.output import json_rows, print_json, progress, say, visible
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31mred\x1b[0m", "\u241b[31mred\u241b[0m"),
        ("\x9b2J", "\\u009b2J"),
        ("over\rwritten\x08\x7f\x00", "over\u240dwritten\u2408\\u007f\u2400"),
        ("\u202etxt.csv", "\\u202etxt.csv"),
        ("a\tb\nÄ 漢 °", "a\tb\nÄ 漢 °"),
    ],
)
def test_control_characters_are_shown(text: str, shown: str, capsys: pytest.CaptureFixture) -> None:
    """Colors, cursor moves and turned text of a value do not reach the terminal."""
    assert visible(text) == shown
    say(text)
    progress(text)
    told = capsys.readouterr()
    assert (told.out, told.err) == (f"{shown}\n", f"{shown}\n")


def test_json_keeps_what_it_escapes(capsys: pytest.CaptureFixture) -> None:
    """A program reads the value itself."""
    value = {"value": "\x1b[31m\u202e\x9b\x7f ü"}
    print_json(value)
    told = capsys.readouterr().out
    assert not {"\x1b", "\u202e", "\x9b", "\x7f"} & set(told)
    assert json.loads(told) == value


@pytest.mark.parametrize(
    ("estimate", "amount"),
    [(0.125, "0.13"), (-0.125, "-0.13"), (2.375, "2.38"), (2.0, "2.00"), (float("inf"), None)],
)
def test_an_estimate_of_money_is_an_amount_to_the_cent(estimate: float, amount: str | None) -> None:
    """Half a cent goes away from zero, as in all money; what is no number is null."""
    table = FIELD_TABLES["forecast"]
    frame = polars_schema(table).to_frame(eager=True)
    row = pl.DataFrame({"cost": [estimate]}, schema_overrides={"cost": frame.schema["cost"]})
    told = json_rows(table, pl.concat([frame, row], how="diagonal"))
    assert [one["cost"] for one in told] == [None if amount is None else Decimal(amount)]
