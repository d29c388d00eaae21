"""Headers as offices, repair shops and laboratories write them, by their names alone.

`dialects.txt` has over three thousand, from memory. What values add, and six thousand more headers,
are tried in `test_named_right`.
"""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import pytest

from pipelines.assist.drafts.fit import is_guarded
from pipelines.assist.drafts.names import likeness, other_likeness, spoken_likeness
from pipelines.assist.drafts.pairing import NAME_SPEAKS, WHOLLY
from pipelines.assist.drafts.plain_names import plain_words, readings
from pipelines.assist.drafts.vocabulary import COLUMNS
from pipelines.records.mapping_checks import LONG_PARTS
from schemas.codes import ANALYTES, FEEDS

FILE, MORE = (Path(__file__).with_name(name) for name in ("dialects.txt", "more_dialects.txt"))
# Words of two things, which values tell apart: a customer's number, a unit, a laboratory's case.
OF_TWO_THINGS = {"Réf. client", "UoM", "Unité", "N° dossier"}


def listed(file: Path) -> dict[str, dict[str, list[str]]]:
    """Headers by feed and column; `none` has the neighbors."""
    by_feed: dict[str, dict[str, list[str]]] = defaultdict(dict)
    text = file.read_text(encoding="utf-8").replace("\n  ", " ")
    for line in text.splitlines():
        if line.startswith("["):
            feed = line.strip("[]")
        elif line and not line.startswith("#"):
            column, _, headers = line.partition(":")
            by_feed[feed][column] = [one.strip() for one in headers.split(" | ")]
    return by_feed


HEADERS = listed(FILE)


def ranked(feed: str, header: str, long: bool) -> list[tuple[float, str]]:
    """The columns of a feed by how far a header's name speaks for them."""
    left_out = ANALYTES if long else LONG_PARTS
    columns = [column for column in COLUMNS[feed] if column not in left_out]
    return sorted(((spoken_likeness(feed, one, header), one) for one in columns), reverse=True)


def misnamed(feed: str, headers: dict[str, list[str]]) -> tuple[int, list[tuple[str, str, float]]]:
    """How many headers of columns there are, and those that do not speak for theirs."""
    wrong, number = [], 0
    for column, names in headers.items():
        for header in names if column != "none" else ():
            number += 1
            scored = ranked(feed, header, column in LONG_PARTS)
            told = {name: score for score, name in scored}
            if told[column] < NAME_SPEAKS or told[column] < max(told.values()) - 0.13:
                wrong.append((column, header, round(told[column], 2)))
    return number, wrong


def guarded(feed: str, neighbors: list[str]) -> list[tuple[str, str, float]]:
    """The neighbors that are taken for a key or an amount on their name."""
    return [
        (header, column, round(score, 2))
        for header in neighbors
        for score, column in ranked(feed, header, False)
        if score >= NAME_SPEAKS and is_guarded(feed, column)
    ]


@pytest.mark.parametrize("feed", FEEDS)
def test_nearly_all_headers_speak_for_their_column(feed) -> None:
    """At least 96 of 100 are taken on their name, and no other column is named better."""
    number, wrong = misnamed(feed, HEADERS[feed])
    assert number > 100
    assert len(wrong) <= 0.04 * number, wrong


@pytest.mark.parametrize("feed", FEEDS)
def test_neighbors_are_no_keys_and_no_amounts(feed) -> None:
    """A customer's order, a planned day, a gross amount speak for no key and no amount."""
    neighbors = [one for one in HEADERS[feed]["none"] if one not in OF_TWO_THINGS]
    assert len(neighbors) > 15
    assert guarded(feed, neighbors) == []


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("DTINSTAL", ("date", "installed")),
        ("Prélèvt eau", ("sampled", "water")),
        ("PSTG_DT", ("posting", "date")),
        ("Start date", ("date",)),
        ("Feed Temp", ("supply", "temperature")),
        ("Mg (mg/L)", ("magnesium",)),
        ("Ca2+ (mg/l)", ("calcium",)),
        ("Labor $", ("labor", "amount")),
        ("Labor $/hr", ("labor", "hours", "rate")),
        ("Conductivity @ 25C", ("conductivity",)),
        ("Nom du site", ("name", "site")),
        ("Rapport du", ("report", "date")),
        ("Garantieantragsnr.", ("warranty", "claim", "number")),
        ("Außer Betrieb seit", ("retired", "date")),
    ],
)
def test_plain_words_of_short_and_long_names(header, words) -> None:
    """Cut words, words without vowels or middles, ions, money, phrases and days."""
    assert plain_words(header) == words


@pytest.mark.parametrize(
    ("feed", "column", "header"),
    [
        ("startups", "static_pressure_psi", "PRSSTA"),
        ("startups", "agency", "sta_cd"),
        ("units", "site_name", "LOCNAM"),
        ("units", "serial", "SRNO"),
        ("service_calls", "claim", "antr_nr"),
        ("treatment_purchases", "order", "AUFTNR"),
        ("water_tests", "hardness_mg_l_caco3", "HARDGPG"),
        ("service_calls", "labor_rate", "eur_h"),
        ("units", "retired_on", "De-installed on"),
        ("units", "retired_on", "abgemeldet am"),
        ("startups", "static_pressure_psi", "No-flow pressure"),
        ("startups", "level", "Is the unit level?"),
        ("startups", "static_pressure_psi", "Wie hoch ist der Ruhedruck?"),
    ],
)
def test_short_names_opposites_and_questions_speak_for_their_column(feed, column, header) -> None:
    """Parts that mean several things, words that turn another's meaning, words that only ask."""
    first, second = ranked(feed, header, False)[:2]
    assert first[1] == column
    assert first[0] >= NAME_SPEAKS
    assert second[0] < first[0]


def test_what_a_short_name_may_mean_besides_is_too_little_for_a_key() -> None:
    """The parts of `SRNO` are those of a service request's number first."""
    assert readings("SRNO")[0] == ("service", "request", "number")
    assert NAME_SPEAKS < spoken_likeness("units", "serial", "SRNO") < WHOLLY
    assert spoken_likeness("units", "serial", "SERNO") == 1


@pytest.mark.parametrize(
    "header", ["Undelivered", "Uninstalled", "Arbeitszeit (min)", "Labor mins"]
)
def test_words_that_are_near_in_letters_alone_are_no_slips(header) -> None:
    """What was never delivered was not shipped; minutes are no hours."""
    assert likeness("units", "shipped_on", header) < NAME_SPEAKS
    assert likeness("units", "installed_on", header) < NAME_SPEAKS
    assert likeness("service_calls", "labor_hours", header) < NAME_SPEAKS


def test_a_house_is_called_by_its_name() -> None:
    """So that names are never taken for the codes of sites on the word alone."""
    assert likeness("units", "site", "Haus") < NAME_SPEAKS < likeness("units", "site_name", "Haus")
    assert likeness("units", "site", "Haus-Nr.") < NAME_SPEAKS  # of a street


def test_a_word_of_another_kind_counts_against_a_column() -> None:
    """The number of an order and its day, its customer's number and the filter's serial differ."""
    assert likeness("treatment_purchases", "order", "Order No.") == 1
    assert likeness("treatment_purchases", "order", "Order date") < NAME_SPEAKS
    assert likeness("service_calls", "serial", "Filter serial") < NAME_SPEAKS
    assert likeness("service_calls", "completed_on", "Planned completion date") < NAME_SPEAKS
    assert other_likeness("treatment_purchases", "Kunden-Bestellnr.") == 1
    assert likeness("startups", "agency", "Part no.") < 0.3
