"""What a letter says: reasons with day and clause, documents, money, cautions, no blame."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from pipelines.coverage import decide, seen
from pipelines.coverage.claims import claims_of
from pipelines.coverage.judging import CONDITIONS
from pipelines.letters import letters_of
from pipelines.letters.cautions import HAZARDS
from pipelines.letters.clauses import CLAUSES, RECORDS, VALUE_COLUMNS, WORDS, clause
from pipelines.letters.documents import documents_of, forms
from pipelines.letters.money import plain
from pipelines.letters.wording import one_line
from pipelines.terms.shape import terms_shape
from schemas import codes
from schemas.letters import LETTERS
from tests.unit.coverage import bench

# Words that say who is to blame; a letter has none of its own.
BLAME = re.compile(
    r"\b(fault|blame\w*|neglig\w*|neglect\w*|careless\w*|improper\w*|misuse\w*|abuse\w*|wrong\w*|"
    r"fail(?:ed|ure) to|should have|your (?:mistake|error)|guilt\w*|violat\w*|dishonest\w*|"
    r"unfortunately)\b",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def terms(tmp_path_factory):
    """The terms of the bench."""
    return bench.terms_of(tmp_path_factory.mktemp("terms"))


def _letters(terms, calls, as_of="2025-12-31", agencies=None, **feeds) -> pl.DataFrame:
    evidence = bench.evidence_of(
        as_of=as_of, service_calls=calls, **{"units": [bench.UNIT], **feeds}
    )
    if agencies is not None:
        evidence = replace(evidence, agencies=bench.reference("agencies", agencies))
    decided = decide(evidence, terms)
    known = seen(evidence)
    return letters_of(
        decided.decisions,
        decided.findings,
        claims_of(known, terms),
        known.rulings,
        known.agencies,
        maker="Tarnfell",
        currency="USD",
        as_of=known.as_of,
    )


def _letter(terms, agencies=None, unit=None, rulings=(), **call) -> dict:
    rows = [bench.UNIT | (unit or {})]
    frame = _letters(
        terms, [bench.CALL | call], agencies=agencies, units=rows, rulings=list(rulings)
    )
    return frame.row(0, named=True)


def test_a_covered_claim_tells_the_windows_and_the_money(terms) -> None:
    """Both windows with their days and clauses; the caps that bind, and the sums."""
    letter = _letter(terms)
    assert letter["decision"] == "The claim is covered: 430.00 USD is payable."
    assert letter["reasons"] == [
        "Parts cover ends before 2025-07-20; the failure on 2024-09-01 is earlier.",
        "Labor cover ends before 2025-01-20; the failure on 2024-09-01 is earlier.",
    ]
    assert letter["clauses"] == [
        "Condition 10 of 20, within parts window; terms T1: 18 months of parts cover, "
        "12 more months of parts cover with a start-up in time",
        "Condition 11 of 20, within labor window; terms T1: 12 months of labor cover, "
        "12 more months of labor cover with a start-up in time",
    ]
    # 200 of parts, 2 hours at the agreed 85 of 90 claimed, 60 of 75 for travel.
    assert [letter[f"{line}_standing"] for line in ("parts", "labor", "travel", "total")] == [
        Decimal("200.00"), Decimal("170.00"), Decimal("60.00"), Decimal("430.00")]  # fmt: skip
    assert letter["total_claimed"] == Decimal("455.00")
    assert letter["money_notes"] == [
        "Labor: agreed rate 85 USD an hour, claimed 90.",
        "Travel: agreed at the most 60 USD, claimed 75.",
    ]
    assert "computed from the records on file as of 2025-12-31" in letter["basis"]
    assert letter["appeal"].endswith("A person then rules, with a reason, over what is computed.")
    assert (letter["documents"], letter["documents_due_on"]) == ([], None)


def test_claims_come_by_their_numbers(terms) -> None:
    """However they were decided."""
    calls = [bench.CALL | {"call": name, "claim": name, "serial": name} for name in ("K3", "K1")]
    evidence = bench.evidence_of(
        service_calls=calls, units=[bench.UNIT | {"serial": name} for name in ("K3", "K1")]
    )
    decided, known = decide(evidence, terms), seen(evidence)
    for descending in (True, False):
        letters = letters_of(
            decided.decisions.sort("claim", descending=descending),
            decided.findings,
            claims_of(known, terms),
            known.rulings,
            known.agencies,
            maker="Tarnfell",
            currency="USD",
            as_of=known.as_of,
        )
        assert letters["claim"].to_list() == ["K1", "K3"]


def test_a_refusal_tells_what_is_unmet(terms) -> None:
    """Filed too late: that reason alone, and nothing payable."""
    letter = _letter(terms, claimed_on="2025-03-01")
    assert letter["decision"] == "The claim is not covered, and nothing is payable."
    assert letter["reasons"] == [
        "Filed on 2025-03-01, after 2024-11-02, the last of 60 days after completion on 2024-09-03."
    ]
    assert letter["clauses"] == [
        "Condition 4 of 20, filed in time; terms T1: claims are filed within 60 days"
    ]
    assert letter["money_notes"] == []


def test_a_reason_without_a_day_gets_that_of_the_records(terms) -> None:
    """An exclusion names no day of its own."""
    letter = _letter(terms, cause="DROPPED")
    assert letter["reasons"] == [
        "The warranty excludes DROPPED (DROPPED) (records as of 2025-12-31)."
    ]


def test_missing_documents_come_with_day_and_form(terms) -> None:
    """Exactly those of the decision, in its order, each with what it must show and its clause."""
    letter = _letter(terms, unit={"model": "GEN"}, cause="SCALED", agency=None)
    assert letter["documents"] == [
        "name of the service agency",
        "complete supply water test from before the failure",
        "the owner's deliming log",
    ]
    assert letter["documents_due_on"] == dt.date(2026, 1, 30)
    assert letter["forms"][1] == (
        "A laboratory's report on the untreated supply water of the site that reports hardness, "
        "pH, and was sampled on or before 2024-09-01."
    )
    assert "between 2024-01-20 and 2024-09-01" in letter["forms"][2]
    assert letter["document_clauses"][1] == (
        "Condition 15 of 20, water tested; terms T1: what a complete water test reports"
    )
    assert letter["decision"] == "The claim cannot be decided yet: 3 documents are missing."
    assert len(letter["reasons"]) == len(letter["clauses"]) == 3


def test_each_disputed_fact_is_asked_for_with_both_values(terms) -> None:
    """Two contradictions of the dates are two questions; the documents are asked for as well."""
    letter = _letter(terms, claimed_on="2024-08-31", completed_on="2024-08-30", agency=None)
    assert letter["standing"] == "needs_review"
    assert [question.partition(". Both")[0] for question in letter["questions"]] == [
        "On file: claim filed on 2024-08-31, failed on 2024-09-01",
        "On file: call completed on 2024-08-30, opened on 2024-09-02",
    ]
    assert all("Tell us which is right" in question for question in letter["questions"])
    assert letter["documents"] == ["name of the service agency"]
    ruling = {"claim": "K1", "ruled_at": "2025-04-01T10:00:00", "ruled_by": "a",
              "ruling": "covered", "reason": "seen"}  # fmt: skip
    assert _letter(terms, claimed_on="2024-08-31", rulings=[ruling])["questions"] == []
    assert _letter(terms)["questions"] == []


def test_a_ruling_stands_with_its_reason(terms) -> None:
    """The ruling, its day, reason and amounts; the findings that it goes against are left out."""
    ruling = {"claim": "K1", "ruled_at": "2025-04-01T10:00:00", "ruled_by": "a.fenn",
              "ruling": "covered", "reason": "late\r\nby post  strike",
              "labor_amount": "99.5"}  # fmt: skip
    letter = _letter(terms, claimed_on="2025-03-01", rulings=[ruling])
    assert (letter["verdict"], letter["standing"]) == ("not_covered", "covered")
    assert letter["ruling_reason"] == "late by post strike"
    assert letter["basis"] == "Tarnfell ruled so on 2025-04-01."
    assert (letter["reasons"], letter["clauses"]) == ([], [])
    assert letter["total_standing"] == Decimal("359.50")
    assert letter["money_notes"] == [
        "Set by the ruling of 2025-04-01: labor.",
        "Travel: agreed at the most 60 USD, claimed 75.",
    ]
    anew = "A person then rules anew, with a reason; this ruling is kept beside it."
    assert letter["appeal"].endswith(anew)
    assert "a.fenn" not in str(letter)


def test_the_latest_ruling_stands_and_none_that_is_not_seen(terms) -> None:
    """An appeal is a new ruling; one after the as-of date does not yet count."""
    rulings = [
        {"claim": "K1", "ruled_at": f"{day}T10:00:00", "ruled_by": "a", "ruling": ruling,
         "reason": f"of {day}"}
        for day, ruling in (("2025-05-01", "covered"), ("2025-04-01", "not_covered"),
                            ("2026-01-01", "not_covered"))
    ]  # fmt: skip
    letter = _letter(terms, claimed_on="2025-03-01", rulings=rulings)
    assert (letter["standing"], letter["ruling_reason"]) == ("covered", "of 2025-05-01")


def test_travel_goes_with_labor(terms) -> None:
    """Parts in their window, labor beyond it: the letter says where travel went."""
    letter = _letter(terms, failed_on="2025-02-01", opened_on="2025-02-02",
                     completed_on="2025-02-03", claimed_on="2025-02-10")  # fmt: skip
    assert letter["standing"] == "covered_in_part"
    assert letter["decision"] == "The claim is covered in part: 200.00 USD is payable."
    assert "Travel goes with labor." in letter["money_notes"]
    assert any("Condition 11" in clause for clause in letter["clauses"])


def test_name_and_address_of_the_latest_period_that_has_them(terms) -> None:
    """An agency with several periods is written to once, at its last address."""
    rows = [
        {"agency": "NORTH", "name": "Old", "authorized_from": "2010-01-01",
         "authorized_until": "2019-12-31", "email": "old@north.example"},
        {"agency": "NORTH", "name": "North Service", "authorized_from": "2020-01-01"},
    ]  # fmt: skip
    letter = _letter(terms, agencies=rows)
    assert (letter["agency_name"], letter["agency_email"]) == ("North Service", "old@north.example")
    assert _letter(terms)["agency_email"] is None


@pytest.mark.parametrize(
    ("call", "touched"),
    [
        ({"cause": "BOARD"}, {"electricity"}),
        ({"cause": "BURNER"}, {"gas"}),
        ({"cause": "SCALED"}, {"deliming"}),
        ({"cause": "DROPPED", "part": "gas valve"}, {"gas"}),
        ({"cause": "DROPPED", "part": "steam trap"}, {"steam"}),
        ({"cause": "DROPPED", "part": "gas valves"}, {"gas"}),
        ({"cause": "DROPPED", "part": "two burners"}, {"gas"}),
        ({"cause": "DROPPED", "part": "water lines"}, {"water"}),
        ({"cause": "DROPPED", "part": "backflow preventer"}, {"water"}),
        ({"cause": "DROPPED"}, set()),
    ],
)
def test_cautions_where_the_letter_touches_dangerous_work(terms, call, touched) -> None:
    """Acids, gas, steam and electricity, by the cause's class and by the words of the letter."""
    cautions = _letter(terms, **call)["cautions"]
    assert cautions == [caution for name, (_, _, caution) in HAZARDS.items() if name in touched]


def test_every_caution_defers_to_the_code_and_to_people() -> None:
    """None of them tells how: each names who does it, and the rule that goes first."""
    for _, _, caution in HAZARDS.values():
        assert re.search(r"licensed people|trained people", caution)
        assert re.search(r"local", caution)


def test_every_document_that_a_condition_names_has_its_form() -> None:
    """A new document cannot be asked for without saying what it must show."""
    named = {
        getattr(module, name)
        for module in CONDITIONS.values()
        for name in ("DOCUMENT", "COMPLETION", "FILING", "TECHNICIANS_REPORT", "OWNERS_LOG")
        if hasattr(module, name)
    }
    assert named == set(forms())


def test_every_condition_has_its_clause_among_the_keys_of_the_terms() -> None:
    """The keys that a clause rests on are keys that a terms file may hold, each with words."""
    assert set(CLAUSES) | set(RECORDS) == set(codes.CONDITIONS)
    shape = terms_shape(["F"], codes.ABILITIES).keys
    for key in (key for keys in CLAUSES.values() for key in keys):
        table, _, name = key.rpartition(".")
        assert name in (shape[table].keys if table else shape), key
        assert "_" not in WORDS[key]


def test_no_word_of_blame_in_any_of_our_sentences() -> None:
    """What the package itself says: its sources, without docstrings and comments."""
    import ast

    import pipelines.letters

    modules = sorted(Path(pipelines.letters.__file__).parent.glob("*.py"))
    assert len(modules) > 5
    for path in modules:
        tree = ast.parse(path.read_text("utf-8"))
        docs = {ast.get_docstring(node, clean=False) for node in ast.walk(tree)
                if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef)}  # fmt: skip
        said = {node.value for node in ast.walk(tree)
                if isinstance(node, ast.Constant) and isinstance(node.value, str)}  # fmt: skip
        assert not [text for text in said - docs if BLAME.search(text)], path


def test_texts_stay_on_one_line() -> None:
    """Breaks, control characters and marks of direction cannot make more of a text than it is."""
    frame = pl.DataFrame({"text": ["a\r\nBcc: x\u2028y\x1b[2J", "\u202eabc\u200b", " \n ", None]})
    told = frame.select(one_line("text"))["text"].to_list()
    assert told == ["a Bcc: x y [2J", "abc", None, None]


def test_decimals_as_they_are_written() -> None:
    """No trailing zeros, and whole tens keep theirs."""
    frame = pl.DataFrame({"n": [Decimal("2.5000"), Decimal("100.0000"), Decimal("0.0000")]})
    assert frame.select(plain(pl.col("n")))["n"].to_list() == ["2.5", "100", "0"]


def test_many_claims_are_written_as_each_alone(terms) -> None:
    """The letters of many claims at once are the letters of each by itself."""
    calls = [
        bench.CALL | {"call": f"C{n}", "claim": f"K{n}", "failed_on": f"2024-09-{n + 1:02}"}
        | {"opened_on": f"2024-09-{n + 1:02}"} | more
        for n, more in enumerate([{}, {"cause": ""}, {"claimed_on": "2025-03-01"}, {"agency": ""}])
    ]  # fmt: skip
    units = [bench.UNIT | {"serial": f"U{n}"} for n in range(4)]
    calls = [call | {"serial": f"U{n}"} for n, call in enumerate(calls)]
    together = _letters(terms, calls, units=units)
    alone = pl.concat(
        _letters(terms, [call], units=[unit]) for call, unit in zip(calls, units, strict=True)
    )
    assert together.equals(alone)
    assert together.schema == LETTERS


def test_no_claim_no_letter(terms) -> None:
    """An empty frame in gives an empty frame of letters out."""
    assert _letters(terms, []).equals(pl.DataFrame(schema=LETTERS))


def test_each_missing_document_has_the_form_of_its_own_kind() -> None:
    """In the order in which they are missing; a claim that lacks none has no row."""
    names = list(forms())
    assert len(set(names)) == len(names) > 10
    claims = pl.DataFrame(
        {"claim": ["K1", "K2", "K3"], "missing": ["; ".join(names), None, "moon rock"],
         "failed_on": [dt.date(2024, 9, 1)] * 3, "clock_start": [dt.date(2024, 1, 20)] * 3,
         "panel": [["ph"]] * 3, "sellers": [["MAKER"]] * 3}
    )  # fmt: skip
    told = documents_of(claims)
    assert told["claim"].to_list() == ["K1"] * len(names) + ["K3"]
    assert told["document"].to_list() == [*names, "moon rock"]
    by_kind = claims.head(1).select(**forms()).row(0, named=True)
    assert told["form"].to_list() == [
        *(by_kind[name] for name in names), "A record that shows the moon rock.",
    ]  # fmt: skip
    assert len(set(told["form"])) == len(names) + 1


def test_a_clause_without_a_value_of_the_terms_tells_the_others() -> None:
    """A key that may be left out is passed over; without an edition no term is told."""
    row = {"position": 16, "condition": "treatment_maintained", "edition": "2024-A"}
    values = dict.fromkeys(VALUE_COLUMNS, 30)
    full = pl.DataFrame([row | values]).select(clause()).item()
    assert full.startswith("Condition 16 of 20, treatment maintained; terms 2024-A: ")
    assert "30 days of grace for a cartridge" in full
    less = values | {"cartridge_grace_days": None}
    kinds = dict.fromkeys(VALUE_COLUMNS, pl.Int64)
    told = pl.DataFrame([row | less], schema_overrides=kinds).select(clause()).item()
    assert told.startswith("Condition 16 of 20, treatment maintained; terms 2024-A: ")
    assert "how long a cartridge lasts" in told
    assert "grace" not in told
    bare = pl.DataFrame([row | values | {"edition": None}], schema_overrides={"edition": pl.String})
    assert bare.select(clause()).item() == "Condition 16 of 20, treatment maintained"
