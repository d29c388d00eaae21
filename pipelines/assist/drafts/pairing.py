"""Which header is probably which column of a feed, and how sure that is.

Belongs here: pairs of columns and headers, active or perhaps. Does not belong here: names
(`names`), values (`fitness`), what follows for a mapping (`draft`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipelines.assist.drafts.fit import KEYS, Fit, is_guarded, kind_of
from pipelines.assist.drafts.fitness import fitness
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.names import spoken_likeness
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.vocabulary import COLUMNS
from pipelines.exports.header_rows import bare
from pipelines.records.mapping_checks import LONG_PARTS
from schemas.codes import ANALYTES

ACTIVE, PERHAPS = "active", "perhaps"
# Likeness of a name from which on it speaks for a column; where the values alone point to the
# column already, less is enough.
NAME_SPEAKS, NAME_SPEAKS_BESIDE_VALUES = 0.74, 0.55
VALUES_SPEAK = 0.6
WHOLLY = 0.99  # likeness of a name that is the column's own, or a word for it
LEAST = 0.42  # score of a pair that is worth telling
_NEAR_OF_UNSURE = 0.25
_EXCHANGED = 0.02  # by so much two pairs must be better than with their headers exchanged
# Keys that a record stands or falls with; a site may be called by its customer.
_OF_RECORDS = frozenset(KEYS) - {"site"}
_NEAR = 0.1  # a second header within this of the first leaves the matter to a person


@dataclass(frozen=True)
class Pair:
    """A column and the header that it probably comes from.

    `name` and `value` are likenesses from 0 to 1, `score` weighs both; `by_own_name` where the
    export names the column as the feed does.
    """

    column: str
    place: int
    name: float
    fit: Fit
    score: float
    state: str = PERHAPS
    reason: str = ""
    by_own_name: bool = False


def pair_columns(feed: str, profiles: Sequence[Profile], known: Known, *, long: bool) -> list[Pair]:
    """At most one header a column and one column a header, best together; by place."""
    columns = [name for name in COLUMNS[feed] if name not in (ANALYTES if long else LONG_PARTS)]
    table = {
        (column, profile.place): _judge(feed, column, profile, known, long)
        for column in columns
        for profile in profiles
        if profile.header
    }
    own = _by_own_names(columns, table)
    taken = {pair.place for pair in own}
    left = [column for column in columns if column not in {pair.column for pair in own}]
    places = [
        profile.place for profile in profiles if profile.header and profile.place not in taken
    ]
    pairs = own + _assigned(table, left, places)
    return sorted((_stated(feed, pair, table, pairs) for pair in pairs), key=lambda p: p.place)


def _judge(feed: str, column: str, profile: Profile, known: Known, long: bool) -> Pair:
    spoken = spoken_likeness(feed, column, profile.header)
    own = bare(profile.header) == bare(column)
    if spoken < 0.3 and not _may_speak_alone(feed, column):
        fit = Fit(0.0, "")
        return Pair(column, profile.place, spoken, fit, 0.0)
    fit = fitness(feed, column, profile, known, long=long)
    score = spoken * (0.35 + 0.65 * fit.likeness)
    if fit.is_strong:
        score = max(score, 0.44 + 0.2 * spoken)
    if spoken >= WHOLLY:
        score = max(score, LEAST)  # a header of this name is told of, whatever stands below it
    return Pair(column, profile.place, spoken, fit, score, by_own_name=own)


def _may_speak_alone(feed: str, column: str) -> bool:
    """Whether values may point to a column without any help of its name."""
    return column in (
        "serial",
        "analyte",
        "region",
        "site",
        "product",
        "cause",
        "agency",
        "model",
    ) or (kind_of(feed, column) == "word")


def _by_own_names(columns: Sequence[str], table: dict[tuple[str, int], Pair]) -> list[Pair]:
    """The headers that are columns' own names, which are read so whatever a draft says."""
    pairs = []
    for column in columns:
        own = [pair for (name, _), pair in table.items() if name == column and pair.by_own_name]
        if len(own) == 1:
            pairs.append(replace(own[0], name=1.0, score=max(own[0].score, LEAST)))
    return pairs


def _assigned(
    table: dict[tuple[str, int], Pair], columns: Sequence[str], places: Sequence[int]
) -> list[Pair]:
    """The pairs that together score most; a few good ones go before many poor ones."""
    if not columns or not places:
        return []
    scores = np.array([[table[column, place].score for place in places] for column in columns])
    rows, cols = linear_sum_assignment(-np.where(scores >= LEAST, scores**6, 0.0))
    pairs = [table[columns[row], places[col]] for row, col in zip(rows, cols, strict=True)]
    return [pair for pair in pairs if pair.score >= LEAST]


def _stated(
    feed: str, pair: Pair, table: dict[tuple[str, int], Pair], pairs: Sequence[Pair]
) -> Pair:
    """The pair with its state and the reason for it."""
    near = _near(pair, table, pairs)
    speaks = NAME_SPEAKS_BESIDE_VALUES if pair.fit.is_strong else NAME_SPEAKS
    why = f"name {pair.name:.2f}, values {pair.fit.likeness:.2f}: {pair.fit.why}"
    doubts = []
    if pair.fit.forbids and (is_guarded(feed, pair.column) or pair.fit.likeness < VALUES_SPEAK):
        doubts.append(pair.fit.forbids)
    elif pair.fit.likeness < VALUES_SPEAK and (
        is_guarded(feed, pair.column) or pair.fit.likeness < 0.45
    ):
        doubts.append("the values hardly speak for it")
    if pair.name < speaks:
        doubts.append("the name hardly speaks for it" if pair.name > 0.3 else "only its values do")
    if near:
        doubts.append(f"another header comes near ({near:.2f})")
    if not doubts and pair.column in _OF_RECORDS and not _is_beyond_doubt(pair):
        doubts.append("a key, whose name says less than it might, and no value is known")
    state = PERHAPS if doubts else ACTIVE
    return replace(pair, state=state, reason="; ".join([why, *doubts]))


def _is_beyond_doubt(pair: Pair) -> bool:
    """Whether a key's name is wholly its own, or its values are known as such."""
    return pair.by_own_name or pair.fit.is_strong or pair.name >= WHOLLY


def _near(pair: Pair, table: dict[tuple[str, int], Pair], pairs: Sequence[Pair]) -> float:
    """The score of a header that comes near for the same column and is of no other; else 0.

    Where the name is not wholly the column's own, another header whose name is as good comes near
    whatever it is taken for; so does one with which it could be exchanged.
    """
    used = {one.place: one for one in pairs}
    scores = [
        other.score
        for (column, place), other in table.items()
        if column == pair.column
        and place != pair.place
        and other.score >= max(LEAST, pair.score - (_NEAR if pair.name >= 1 else _NEAR_OF_UNSURE))
        and (
            place not in used
            or used[place].score < other.score - 0.02
            or _exchangeable(pair, used[place], table)
        )
    ]
    return max(scores, default=0.0)


def _exchangeable(one: Pair, other: Pair, table: dict[tuple[str, int], Pair]) -> bool:
    """Whether two pairs would be as good with each other's headers."""
    exchanged = table.get((one.column, other.place)), table.get((other.column, one.place))
    if exchanged[0] is None or exchanged[1] is None:
        return False
    scores = exchanged[0].score + exchanged[1].score
    return scores >= one.score + other.score - _EXCHANGED
