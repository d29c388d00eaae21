"""A desk to try things on: users, and a few days of what they did, for the sample workspace.

Belongs here: the invented people of `limeledger demo --desk` and their days. Does not belong here:
the sample's claims (`sample_data`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from pipelines import actions
from pipelines.actions import Caller
from pipelines.actions.caller import Role
from pipelines.actions.users import add_user
from pipelines.desk.site import DeskSite
from pipelines.desk.views.worklist import chosen, in_groups, worklist

# Whoever opens the sample reads these on the terminal; they open nothing else.
PASSWORD = "steam and lime 2026"
PEOPLE: tuple[tuple[str, str, Role], ...] = (
    ("odell", "M. Odell", "clerk"),
    ("hale", "R. Hale", "lead"),
    ("vance", "T. Vance", "administrator"),
)
Row = Mapping[str, Any]


def rehearse(site: DeskSite) -> None:
    """Makes the users, and has them work for three days up to the desk's day."""
    desk, workspace = site.desk, site.workspace
    nobody = Caller("demo", "demo", None, "command", site.day)
    for user, name, role in PEOPLE:
        add_user(desk, workspace, nobody, user=user, name=name, role=role, password=PASSWORD)
    rows = chosen(worklist(site), {}, "")
    groups = {key: listed for key, _, listed in in_groups(rows)}
    settled = chosen(worklist(site), {"group": "settled"}, "")
    refused = settled.filter(settled["standing"] == "not_covered").head(1).to_dicts()
    days = [site.day - dt.timedelta(days=back) for back in (2, 1, 0)]
    _first_day(site, days[0], groups)
    _second_day(site, days[1], groups)
    _third_day(site, days[2], groups, refused)


def _first_day(site: DeskSite, day: dt.date, groups: Mapping[str, Sequence[Row]]) -> None:
    clerk = _person(site, "odell", day)
    for row in groups.get("person", ())[:3]:
        _on(site, actions.assign, clerk, row, to="odell")
    for row in groups.get("person", ())[:1]:
        text = "Called the agency: the technician remembers the visit and looks for the sheet."
        _on(site, actions.note, clerk, row, text=text)
    for row in groups.get("documents", ())[:1]:
        reason = "The kitchen is closed for repairs; the water is sampled after that."
        until = (site.day + dt.timedelta(days=12)).isoformat()
        _on(site, actions.hold, clerk, row, until=until, reason=reason)


def _second_day(site: DeskSite, day: dt.date, groups: Mapping[str, Sequence[Row]]) -> None:
    lead = _person(site, "hale", day)
    for row in groups.get("settled_either_way", ())[:2]:
        reason = "Not covered whichever date is right: the cover had ended before both."
        _on(site, actions.rule, lead, row, ruling="not_covered", reason=reason)
    for row in groups.get("duplicates", ())[:1]:
        reason = f"Claimed and decided before as {row['duplicate_of']}."
        _on(site, actions.rule, lead, row, ruling="not_covered", reason=reason)


def _third_day(
    site: DeskSite, day: dt.date, groups: Mapping[str, Sequence[Row]], refused: Sequence[Row]
) -> None:
    clerk = _person(site, "odell", day)
    for row in refused:
        received = (day - dt.timedelta(days=1)).isoformat()
        reason = "The agency holds that the unit was installed a month later and sends the bill."
        _on(site, actions.appeal, clerk, row, received_on=received, reason=reason)
        _on(site, actions.assign, clerk, row, to="hale")
    for row in groups.get("one_document", ())[:1]:
        text = "The laboratory promised the report for this week."
        _on(site, actions.note, clerk, row, text=text)


def _person(site: DeskSite, user: str, day: dt.date) -> Caller:
    name, role = next((name, role) for known, name, role in PEOPLE if known == user)
    return Caller(user, name, role, "web", day)


def _on(site: DeskSite, action: Any, caller: Caller, row: Row, **fields: object) -> None:
    more = {} if action is actions.note else {"expected_version": "present"}
    action(site.desk, site.workspace, caller, claim=row["claim"], **fields, **more)
