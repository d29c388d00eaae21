"""The JSON of every command is what `limeledger schema` says, and nothing else would fit.

The validator is the `jsonschema` library's for JSON Schema 2020-12. Each output of the sample is
also bent at every place in turn (a key dropped, a key added, another word, an amount with one
decimal, a day without its zero, a number where a text stands), and none of these may pass.
"""

import copy
import datetime as dt
import json
import re
import shutil
import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from itertools import islice
from zoneinfo import ZoneInfo

import duckdb
import pytest
from jsonschema import Draft202012Validator

from pipelines.cli.main import COMMANDS
from pipelines.cli.schema import described_commands, schema_of

WITHOUT_JSON = {"schema", "dagster"}
# Those that act at the desk: their outputs are looked at on a workspace of their own.
ACTING = {
    "desk",
    "rule",
    "approve",
    "withdraw",
    "appeal",
    "note",
    "assign",
    "hold",
    "enter",
    "correct",
    "audit",
    "mark",
    "send",
    "month",
    "search",
    "user",
}
AMOUNT = re.compile(r"-?\d+\.\d{2}")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
# A count by word may lack a word that did not occur; a record is told by its columns, as texts;
# and without `known` an explanation as of another day is a plain one; so is a draft without
# `trial`, whose records have the columns of their feed; steps and tests are of many kinds.
OPEN = re.compile(
    "^without verdicts/|^without /(known|trial)$|evidence_rows/[0-9]+/values/|trial/records/"
    "|/steps/|/leave_out/"
)
MONEY = re.compile(
    r"(parts|labor|travel|total)_(amount|claimed|payable|standing|credited|if_covered)"
    r"|payable(_before|_after)?|standing_(before|after)|claimed|cost.*|granted|change|difference"
    r"|mean_cost|parts|labor|travel|total"
)


@cache
def validator(command: str) -> Draft202012Validator:
    """The validator of one command's output, formats included; made once, since it is asked often
    and the schema is checked itself."""
    schema = schema_of(command)
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)


def is_valid(check: Draft202012Validator, value: object) -> bool:
    """Whether a value fits. Of a schema of many forms each is left at its first fault, where the
    library would list all faults of every form that does not fit."""
    forms = check.schema.get("anyOf")
    if forms is None:
        return check.is_valid(value)
    rest = {key: part for key, part in check.schema.items() if key != "anyOf"}
    fits = check.evolve(schema=rest).is_valid(value)
    return fits and any(check.evolve(schema=one).is_valid(value) for one in forms)


def faults(command: str, value: object) -> list[str]:
    """What the schema does not like, with its place."""
    if is_valid(validator(command), value):
        return []
    found = validator(command).iter_errors(value)
    return [f"{list(fault.absolute_path)}: {fault.message[:200]}" for fault in islice(found, 5)]


def places(value: object, path: tuple = ()) -> Iterator[tuple[tuple, object]]:
    """Every place of a value with what stands there, the whole first."""
    yield path, value
    parts = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for key, part in parts:
        yield from places(part, (*path, key))


def bent(value: object, seen: set[tuple] | None = None) -> Iterator[tuple[str, object]]:
    """The value with one thing wrong at a time; of a list, its first item of each kind of place.

    With `seen`, kinds of places that other answers of the same command had are left out: a schema
    says the same of a place in whatever answer, as long as the objects around have the same keys.
    """
    shared, seen = seen is not None, set() if seen is None else seen
    for path, part in places(value):
        kind = (*("*" if isinstance(key, int) else key for key in path), type(part))
        kind += (*keys_around(value, path),) if shared else ()
        if kind in seen:
            continue
        seen.add(kind)
        where = "/".join(map(str, path))
        if isinstance(part, dict):
            for key in part:
                yield (
                    f"without {where}/{key}",
                    put(value, path, {k: v for k, v in part.items() if k != key}),
                )
            yield f"more in {where}", put(value, path, part | {"surprise": 1})
        for what, other in instead(part):
            yield f"{what} at {where}", put(value, path, other)


def keys_around(value: object, path: tuple) -> Iterator[tuple]:
    """The keys of every object on the way to a place, and of the one that is there; of a list,
    those of its first item."""
    for key in (*path, None):
        first = value[0] if isinstance(value, list) and value else value
        if isinstance(first, dict):
            yield tuple(sorted(first))
        value = None if key is None else value[key]


def not_as_amounts(value: object) -> list[tuple[str, object]]:
    """Places whose keys speak of money and hold neither a text with two decimals nor null."""
    return [
        (key, part)
        for (*_, key), part in list(places(value))[1:]
        if MONEY.fullmatch(str(key)) and not isinstance(part, list | dict | None)
        if not isinstance(part, str) or not AMOUNT.fullmatch(part)
    ]


def short(value: object) -> object:
    """The value with no more than two items in any list, which is enough to bend."""
    if isinstance(value, dict):
        return {key: short(part) for key, part in value.items()}
    return [short(part) for part in value[:2]] if isinstance(value, list) else value


def instead(part: object) -> Iterator[tuple[str, object]]:
    """What may not stand in a part's place."""
    if isinstance(part, str):
        yield "a number", 17
        if AMOUNT.fullmatch(part):
            yield "one decimal", part[:-1]
            yield "three decimals", part + "0"
        if DAY.match(part):
            yield "a day without zeros", part.replace("-0", "-", 1) if "-0" in part else part[:-1]
            yield "no day of the calendar", "2025-13-45" + part[10:]
    elif isinstance(part, bool):
        yield "a text", "yes"
    elif isinstance(part, int | float):
        yield "a text", str(part)
    elif part is None:
        yield "an object", {"surprise": 1}
    elif isinstance(part, list):
        yield "a text", ", ".join(map(str, part))
        yield "a surprise in the list", [*part, {"surprise": 1}]
    else:
        yield "a list", [part]


def put(value: object, path: tuple, other: object) -> object:
    """A copy of the value with something else at one place."""
    if not path:
        return other
    changed = copy.copy(value)
    changed[path[0]] = put(value[path[0]], path[1:], other)
    return changed


def pieces(schema: object) -> Iterator[dict]:
    """Every schema inside a schema."""
    if isinstance(schema, dict):
        yield schema
        for part in schema.values():
            yield from pieces(part)
    elif isinstance(schema, list):
        for part in schema:
            yield from pieces(part)


@pytest.fixture(scope="module")
def asked(sample, tmp_path_factory, run) -> Callable[[str], list]:
    """The JSON of one command, asked in every way in which its output differs, on the sample."""
    _, demo = sample
    out = tmp_path_factory.mktemp("asked")
    own = shutil.ignore_patterns("store", "published")
    exported = shutil.copytree(sample[0], out / "exported", ignore=own)
    folder = shutil.copytree(sample[0], out / "workspace")  # a draw of claims is written into it
    with duckdb.connect(str(folder / "store" / "limeledger.duckdb"), read_only=True) as con:

        def one(sql: str) -> str:
            (value,) = con.execute(sql).fetchone()
            return value

        by_verdict = con.execute(
            "select min(claim) from decisions group by verdict order by verdict"
        ).fetchall()
        unpaid = one("select min(claim) from payments where state = 'paid_in_part'")
        ruled = one("select min(claim) from decisions where ruling is not null")
        open_claim = one("select min(claim) from decisions where verdict = 'needs_review'")
        site = one("select min(site) from water_tests where point = 'supply' and ph is not null")
        model = one("select min(model) from units")
        lapsed = one("select min(serial) from treatment_recommendations where state = 'lapsed'")
        unsound = one(
            "select min(serial) from startup_reviews join decisions using (serial) "
            "where result = 'unsound'"
        )
    zone = ZoneInfo(tomllib.loads((folder / "limeledger.toml").read_text())["timezone"])
    today = dt.datetime.now(zone).date().isoformat()
    sheet = out / "sheet"
    terms = sorted((folder / "terms").glob("*.toml"))[0]
    first = sorted((folder / "exports").rglob("*.csv"))[0]
    calls = {
        "new": [("new", out / "new")],
        "refresh": [("refresh", folder, "--as-of", demo.json["as_of"])],
        "check": [("check", folder)],
        "explain": [
            *(("explain", c, folder) for c in (*(v for (v,) in by_verdict), unpaid, ruled)),
            ("explain", ruled, folder, "--decided", today),
            ("explain", open_claim, folder, "--as-of", demo.json["as_of"]),
            ("explain", open_claim, folder, "--as-of", demo.json["as_of"], "--known", today),
        ],
        "reproduce": [
            ("reproduce", ruled, folder, "--decided", today),
            ("reproduce", "--all", folder, "--decided", today),
        ],
        "letter": [("letter", open_claim, folder), ("letter", ruled, folder, "--format", "html")],
        "letters": [("letters", folder, "--state", "all", "--out", out / "letters")],
        "payments": [("payments", folder)],
        "second-opinion": [
            ("second-opinion", folder),
            ("second-opinion", folder, "--sample", "2", "--seed", "s", "--out", sheet),
        ],
        "advise": [("advise", folder, "--site", site, "--model", model)],
        "map": [
            ("map", first, "--feed", "credits", folder),
            ("map", first, folder, "--try"),
        ],
        "codes": [("codes", exported)],
        "field": [
            ("field", folder, "--figure", figure, "--by", "family")
            for figure in ("rates", "repeat_failures", "forecast", "costs", "weibull")
        ],
        "agencies": [("agencies", folder)],
        "upcoming": [("upcoming", folder)],
        "startups": [("startups", folder), ("startups", folder, "--state", "overdue")],
        "unit": [("unit", lapsed, folder), ("unit", unsound, folder)],
        "causes": [("causes", folder)],
        "backup": [("backup", folder, out / "backup.zip")],
        "restore": [("restore", out / "backup.zip", out / "restored")],
        "doctor": [("doctor", folder)],
        "what-if": [("what-if", terms, folder, "--for", "all")],
    }

    def answers(command: str) -> list:
        if command == "demo":
            return [demo.json]
        if command == "restore" and not (out / "backup.zip").exists():
            run(*calls["backup"][0])
        done = [run(*call, "--json") for call in calls[command]]
        assert done
        assert all(call.code in (0, 1) for call in done), [call.err for call in done]
        return [call.json for call in done]

    return answers


def test_the_command_lists_who_has_json(run):
    """Every command but the two without JSON, one a line; each of them gives its schema."""
    call = run("schema")
    assert call.code == 0
    assert call.out.splitlines() == [name for name in COMMANDS if name not in WITHOUT_JSON]
    told = run("schema", "explain")
    assert told.code == 0
    assert told.json == schema_of("explain")
    wrong = run("schema", "dagster")
    assert (wrong.code, wrong.out) == (2, "")
    assert '"dagster"' in wrong.err


@pytest.mark.parametrize("command", described_commands())
def test_a_schema_names_and_closes_everything(command):
    """2020-12, with an id and a title; a description for every property, no open object."""
    schema = schema_of(command)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"].endswith(f":{command}")
    assert command in schema["title"]
    objects = [piece for piece in pieces(schema) if "properties" in piece and "type" in piece]
    assert objects
    for piece in objects:
        # A slice has the dimensions that were asked for as columns: only these names, and texts.
        assert piece["additionalProperties"] is False or (
            piece["additionalProperties"] == {"type": "string"} and piece["propertyNames"]["enum"]
        )
        for name, one in piece["properties"].items():
            assert one.get("description", "").endswith((".", ")")), name
        if "required" in piece:
            assert piece["required"] == list(piece["properties"])


@pytest.mark.parametrize("command", [name for name in described_commands() if name not in ACTING])
def test_outputs_of_the_sample_fit_and_nothing_else(command, asked):
    """What the sample gives is valid; bent at any one place, it no longer is."""
    check, values = validator(command), list(asked(command))
    assert values
    seen: set[tuple] = set()
    count = 0
    for value in values:
        assert faults(command, value) == []
        bends = list(bent(short(value), seen))
        count += len(bends)
        passed = [what for what, other in bends if is_valid(check, other)]
        assert not_as_amounts(value) == []
        assert [what for what in passed if not OPEN.search(what)] == []
    assert count > 3


def test_rulings_fit_and_nothing_else(workspace, run):
    """The output of `rule`: amounts as typed or null, what it replaces, what overrules it."""
    by = ("--by", "A. Reader", "--reason", "seen on paper")
    calls = [
        ("rule", "W21", "covered", workspace, *by, "--at", "2025-12-20T10:00"),
        ("rule", "W21", "covered_in_part", workspace, *by, "--parts", "10.5", "--labor", "3"),
        ("rule", "W21", "not_covered", workspace, *by, "--at", "2025-12-01T08:00"),
    ]
    told = [run(*call, "--json") for call in calls]
    assert [call.code for call in told] == [0, 0, 0]
    assert told[1].json["parts_amount"] == "10.50"
    assert told[1].json["labor_amount"] == "3.00"
    assert told[1].json["travel_amount"] is None
    assert told[1].json["replaces"]["ruling"] == "covered"
    assert told[2].json["overruled_by"]["parts_amount"] == "10.50"
    for call in told:
        assert faults("rule", call.json) == []
        assert [w for w, other in bent(call.json) if validator("rule").is_valid(other)] == []


def test_acts_at_the_desk_fit_and_nothing_else(workspace, run):
    """What each command that acts says: valid, and bent at any one place no longer."""
    settings = workspace / "limeledger.toml"
    settings.write_text(settings.read_text() + "[rulings]\nsecond_person_above = 10\n")
    ann, lea = ("--by", "ann", workspace), ("--by", "lea", workspace)
    before = run("audit", workspace, "--json").json["events"]  # letters that refreshes made
    ruling = len(before) + 7
    calls = [
        ("note", "W08", "called", *ann),
        ("assign", "W08", "bob", *ann),
        ("assign", "W08", "-", *ann),
        ("hold", "W08", "--until", "2090-01-01", "--reason", "waits", *ann),
        ("hold", "W08", "--until", "-", *ann),
        ("appeal", "W08", "--received", "2025-12-01", "--reason", "no", *ann),
        ("rule", "W08", "covered", "--reason", "seen", *ann),
        ("approve", ruling, *lea),
        ("withdraw", ruling, "--reason", "slip", *ann),
        ("audit", workspace),
        ("user", "list", workspace),
        ("user", "token", "nobody", workspace),
    ]
    told = [(call[0], run(*call, "--json")) for call in calls]
    assert [answer.code for _, answer in told] == [0] * 11 + [4]
    assert told[6][1].json["state"] == "waiting"
    assert told[7][1].json["approved_by"] == "lea"
    acts = [event for event in told[9][1].json["events"] if event["kind"] != "letter"]
    assert len(acts) - len([event for event in before if event["kind"] != "letter"]) == 9
    for command, answer in told[:-1]:
        assert faults(command, answer.json) == []
        passed = [
            what for what, other in bent(short(answer.json)) if validator(command).is_valid(other)
        ]
        assert [what for what in passed if not re.search(OPEN.pattern + "|payload", what)] == []


def test_an_empty_workspace_gives_json_too(tmp_path, run, no_figures):
    """A new workspace without a row: still one JSON value a command, and valid."""
    folder = tmp_path / "empty"
    assert faults("new", run("new", folder, "--json").json) == []
    assert faults("refresh", run("refresh", folder, "--json").json) == []
    for command in ("check", "agencies", "upcoming", "causes", "payments", "doctor", "letters"):
        call = run(command, folder, "--json")
        assert call.code in (0, 1), command
        assert faults(command, call.json) == [], command


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (("explain", "NO-SUCH"), 4),
        (("letter", "NO-SUCH"), 4),
        (("rule", "NO-SUCH", "covered", "--by", "a", "--reason", "b"), 4),
        (("advise", "--site", "NO-SUCH", "--model", "FC-6"), 4),
        (("refresh", "--as-of", "never"), 2),
        (("field", "--figure", "no such"), 2),
        (("upcoming", "--within", "-1"), 2),
        (("payments", "--state", "no such"), 2),
    ],
)
def test_a_stop_leaves_stdout_empty(call, code, claims, run):
    """Where the exit code is 2 or 4 the sentence goes to stderr and nothing to stdout."""
    done = run(*call, claims[0], "--json")
    assert (done.code, done.out) == (code, "")
    assert done.err.strip()


@pytest.mark.parametrize(
    "command",
    ["refresh", "check", "letters", "payments", "agencies", "upcoming", "causes", "field"],
)
def test_broken_settings_leave_stdout_empty(command, workspace, run):
    """A workspace whose settings are wrong ends every command with one sentence on stderr."""
    (workspace / "limeledger.toml").write_text("maker = \n")
    (workspace / "store" / "limeledger.duckdb").unlink()
    done = run(command, workspace, "--json")
    assert (done.code, done.out) == (2, "")
    assert "limeledger" in done.err


def test_a_fault_of_the_tool_leaves_stdout_empty(claims, run, monkeypatch):
    """A number that JSON does not have is a fault, and half an answer is never printed."""
    monkeypatch.setattr("pipelines.cli.upcoming.json_rows", lambda *_: [{"v": float("inf")}])
    done = run("upcoming", claims[0], "--json")
    assert (done.code, done.out) == (70, "")
    assert "fault of the tool" in done.err


def test_the_checks_can_fail():
    """The bends reach every kind of place, and an open schema would let them pass."""
    value = {"claim": "W1", "paid": "10.00", "on": "2025-01-02", "n": 1, "ok": True, "of": [None]}
    assert {what.split(" at ")[0] for what, _ in bent(value)} >= {
        "without /claim", "more in ", "one decimal", "a day without zeros", "an object", "a list",
    }  # fmt: skip
    assert all(other != value for _, other in bent(value))
    assert all(Draft202012Validator({}).is_valid(other) for _, other in bent(value))
    assert not_as_amounts({"granted": 1.5, "of": [{"cost": "1.5", "total": "1.50"}]}) == [
        ("granted", 1.5),
        ("cost", "1.5"),
    ]
    assert json.dumps(value) == json.dumps(put(value, ("n",), 1))
