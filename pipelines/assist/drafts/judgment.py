"""What is known of one table as one of a feed.

Belongs here: the shape of a judgment. Does not belong here: judging (`judged`), the text of a draft
(`writing`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.assist.drafts.files import FoundTable
from pipelines.assist.drafts.forms import DateForms
from pipelines.assist.drafts.pairing import Pair
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.proposed_rows import (
    LeaveOutProposal,
)
from pipelines.assist.drafts.proposed_steps import Steps
from pipelines.assist.drafts.proposed_words import (
    AliasProposal,
    Phrase,
    Translation,
)
from pipelines.assist.drafts.ranking import Guess
from pipelines.records.numerals import Marks


@dataclass(frozen=True)
class Question:
    """What only a person can tell: the column that it is about, and the question."""

    about: str
    question: str


@dataclass(frozen=True)
class AnalyteGuess:
    """A laboratory's name: its column (empty: none of the feed), basis, state and rows."""

    written: str
    column: str
    basis: str | None
    state: str
    rows: int


@dataclass
class Judged:
    """All that is known of one table as one of a feed.

    `names` are the headers as a mapping names them, `units` (unit, is sure, why) by column,
    `marks` that read most and None where two read all, `dates` how days are written, `date_steps`
    the formats of columns that are written unlike the others.
    """

    table: FoundTable
    guess: Guess
    names: list[str]
    profiles: dict[int, Profile]
    pairs: list[Pair]
    steps: dict[str, Steps]
    units: dict[str, tuple[str, bool, str]]
    marks: Marks
    marks_told: str
    marks_unsure: bool
    dates: DateForms
    analytes: list[AnalyteGuess]
    translations: list[Translation]
    phrases: list[Phrase]
    phrases_of: str
    aliases: list[AliasProposal]
    left_out: list[LeaveOutProposal]
    questions: list[Question]


def pair_header(judged: Judged, pair: Pair) -> str:
    """The header of a pair, as a mapping names it."""
    return judged.names[pair.place]
