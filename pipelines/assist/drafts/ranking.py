"""Which feed a file probably is of.

Belongs here: scores of feeds, and the pairs that they rest on. Does not belong here: the pairs
themselves (`pairing`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipelines.assist.drafts.fit import is_guarded
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.names import likeness
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS, Pair, pair_columns
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.vocabulary import COLUMNS
from pipelines.records.headers import EITHER
from pipelines.records.mapping_checks import LONG_PARTS
from schemas.codes import ANALYTES, FEEDS
from schemas.columns import required_columns
from schemas.feeds import FEED_TABLES

# Columns that every second export has say little of a feed.
_COMMON = ("serial", "site", "claim", "notes", "agency", "product", "model")
_FOLDER_BONUS, _SOMETHING = 0.5, 0.25
_SURE = 0.6  # score of a feed from which on its keys are taken unasked
_WORTH, _HARDLY, _NAME_COUNTS = 0.4, 0.2, 0.6


@dataclass(frozen=True)
class Guess:
    """A file as one of a feed: the pairs, the layout, and how likely that is, from 0 to 1."""

    feed: str
    pairs: list[Pair]
    is_long: bool
    score: float


def guesses_of(
    profiles: Sequence[Profile], known: Known, folder_feed: str | None, feed: str | None
) -> list[Guess]:
    """The file as one of each feed, the likeliest first.

    Feeds whose names are hardly there are not looked at more closely, unless one is asked for.
    """
    spoken = {one: _spoken_of(one, profiles) for one in FEEDS}
    least = _WORTH * max(spoken.values())
    requested_feeds = (folder_feed, feed)
    guesses = [
        _doubted(guess_as(one, profiles, known, folder_feed), one in requested_feeds)
        if share >= least or one in requested_feeds
        else Guess(one, [], False, round(_HARDLY * share, 4))
        for one, share in spoken.items()
    ]
    return sorted(guesses, key=lambda guess: -guess.score)


def _doubted(guess: Guess, is_requested: bool) -> Guess:
    """A file that may be of another feed: its keys and amounts wait for a person.

    Names of analytes in one column say enough of a feed.
    """
    if is_requested or guess.is_long or guess.score >= _SURE:
        return guess
    pairs = [
        replace(pair, state=PERHAPS, reason=f"{pair.reason}; the file may be of another feed")
        if pair.state == ACTIVE and is_guarded(guess.feed, pair.column) and not pair.by_own_name
        else pair
        for pair in guess.pairs
    ]
    return replace(guess, pairs=pairs)


def _spoken_of(feed: str, profiles: Sequence[Profile]) -> float:
    """How far the names of a feed's telling columns are among the headers, from 0 to 1."""
    headers = [profile.header for profile in profiles if profile.header]
    columns = [name for name in COLUMNS[feed] if name not in (*LONG_PARTS, *_COMMON)]
    best = [max((likeness(feed, column, h) for h in headers), default=0.0) for column in columns]
    return sum(score for score in best if score > _NAME_COUNTS) / max(min(len(best), 8), 1)


def guess_as(
    feed: str, profiles: Sequence[Profile], known: Known, folder_feed: str | None = None
) -> Guess:
    """The file as one of a feed."""
    pairs = pair_columns(feed, profiles, known, long=False)
    long = False
    if feed == "water_tests":
        parts = pair_columns(feed, profiles, known, long=True)
        if _is_long(pairs, parts):
            pairs, long = parts, True
    score = _score(feed, pairs, profiles, long)
    if folder_feed == feed and score >= _SOMETHING:
        score = min(1.0, score + _FOLDER_BONUS)
    return Guess(feed, pairs, long, round(score, 4))


def _is_long(wide: Sequence[Pair], parts: Sequence[Pair]) -> bool:
    """Whether each row is one result: names of analytes in one column, numbers in another."""
    by_column = {pair.column: pair for pair in parts}
    results = [pair for pair in wide if pair.column in ANALYTES and pair.name >= 0.7]
    return (
        len(results) <= 2
        and {"analyte", "value"} <= set(by_column)
        and by_column["analyte"].fit.likeness >= 0.4
        and by_column["value"].fit.likeness >= 0.4
    )


def _score(feed: str, pairs: Sequence[Pair], profiles: Sequence[Profile], long: bool) -> float:
    scores = {pair.column: pair.score for pair in pairs}
    needed = [[column] for column in required_columns(FEED_TABLES[feed])]
    needed += [list(EITHER[feed])] if feed in EITHER else []
    needed += [["analyte"], ["value"]] if long else []
    if feed == "water_tests" and not long:
        needed += [[*ANALYTES]] * 3
    met = sum(max((scores.get(column, 0.0) for column in group), default=0.0) for group in needed)
    telling = sum(score for column, score in scores.items() if column not in _COMMON)
    headers = sum(bool(profile.header) for profile in profiles) or 1
    return min(
        1.0,
        0.5 * met / max(len(needed), 1)
        + 0.3 * min(1.0, telling / 6)
        + 0.2 * min(1.0, sum(scores.values()) / headers),
    )
