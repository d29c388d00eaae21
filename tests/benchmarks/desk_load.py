"""Fifty people at one desk on loopback: how long pages and actions take, and what goes wrong.

    python tests/benchmarks/desk_load.py WORKSPACE [--people 50] [--seconds 120] [--up 90] [--any]

The workspace is refreshed, and copied with its letters before anybody acts. The desk has been up
for a while (`--up`, seconds) when the first comes, as in the morning after a night; people come
over the first minute, which is told apart, and then work for `--seconds`. Each signs in by the
form, then in turn reads the worklist, a claim, a page of settled claims or the audit, with a pause
of two to six seconds between, as people read; every fifth time they act on a claim (a note, an
assignment, a hold or a ruling) by the form of its page. Of eight claims seven are of those that
need a person, and one is any of the last 2,000, as when somebody calls about it: a settled claim
has no published page, so that its page is gathered when it is asked for. With --any all are of the
last. Prints one line a kind, and fails only where an answer was none that the desk may give.
"""

from __future__ import annotations

import argparse
import datetime as dt
import http.client
import json
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from urllib.parse import quote, urlencode, urlsplit

import duckdb

from pipelines.actions import Caller
from pipelines.actions.users import add_user
from pipelines.events import open_desk
from pipelines.store.reading import open_store, published_state
from pipelines.workspace.layout import Workspace

PASSWORD = "a password for the load"
FIELD = re.compile(r'name="(csrf_token|version|once)" value="([^"]*)"')
COMING_SECONDS = 60
FORM = re.compile(r'<form class="form" method="post" action="([^"]*)".*?</form>', re.DOTALL)


@dataclass(frozen=True)
class Claims:
    """Claims that need a person, and the last ones whatever became of them."""

    open: list[str]
    last: list[str]

    def chosen(self, random: random.Random) -> str:
        """One that somebody looks at."""
        return random.choice(self.open if self.open and random.random() < 7 / 8 else self.last)


class Person(threading.Thread):
    """One person with a browser of their own."""

    def __init__(self, number: int, place: str, claims: Claims, day: dt.date, seconds: int):
        super().__init__()
        self.user, self.random = f"person{number}", random.Random(number)
        self.place, self.claims, self.day = place, claims, day
        self.from_when = time.monotonic() + COMING_SECONDS
        self.until = self.from_when + seconds
        self.cookies: dict[str, str] = {}
        self.took: dict[str, list[float]] = defaultdict(list)
        self.took_coming: dict[str, list[float]] = defaultdict(list)
        self.faults: list[str] = []
        self.conflicts = 0

    def run(self) -> None:
        """Signs in, then works until the time is up."""
        self.connection = http.client.HTTPConnection(self.place, timeout=60)
        time.sleep(self.random.random() * COMING_SECONDS)
        page = self.ask("sign-in page", "GET", "/sign-in")[1]
        form = dict(FIELD.findall(page)) | {"user": self.user, "password": PASSWORD}
        if self.ask("sign-in", "POST", "/sign-in", form)[0] != 303:
            return
        while time.monotonic() < self.until:
            self.turn()
            time.sleep(2 + 4 * self.random.random())

    def turn(self) -> None:
        """One look, or one action."""
        claim = self.claims.chosen(self.random)
        address = f"/claims/{quote(claim, safe='')}"
        if self.random.random() < 0.2:
            page = self.ask("claim", "GET", address)[1]
            self.act(address, page)
            return
        path, kind = self.random.choice(
            [("/", "worklist"), ("/?group=settled", "worklist"), (address, "claim"),
             (address, "claim"), ("/audit", "audit")]
        )  # fmt: skip
        self.ask(kind, "GET", path)

    def act(self, address: str, page: str) -> None:
        """Sends one of the claim's forms."""
        later = (self.day + dt.timedelta(days=20)).isoformat()
        what, fields = self.random.choice(
            [
                ("notes", {"text": "Read under load."}),
                ("assignment", {"to": self.user}),
                ("hold", {"until": later, "reason": "Under load."}),
                ("rulings", {"ruling": "not_covered", "reason": "Under load."}),
            ]
        )
        form = next(m for m in FORM.finditer(page) if unescape(m[1]) == f"{address}/{what}")
        held = {name: unescape(value) for name, value in FIELD.findall(form[0])}
        status = self.ask("action", "POST", f"{address}/{what}", held | fields, (303, 412))[0]
        self.conflicts += status == 412

    def ask(self, kind, method, path, form=None, good=(200, 303)) -> tuple[int, str]:
        """One request; its time is kept by its kind."""
        headers = {"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items())}
        body = urlencode(form) if form else None
        if form:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        begun = time.monotonic()
        try:
            self.connection.request(method, path, body, headers)
            answer = self.connection.getresponse()
            text = answer.read().decode("utf-8")
        except OSError as error:
            self.faults.append(f"{method} {path}: {error!r}")
            self.connection.close()
            return 0, ""
        took = self.took if begun >= self.from_when else self.took_coming
        took[kind].append(time.monotonic() - begun)
        for cookie in answer.headers.get_all("set-cookie") or ():
            name, _, value = cookie.split(";")[0].partition("=")
            self.cookies[name] = value.strip('"')
        if answer.status not in good:
            self.faults.append(f"{method} {path}: {answer.status} {text[-300:]}")
        return answer.status, text


def main() -> int:
    """Runs the load and prints what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("workspace", type=Path)
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--up", type=int, default=90, help="seconds before the first comes")
    parser.add_argument("--any", action="store_true", help="any of the last claims alike")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "workspace"
        shutil.copytree(args.workspace, copy)
        return _load(Workspace.open(copy), args.people, args.seconds, args.up, args.any)


def _last(con: duckdb.DuckDBPyConnection, where: str = "") -> list[str]:
    rows = con.execute(f"select claim from decisions {where} order by claimed_on desc limit 2000")
    return [claim for (claim,) in rows.fetchall()]


def _load(workspace: Workspace, people: int, seconds: int, up: int, any_claim: bool) -> int:
    with open_store(workspace) as con:
        day = published_state(workspace, con).as_of
        claims = Claims(
            [] if any_claim else _last(con, "where verdict in ('needs_review', 'needs_evidence')"),
            _last(con),
        )
    desk = open_desk(workspace)
    nobody = Caller("load", "load", None, "command", day)
    for number in range(people):
        name = f"Person {number}"
        add_user(
            desk, workspace, nobody, user=f"person{number}", name=name, role="lead",
            password=PASSWORD,
        )  # fmt: skip
    desk.close()
    command = [sys.executable, "-m", "pipelines.cli", "desk", str(workspace.root), "--json"]
    served = subprocess.Popen(
        [*command, "--port", "0", "--as-of", day.isoformat()], stdout=subprocess.PIPE, text=True
    )
    assert served.stdout is not None
    place = urlsplit(json.loads(served.stdout.readline())["url"]).netloc
    time.sleep(up)
    crowd = [Person(number, place, claims, day, seconds) for number in range(people)]
    for person in crowd:
        person.start()
    for person in crowd:
        person.join()
    served.terminate()
    served.wait()
    faults = [fault for person in crowd for fault in person.faults]
    print("While people came:")
    _say([person.took_coming for person in crowd])
    print("Then:")
    _say([person.took for person in crowd])
    print(f"{sum(person.conflicts for person in crowd)} told of a change; {len(faults)} faults")
    for fault in faults[:10]:
        print(fault)
    return 1 if faults else 0


def _say(took_by_person: list[dict[str, list[float]]]) -> None:
    """One line a kind."""
    for kind in ("sign-in", "worklist", "claim", "audit", "action"):
        took = sorted(t for one in took_by_person for t in one[kind])
        if len(took) > 1:
            cuts = statistics.quantiles(took, n=20)
            print(
                f"{kind:9} {len(took):5} answers, median {cuts[9] * 1000:6.0f} ms, 95 % under "
                f"{cuts[18] * 1000:6.0f} ms, longest {took[-1] * 1000:6.0f} ms"
            )


if __name__ == "__main__":
    raise SystemExit(main())
