"""Notes become words and pairs; phrases are found whole, whatever their case and punctuation."""

import polars as pl

from pipelines.assist.causes.words import phrases_in, tokens_of, words_of


def tokens(*notes):
    """The tokens of some notes."""
    return tokens_of(pl.Series(notes, dtype=pl.String))


def test_notes_are_split_at_blanks_and_punctuation():
    """Case goes, apostrophes and dashes inside a word stay, empty notes have no tokens."""
    told = tokens("Won't RE-LIGHT; Größe 14\nüber", None, "", "…!")
    assert told["token"].to_list() == ["won't", "re-light", "größe", "14", "über"]
    assert told["row"].to_list() == [0] * 5
    assert told["at"].to_list() == [0, 1, 2, 3, 4]


def test_words_are_letters_and_pairs_stay_in_one_note():
    """Numbers and single letters are no words; a pair needs two words that stand together."""
    told = words_of(tokens("lime lime in 3 mm", "valve"))
    assert sorted(told.select("row", "name", "times").rows()) == [
        (0, "in", 1),
        (0, "lime", 2),
        (0, "lime in", 1),
        (0, "lime lime", 1),
        (0, "mm", 1),
        (1, "valve", 1),
    ]


def test_no_notes_give_no_words():
    """Nothing in, nothing out, under the same columns."""
    assert words_of(tokens(None)).is_empty()
    assert words_of(tokens(None)).columns == ["row", "name", "times"]


def test_phrases_are_found_whole(phrases_of):
    """A phrase is a run of whole words in one note; twice in one note counts once."""
    phrases = phrases_of(
        ("White Crust", "scale", 0.9), ("lime", "scale", 0.5), ("gap 2 in", "installation", 1.0)
    )
    notes = tokens(
        "white-crust", "WHITE   crust, white crust.", "limescale", "white", "crust", "Lime!",
        "air gap 2 in. of pipe",
    )  # fmt: skip
    assert phrases_in(notes, phrases).rows() == [
        (1, "White Crust", "scale", 0.9),
        (5, "lime", "scale", 0.5),
        (6, "gap 2 in", "installation", 1.0),
    ]


def test_without_phrases_or_notes_nothing_is_found(phrases_of):
    """Either may be empty."""
    assert phrases_in(tokens("lime"), phrases_of()).is_empty()
    assert phrases_in(tokens(None), phrases_of(("lime", "scale", 1.0))).is_empty()
