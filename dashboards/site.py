"""Writes the whole site: pages, and one shared copy of everything that pages share.

Belongs here: which files there are and what they share. Does not belong here: what a page says
(`pages`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
from markupsafe import Markup

from dashboards import formats, shared_day, theme
from dashboards.charts import shared_files
from dashboards.claim_files import write_claims
from dashboards.data import PageData
from dashboards.environment import page_environment
from dashboards.hiding import hide_names
from dashboards.pages import (
    blind,
    claim,
    data,
    dictionary,
    failures,
    field,
    handouts,
    morning,
    startups,
    terms,
    upcoming,
)
from dashboards.pages.claim_rows import claim_rows
from dashboards.pages.searched import search_data
from dashboards.shared_day import SharedDay

if TYPE_CHECKING:  # a page that draws its own charts, which take a while to import
    from dashboards.pages.what_if import OtherTerms

PAGES = (
    ("index", "Morning"),
    ("startups", "Start-ups"),
    ("field", "Field"),
    ("upcoming", "Upcoming"),
    ("data", "Data"),
    ("terms", "Terms"),
)
_HERE = Path(__file__).parent
# What all charts share: seconds to make, and the same for one version of tool and libraries.
LIBRARY, SPECIFICATIONS = "vega-bundle.js", "specifications.js"
STYLE = "limeledger.css"
# What the search of the morning's page looks through; asked for when somebody searches.
SEARCHED = "searched.js"
_SCRIPTS = (
    "page.js",
    "charts.js",
    "sheet.js",
    "worklist.js",
    "search.js",
    "field.js",
    "startups.js",
    "failures.js",
)


def build_site(
    page_data: PageData,
    out: Path,
    pages_for: Sequence[str],
    tables: Callable[[], Sequence[str]] | None = None,
    last: Path | None = None,
) -> None:
    """Writes all pages below `out`: those of PAGES, failures, the data dictionary, a handout a
    figure, and one page a claim of `pages_for`.

    `out` is made where it is not there; what the charts share stays as it is where it is in `out`
    already. Claims of `pages_for` without a decision get no page. `tables` gives the names that
    stand in for `page_data.tables`; it is asked when the claims have their pages, since the tables
    may be written meanwhile. `last` is where the same tool published pages before: those of claims
    that would come out the same are taken from there.
    Raises OSError where the folder cannot be written.
    """
    shown = hide_names(page_data)
    out.mkdir(parents=True, exist_ok=True)
    _write_assets(out / "assets", shown)
    _write_searched(out / "assets", shown, frozenset(pages_for))
    environment = _environment(shown)
    ordered = shown.worklist.filter(shown.worklist["claim"].is_in(list(pages_for)))
    _write_claims(out / "claims", environment, shown, ordered["claim"].to_list(), last)
    if tables is not None:
        shown = replace(shown, tables=tables())
    contents = {
        "index": morning.content(shown, ordered),
        "startups": startups.content(shown),
        "field": field.content(shown),
        "failures": failures.content(shown),
        "upcoming": upcoming.content(shown),
        "data": data.content(shown, frozenset(ordered["claim"])),
        "terms": terms.content(shown),
        "dictionary": dictionary.content(),
    }
    for name, content in contents.items():
        template = "morning.html" if name == "index" else f"{name}.html"
        text = environment.get_template(template).render(content, page=name, root="")
        (out / f"{name}.html").write_text(text, encoding="utf-8")
    _write_handouts(out / "handouts", shown)


def claim_document(page_data: PageData, claim_number: str) -> str:
    """One claim as a page of its own: no other file, no script, its charts as pictures.

    For claims that have no page in the site. Raises KeyError where there is no decision of it.
    """
    shown = hide_names(page_data)
    content = next(iter(claim.contents(shown, [claim_number])), None)
    if content is None:
        raise KeyError(claim_number)
    from dashboards.specifications import picture

    for name, part in (("life_line", content["life"]), ("water_bars", content["water"])):
        if part is not None:
            part["image"] = picture(name, part["data"], shown.currency)
    style = theme.tokens_css() + _static("style.css")
    fill = content | {"page": "claim", "root": "", "alone": True, "style": Markup(style)}
    return _environment(shown).get_template("claim.html").render(fill)


def blind_document(page_data: PageData, claims: Sequence[str]) -> str:
    """The evidence of claims for a second opinion, to print: no verdict, no script, one file."""
    shown = hide_names(page_data)
    style = theme.tokens_css() + _static("style.css")
    fill = blind.content(shown, claims) | {
        "page": "blind",
        "root": "",
        "alone": True,
        "style": Markup(style),
    }
    return _environment(shown).get_template("blind.html").render(fill)


def what_if_document(page_data: PageData, other: OtherTerms) -> str:
    """The page of other terms, in one file: no other file, no script, its charts as pictures.

    `page_data` gives what all pages say of themselves; its frames are not looked at.
    """
    from dashboards.charts.theme import themed
    from dashboards.pages import what_if
    from dashboards.specifications import drawn

    content = what_if.content(other, page_data.currency, page_data.hide)
    for part in (*content["groups"], *([content["forecast"]] if content["forecast"] else [])):
        with themed():
            spec = part["chart"].to_dict()
        part["image"] = drawn(spec, part["data"])
    style = theme.tokens_css() + _static("style.css")
    fill = content | {"page": "what_if", "root": "", "alone": True, "style": Markup(style)}
    return _environment(page_data).get_template("what_if.html").render(fill)


def shared_text(name: str) -> str:
    """A style sheet or script that pages share, by its name under `assets`."""
    if name == STYLE:
        return theme.tokens_css() + _static("style.css")
    return _static(name)


def _static(name: str) -> str:
    return (_HERE / "static" / name).read_text(encoding="utf-8")


def _environment(shown: PageData) -> jinja2.Environment:
    environment = page_environment()
    environment.globals.update(alone=False, frame="base.html", up="../index.html")
    environment.globals["shell"] = _shell(shown)
    return environment


def _shell(shown: PageData) -> dict[str, Any]:
    """What stands around every page."""
    day = shared_day.words_of(shown.as_of)
    return {
        "maker": shown.maker,
        "as_of": day["iso"],
        "as_of_long": day["long"],
        "is_shared": isinstance(shown.as_of, SharedDay),
        "timezone": shown.timezone,
        "currency": shown.currency,
        "pages": PAGES,
    }


def _write_assets(assets: Path, shown: PageData) -> None:
    assets.mkdir(exist_ok=True)
    if not (assets / LIBRARY).exists():
        (assets / LIBRARY).write_text(shared_files.chart_library(), encoding="utf-8")
    if not (assets / SPECIFICATIONS).exists():
        specifications = shared_files.chart_specifications(shown.currency)
        (assets / SPECIFICATIONS).write_text(specifications, encoding="utf-8")
    for name in (STYLE, *_SCRIPTS):
        (assets / name).write_text(shared_text(name), encoding="utf-8")
    (assets / shared_day.FILE).write_text(shared_day.script(shown.as_of), encoding="utf-8")
    # A refresh that fails later replaces this file with its reason.
    (assets / "status.js").write_text("window.limeledgerStatus = null;\n", encoding="utf-8")


def _write_handouts(folder: Path, shown: PageData) -> None:
    folder.mkdir(exist_ok=True)
    for name, text in handouts.pages(shown):
        (folder / name).write_text(text, encoding="utf-8")


def _write_searched(assets: Path, shown: PageData, pages: frozenset[str]) -> None:
    """What the morning's page searches, as a script that it asks for at the first search."""
    searched = formats.script_json(search_data(shown.searched, pages))
    (assets / SEARCHED).write_text(f"window.limeledgerSearched = {searched};\n", encoding="utf-8")


def _write_claims(
    folder: Path,
    environment: jinja2.Environment,
    shown: PageData,
    claims: list[str],
    last: Path | None,
) -> None:
    """The day of these pages is one that they refer to: most of them change in nothing else."""
    refers = replace(shown, as_of=SharedDay.of(shown.as_of))
    shared = {"page": "claim", "root": "../", "shell": _shell(refers)}
    template = environment.get_template("claim.html")
    rows = claim_rows(refers, claims, claim.beside(claims))

    def contents(chosen: list[str]) -> Iterator[dict[str, Any]]:
        return claim.contents_of(rows.only(chosen))

    write_claims(folder, template, rows.keys(), contents, shared, last)
