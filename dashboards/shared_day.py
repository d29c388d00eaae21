"""The as-of day of pages that stay the same, to the byte, when nothing but the day moves on.

Belongs here: the place that stands for the day in such a page, the one script that tells the day to
all of them, and filling the place where a page is shown by something else than a browser with
scripts. Does not belong here: which pages these are (`site`).

Without script the place refers to the Morning page, which is made anew whenever the day is another.
"""

from __future__ import annotations

import datetime as dt
import functools
import re

from markupsafe import Markup

from dashboards import formats

FILE = "day.js"
NEXT = "@day+1"  # in the rows of a chart: where the day after it ends a stretch that goes on
_PLACE = (
    '<span data-day="{}">the day that the <a href="../index.html">Morning page</a> states</span>'
)
_FILLED = re.compile(r'<span data-day="(long|iso)">.*?</span>')


class SharedDay(dt.date):
    """A day that a page refers to instead of stating it."""

    @classmethod
    def of(cls, day: dt.date) -> SharedDay:
        """The same day."""
        return cls(day.year, day.month, day.day)


def words_of(day: dt.date) -> dict[str, str]:
    """The day in the two spellings of pages, by name; of a shared day the places for them."""
    if isinstance(day, SharedDay):
        return {name: Markup(_PLACE).format(name) for name in ("iso", "long")}
    return {"iso": day.isoformat(), "long": formats.long_day(day)}


def referring(html: str, day: dt.date) -> Markup:
    """The HTML, `as of` a shared day made to refer to it; tags stay as they are."""
    if isinstance(day, SharedDay):
        for said, place in _places(day.toordinal()):
            # Few say the day: to part all text from all tags would take longer than writing it.
            for match in reversed([*said.finditer(html)]):
                if not _is_in_tag(html, match.start()):
                    html = f"{html[: match.start()]}{place}{html[match.end() :]}"
    return Markup(html)


@functools.cache
def _places(ordinal: int) -> list[tuple[re.Pattern[str], str]]:
    """Each spelling of a day, said `as of` it, and what stands for it on a page that refers."""
    plain = dt.date.fromordinal(ordinal)
    places = words_of(SharedDay.of(plain))
    return [
        (re.compile(rf"(?<=as of ){re.escape(words)}(?![0-9A-Za-z-])"), places[name])
        for name, words in words_of(plain).items()
    ]


def _is_in_tag(html: str, at: int) -> bool:
    opened = html.rfind("<", 0, at)
    return opened > html.rfind(">", 0, at) and html.find(">", at) >= 0


def script(day: dt.date) -> str:
    """The file that tells all pages their day."""
    following = formats.chart_day(day + dt.timedelta(days=1))
    return f"window.limeledgerDay = {formats.script_json(words_of(day) | {'next': following})};\n"


def filled(text: str, day: dt.date) -> str:
    """The text of a page with the day in its places."""
    words = words_of(day)
    text = _FILLED.sub(lambda match: words[match[1]], text)
    return text.replace(f'"{NEXT}"', f'"{formats.chart_day(day + dt.timedelta(days=1))}"')
