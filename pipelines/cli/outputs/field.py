"""What `limeledger field --json` prints.

Belongs here: its JSON Schema. Does not belong here: the command (`pipelines.cli.field`).
"""

from __future__ import annotations

from typing import Any


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.field.dimensions import ALL_DIMENSIONS
    from pipelines.field.figures import FIGURES
    from schemas import json_schema as js
    from schemas.field import FIELD_TABLES

    rates = js.row_of(FIELD_TABLES["rates"], "--by with other dimensions: a row.")
    rates["additionalProperties"] = {"type": "string"}
    rates["propertyNames"] = {"enum": [*rates["properties"], *ALL_DIMENSIONS]}
    # An empty list is of every figure, so that more than one form may fit.
    return {
        "anyOf": [
            *(
                js.rows_of(table, f"--figure {name}: its rows for the slice.")
                for name, table in FIELD_TABLES.items()
                if name in FIGURES
            ),
            js.listing("Rates by dimensions beside the six, as columns of their names.", rates),
            _comparison_schema(),
        ]
    }


def _comparison_schema() -> dict[str, Any]:
    from schemas import json_schema as js

    limits = {
        name: js.or_null(js.number(f"{word} 95 % limit."))
        for name, word in (("low", "Lower"), ("high", "Upper"))
    }
    side = js.record(
        {
            "failures": js.integer("Its failures."),
            "units": js.integer("Units watched for a day or more."),
            "unit_years": js.number("Its time.", least=0),
            "rate_per_100": js.or_null(js.number("Failures per 100 unit-years.", least=0)),
            **limits,
        }
    )
    ratio = js.record(
        {
            "method": js.word("How.", ("exact", "robust", "mantel_haenszel")),
            "ratio": js.or_null(js.number("The first side's rate over the second's.")),
            **limits,
            "p_value": js.or_null(js.number("Two-sided.", least=0, most=1)),
        }
    )
    return js.record(
        {
            "a": {**side, "description": "The first side."},
            "b": {**side, "description": "The second side."},
            "ratios": js.listing("By each method.", ratio),
            "left_out": js.integer("Failures in strata in which one side has no time."),
            "sentence": js.text("What it says."),
        },
        "--compare: two sides.",
    )
