"""What other terms come to, as `what-if` tells it."""

from __future__ import annotations

from pipelines.counterfactuals.comparison import GROUPS
from schemas import codes
from schemas import json_schema as js

_SIDES = (("before", "under the terms as they are"), ("after", "under the other terms"))


def comparison() -> js.Schema:
    """Verdicts that move, the money before and after, and the year to come."""
    return js.record(
        {
            "reading": js.text("Which edition stands in the place of which."),
            "as_of": js.day("The day as of which claims were decided."),
            "currency": js.text("The currency of all amounts.", "^[A-Z]{3}$"),
            "claims": js.integer("Claims decided again."),
            "claims_moved": js.integer("Of them, those whose verdict or money moves."),
            "changed_since_refresh": js.flag(
                "Whether settings, terms or reference files have changed since the last refresh."
            ),
            "verdicts": js.listing(
                "Claims by verdict.",
                js.record(
                    {"verdict": js.word("The verdict.", codes.VERDICTS)}
                    | {f"claims_{side}": js.integer(f"Claims {words}.") for side, words in _SIDES}
                ),
            ),
            "lines": js.listing("The money by line.", _line()),
            "moves": js.listing("What moves, most claims first.", _move()),
            "groups": js.listing("Payable by group.", _group()),
            "moved": js.listing("The claims that move.", _claim()),
            "forecast": js.listing("The months to come.", _month()),
            "forecast_method": js.text("How the forecast is made, and what to mind."),
            "expected": js.listing("What each moved limit may come to in 12 months.", _limit()),
        }
    )


def _amounts(kind: str, description: str) -> dict[str, js.Schema]:
    return {f"{kind}_{side}": js.amount(f"{description} {words}.") for side, words in _SIDES}


def _line() -> js.Schema:
    return js.record(
        {
            "line": js.word("The line.", ("parts", "labor", "travel")),
            "claimed": js.amount("What was claimed."),
        }
        | _amounts("payable", "Payable")
        | _amounts("standing", "To be paid with the rulings that stand,")
    )


def _through() -> js.Schema:
    return js.or_null(
        js.word("The condition that moves it; null where only the money does.", codes.CONDITIONS)
    )


def _verdicts() -> dict[str, js.Schema]:
    return {
        f"verdict_{side}": js.word(f"The verdict {words}.", codes.VERDICTS)
        for side, words in _SIDES
    }


def _move() -> js.Schema:
    return js.record(
        _verdicts()
        | {"through": _through(), "claims": js.integer("Claims that move so.", least=1)}
        | _amounts("payable", "Payable")
    )


def _group() -> js.Schema:
    return js.record(
        {
            "by": js.word("By what.", GROUPS),
            "group": js.text("The family, region, water profile, or month as 2026-03."),
            "claims": js.integer("Its claims."),
            "moved": js.integer("Of them, those that move."),
        }
        | _amounts("payable", "Payable")
        | {"change": js.amount("After less before.", signed=True)}
    )


def _claim() -> js.Schema:
    return js.record(
        {
            "claim": js.text("The claim."),
            "family": js.text("The unit's family; `unknown` where not known."),
            "region": js.text("Its region; `unknown` where not known."),
            "profile": js.text("The class of its water; `unknown` where not known."),
            "failed_on": js.day("The failure date that was used."),
            "cause_class": js.word(
                "The class of the cause; `unknown` where not known.",
                (*codes.CAUSE_CLASSES, "unknown"),
            ),
        }
        | {
            f"edition_{side}": js.or_null(js.text(f"The edition {words}."))
            for side, words in _SIDES
        }
        | _verdicts()
        | {"through": _through()}
        | {
            f"outcome_{side}": js.or_null(js.word(f"Its outcome {words}.", codes.OUTCOMES))
            for side, words in _SIDES
        }
        | {f"reason_{side}": js.or_null(js.text(f"Its reason {words}.")) for side, words in _SIDES}
        | _amounts("payable", "Payable in all")
    )


def _month() -> js.Schema:
    return js.record(
        {
            "family": js.text("The family; `all` for the fleet."),
            "month": js.day("The month's first day."),
        }
        | {
            f"failures_{side}": js.or_null(js.number(f"Failures expected {words}.", least=0))
            for side, words in _SIDES
        }
        | {
            f"cost_{side}": js.or_null(js.amount(f"Cost expected {words}."))
            for side, words in _SIDES
        }
    )


def _limit() -> js.Schema:
    def figures(*names: str, words: str) -> dict[str, js.Schema]:
        return {
            name: js.or_null(js.number(f"{words}{end}."))
            for name, end in zip(names, ("", ", lower 95 % limit", ", upper one"), strict=True)
        }

    return js.record(
        {
            "family": js.text("The family."),
            "analyte": js.word("The analyte.", codes.LIMITED_ANALYTES),
            "limit_before": js.or_null(js.number("The limit as it is; null where none.")),
            "limit_after": js.or_null(js.number("The limit under the other terms.")),
            "units": js.integer("Units in cover whose analyte lies between."),
            "unit_years": js.number("Their time in cover in the next 12 months.", least=0),
            "treated_unit_years": js.number("Of it, that of units treated for it.", least=0),
        }
        | figures("extra_failures", "low", "high", words="Failures more, or fewer")
        | {
            name: js.or_null(js.amount(f"{words}.", signed=True))
            for name, words in (
                ("extra_cost", "What they cost"),
                ("cost_low", "Its lower 95 % limit"),
                ("cost_high", "Its upper 95 % limit"),
            )
        }
        | {"note": js.or_null(js.text("How to read it, or why a figure is missing."))}
    )
