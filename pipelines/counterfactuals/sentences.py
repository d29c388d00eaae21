"""What would turn a verdict, in sentences.

Belongs here: the words of each fact, as something to send or to correct and as something that
should have been. Does not belong here: which facts turn a claim (`search`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pipelines.counterfactuals.turns import Counterfactuals, Turn
from pipelines.coverage.conditions.installation_sound import READING_WORDS
from pipelines.water.limits import ANALYTE_WORDS

MOST_TURNS = 3
COVERED = "Nothing is short: the claim is covered."
_VERDICTS = {"covered": "covered", "covered_in_part": "covered in part"}
_FIRST = {
    "unit_on_register": "First it must be proved which unit this is; nothing more can be told yet",
    "terms_in_force": "First the terms must be found that applied; nothing more can be told yet",
}
_Words = Callable[[Mapping[str, Any]], str]


def sentences_of(counterfactuals: Counterfactuals) -> list[str]:
    """One sentence a set of facts, at most three; or why nothing turns the verdict."""
    if counterfactuals.verdict == "covered":
        return [COVERED]
    if counterfactuals.turns:
        return [_turn(turn) for turn in counterfactuals.turns[:MOST_TURNS]]
    if counterfactuals.closed:
        return [
            f"{_FIRST.get(name, 'No document, date or correction turns this')}: {reason}"
            for name, reason in counterfactuals.closed
        ]
    return ["No set of facts that was tried turns this; a person must look at the findings."]


def as_data(counterfactuals: Counterfactuals) -> list[dict[str, Any]]:
    """The same for programs: one entry a set of facts."""
    return [
        {
            "verdict": turn.verdict,
            "still_possible": turn.possible,
            "facts": [
                {
                    "kind": fact["kind"],
                    "condition": fact["condition"],
                    "standing": fact["standing"],
                    "day": fact["day"],
                    "words": words_of(fact, turn),
                    "on_record": fact["reason"],
                }
                for fact in turn.facts
            ],
        }
        for turn in counterfactuals.turns
    ]


def words_of(fact: Mapping[str, Any], turn: Turn) -> str:
    """The fact as a thing (to send, to correct), or as a clause behind `had`."""
    if fact["kind"] == "installed" and any(other["kind"] == "order" for other in turn.facts):
        fact = {**fact, "text": "it" if fact["standing"] == "past" else "that treatment"}
    return _WORDS[fact["kind"], fact["standing"]](fact)


def _turn(turn: Turn) -> str:
    verdict = _VERDICTS[turn.verdict]
    things = [words_of(fact, turn) for fact in turn.facts if fact["standing"] != "past"]
    clauses = [words_of(fact, turn) for fact in turn.facts if fact["standing"] == "past"]
    if not clauses:
        if len(things) == 1:
            return f"With {things[0]}, it would be {verdict}."
        return f"With all of these together it would be {verdict}: {'; '.join(things)}."
    reasons = dict.fromkeys(
        fact["reason"] for fact in turn.facts if fact["standing"] == "past" and fact["reason"]
    )
    return " ".join(
        [
            f"Too late to help: it would have been {verdict} had {' and had '.join(clauses)}.",
            *([f"It would also need {' and '.join(things)}."] if things else []),
            f"On record: {' '.join(reasons)}",
        ]
    )


def _say(words: str) -> _Words:
    def spoken(fact: Mapping[str, Any]) -> str:
        items = fact["items"] or []
        return words.format(
            day=fact["day"],
            text=fact["text"] or "the treatment",
            months=f"{fact['months']} months" if fact["months"] != 1 else "month",
            products=" with ".join(items),
            analytes=", ".join(ANALYTE_WORDS.get(item, (item,))[0] for item in items),
        )

    return spoken


def _reading(fact: Mapping[str, Any]) -> str:
    if fact["text"] == "level":
        return "the unit stood level at its start-up"
    if fact["text"] == "under_hood":
        return "the unit stood under a hood at its start-up"
    return f"the {READING_WORDS[fact['text']]} been within its limits at the start-up"


def _installation(fact: Mapping[str, Any]) -> str:
    later = "or later" if fact["condition"] != "records_agree" else "or earlier"
    return f"proof that the unit was installed on {fact['day']} {later}"


_WORDS: dict[tuple[str, str], _Words] = {
    ("serial", "send"): _say("the serial of the claim corrected to {text}"),
    ("purchased_on", "send"): _say("proof that the unit was bought on {day} or later"),
    ("purchased_on", "correct"): _say("a corrected purchase date, {day} or earlier"),
    ("installed_on", "send"): _installation,
    ("installed_on", "correct"): _say("a corrected installation date, such as {day}"),
    ("failed_on", "correct"): _say("a corrected failure date, such as {day}"),
    ("retired_on", "correct"): _say("a corrected retirement date, {day} or later"),
    ("startup_after_shipment", "correct"): _say(
        "a corrected completion date of the start-up, {day} or later"
    ),
    ("completed_on", "send"): _say("the completion date of the repair, such as {day}"),
    ("completed_on", "correct"): _say("a corrected completion date of the repair, {day} or later"),
    ("claimed_on", "send"): _say("a filing date of the claim that is {day} or earlier"),
    ("claimed_on", "correct"): _say("a corrected filing date of the claim, {day} or later"),
    ("claimed_on", "past"): _say("the claim been filed by {day}"),
    ("agency", "send"): _say("the name of the agency, one that was authorized on {day}"),
    ("agency", "past"): _say("the work been done by an agency that was authorized on {day}"),
    ("only_claim", "correct"): _say("a ruling that the claim filed before is for another failure"),
    ("other_cause", "correct"): _say("a finding that the earlier repair was of another cause"),
    ("startup_requested", "send"): _say("a request date of the start-up that is {day} or earlier"),
    ("startup_requested", "past"): _say("a start-up been asked for by {day}"),
    ("startup_completed", "send"): _say("the report of a start-up completed by {day}"),
    ("startup_completed", "past"): _say("a start-up been completed by {day}"),
    ("cause", "send"): _say("the cause of the failure, as a code that is {text} and not excluded"),
    ("reading", "past"): _reading,
    ("water_test", "send"): _say(
        "a complete supply water test sampled by {day}, if nothing in it is outside the limits"
    ),
    ("missing_results", "send"): _say(
        "the results that test {text} of {day} lacks ({analytes}), if within the limits"
    ),
    ("order", "send"): _say(
        "the order of a treatment against {text}, such as {products}, new, from an approved "
        "seller, by {day}"
    ),
    ("order", "past"): _say(
        "a treatment against {text}, such as {products}, been bought new from an approved seller "
        "by {day}"
    ),
    ("installed", "send"): _say("proof of the installation of {text} by {day}"),
    ("installed", "past"): _say("{text} been installed by {day}"),
    ("fitted_earlier", "correct"): _say(
        "proof that {text} was installed on {day} or earlier, not so shortly before the failure"
    ),
    ("upkeep", "send"): _say("proof that the cartridges of {text} were kept up to {day}"),
    ("upkeep", "past"): _say("the cartridges of {text} been kept up to {day}"),
    ("delimings", "send"): _say("a log of its deliming, at least every {months} up to {day}"),
    ("delimings", "past"): _say("a technician delimed it at least every {months} up to {day}"),
}
