"""Month end and search: two pages that tell, and the form that closes a month.

Belongs here: these pages and files. Does not belong here: any figure (`pipelines.queries.months`)
or what matches (`pipelines.queries.search`).
"""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboards import formats
from dashboards.desk_words import local
from pipelines.desk.controls import form_of
from pipelines.desk.guard import API
from pipelines.desk.operations import BY_NAME
from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.problems import Problem
from pipelines.desk.rendering import page
from pipelines.desk.site import DeskSite
from pipelines.errors import UsageError
from pipelines.queries.decided_since import decided_since
from pipelines.queries.months import (
    AMOUNTS,
    Closing,
    MonthEnd,
    by_dimension,
    month_end,
    month_of,
    totals,
)
from pipelines.queries.search import search_desk
from pipelines.worklist.search import fold
from schemas.months import MEASURES

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
DIMENSIONS = ("family", "cause_class", "agency", "region", "person")
HEADS = ["Measure", "State", "Adjusts", "Claims", "Parts", "Labor", "Travel", "Total"]


def routes(site: DeskSite) -> list[Route]:
    """The paths of months and of search."""

    def month(request: Request) -> Response:
        return page(request, site, "desk/month.html", _month(request, site))

    def as_csv(request: Request) -> Response:
        return _file(month_statement(site, request.path_params["month"]), "csv")

    def as_xlsx(request: Request) -> Response:
        return _file(month_statement(site, request.path_params["month"]), "xlsx")

    def search(request: Request) -> Response:
        page_content = _search(request, site)
        is_empty = "q" in request.query_params and page_content["found"] is None
        return page(
            request, site, "desk/search.html", page_content, status=422 if is_empty else 200
        )

    return [
        Route("/search", search, methods=["GET"]),
        *(
            Route(f"{start}/months/{{month:segment}}.{form}", endpoint, methods=["GET"])
            for start in ("", API)
            for form, endpoint in (("csv", as_csv), ("xlsx", as_xlsx))
        ),
        Route("/months/{month:segment}", month, methods=["GET"]),
    ]


def month_statement(site: DeskSite, given: str) -> MonthEnd:
    """A month as of the last refresh.

    Raises:
        Problem: 404 it is none.
    """
    try:
        return month_end(site.desk, month_of(given))
    except UsageError as error:
        raise Problem(404, str(error)) from None


def _file(statement: MonthEnd, form: str) -> Response:
    content: str | bytes = statement.csv() if form == "csv" else statement.xlsx()
    kind = "text/csv; charset=utf-8" if form == "csv" else XLSX
    name = f'attachment; filename="month-{statement.month}.{form}"'
    return Response(content, headers={"Content-Disposition": name}, media_type=kind)


def _month(request: Request, site: DeskSite) -> dict[str, Any]:
    month = month_statement(site, request.path_params["month"])
    caller = caller_of(site, visitor(request), "web")
    since = decided_since(site.desk, site.day)
    able = month.closed is None and caller.may("close")
    path = f"/months/{month.month}/closing"
    return {
        "title": f"Month {month.month}",
        "month": month,
        "beside": [
            (f"/months/{one}", f"{words} {one}")
            for one, words in ((month.month.before, "Before it:"), (month.month.after, "After it:"))
        ],
        "decided_since": len(since.gone) + since.decisions.height,
        "closed": month.closed and f"Closed by {month.closed.by} on {_day(month.closed, site)}.",
        "heads": HEADS,
        "totals": [
            _cells(row, ("measure", "state", "adjusts"))
            for row in where_they_differ(totals(month.rows).to_dicts(), "adjusts")
        ],
        "parts": [
            (
                name.replace("_", " ").capitalize(),
                [
                    _cells(row, ("measure", "state", name))
                    for row in where_they_differ(by_dimension(month.rows, name).to_dicts(), name)
                ],
            )
            for name in DIMENSIONS
        ],
        "shares": [
            [formats.VERDICTS[one["verdict"]], one["cause_class"], one["claims"],
             f"{one['share']:.4f}"]
            for one in month.shares.to_dicts()
        ],
        "form": form_of(BY_NAME["close_month"], path) if able else None,
    }  # fmt: skip


def _day(closing: Closing, site: DeskSite) -> str:
    """The day on which a month was closed, where the workspace is."""
    return local(closing.at, site.settings.zone)[:10]


def where_they_differ(rows: list[dict[str, Any]], key: str) -> list[dict[str, Any]]:
    """The rows of a month: of a closed one what it comes to now only beside what was frozen
    otherwise, nothing where none of it is left.

    Args:
        key: what a row is of, beside its measure.
    """
    sums = ("claims", *AMOUNTS)
    sides: dict[str, dict[Any, dict[str, Any]]] = {"frozen": {}, "now": {}, "adjustment": {}}
    for row in rows:
        sides[row["state"]][row["measure"], row[key]] = row
    if not sides["frozen"]:
        return rows
    shown = list(sides["adjustment"].values())
    for at in {**sides["frozen"], **sides["now"]}:
        was, comes = sides["frozen"].get(at), sides["now"].get(at)
        if was is None or comes is None or any(was[name] != comes[name] for name in sums):
            like = was or comes or {}
            nothing = like | {"state": "now"} | {name: like[name] * 0 for name in sums}
            shown += [one for one in (was, comes or nothing) if one is not None]
        else:
            shown.append(was)
    return sorted(
        shown, key=lambda row: (MEASURES.index(row["measure"]), str(row[key] or ""), row["state"])
    )


def _cells(row: dict[str, Any], names: tuple[str, ...]) -> list[Any]:
    words = [str(row[name] or "").replace("_", " ") for name in names]
    amounts = [formats.money(row[name]) for name in ("parts", "labor", "travel", "total")]
    return [*words, formats.whole(row["claims"]), *amounts]


def _search(request: Request, site: DeskSite) -> dict[str, Any]:
    wanted = request.query_params.get("q", "").strip()
    if not fold(wanted):
        return {"title": "Search", "q": "", "found": None}
    matches = search_desk(site.desk, wanted, site.day)
    for row in matches["results"]:
        row["word"] = formats.VERDICTS.get(row["verdict"] or "", "")
        row["what"] = KINDS[row["kind"]]
        shown = row["claim"] or row["serial"] or row["agency"] or row["site"] or row["file"]
        numbers = (("call ", row["call"]), ("unit ", row["serial"]), ("", row["agency"]),
                   ("", row["site"]))  # fmt: skip
        row["shown"] = shown
        row["where"] = ", ".join(f"{words}{n}" for words, n in numbers if n and n != shown)
        row["place"] = f"{row['file']}, line {row['line']}" if row["file"] else ""
    return {"title": f"Search: {wanted}", "q": wanted, "found": matches}


KINDS = {
    "claim": "Claim",
    "unit": "Unit",
    "agency": "Agency",
    "site": "Site",
    "set_aside": "Row set aside",
    "superseded": "Superseded row",
}
