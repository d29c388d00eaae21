"""Every mistake in limeledger.toml is told with line, key and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace.settings import read_settings

GOOD = 'maker = "Tarnfell"\ntimezone = "America/Denver"\ncurrency = "USD"\n'

MISTAKES = {
    "no maker": (
        'timezone = "America/Denver"\ncurrency = "USD"',
        ["limeledger.toml: maker is missing; write it at the top of the file."],
    ),
    "no time zone": ('maker = "M"\ncurrency = "USD"', ["timezone is missing"]),
    "no currency": ('maker = "M"\ntimezone = "UTC"', ["currency is missing"]),
    "maker as a number": (
        GOOD.replace('"Tarnfell"', "7"),
        ["limeledger.toml line 1, column 1: maker is 7; write text in quotes."],
    ),
    "maker empty": (GOOD.replace("Tarnfell", " "), ['maker is " "; write text in quotes.']),
    "time zone misspelled": (
        GOOD.replace("Denver", "Denvr"),
        ['line 2, column 1: timezone is "America/Denvr", which is no IANA time zone; did you mean'],
    ),
    "time zone that is a folder": (GOOD.replace("/Denver", ""), ["which is no IANA time zone"]),
    "time zone that is a path": (
        GOOD.replace("America/Denver", "../../etc/passwd"),
        ['which is no IANA time zone; write one such as "America/Denver".'],
    ),
    "time zone as a number": (GOOD.replace('"America/Denver"', "-7"), ["timezone is -7; write a"]),
    "currency in words": (
        GOOD.replace("USD", "dollar"),
        ['currency is "dollar"; write the three capital letters of ISO 4217, such as "USD".'],
    ),
    "unknown setting": (
        GOOD + "stale_days = 45",
        ["line 4, column 1: stale_days is not a known setting; did you mean stale_after_days?"],
    ),
    "unknown table": (
        GOOD + "[publis]\nhide = []",
        ["line 4, column 2: publis is not a known setting; did you mean publish?"],
    ),
    "unknown key in a table": (
        GOOD + '[nightly]\nhour = "2"',
        ["line 5, column 1: nightly.hour is not a known setting; use one of: at, mail, on_fail"],
    ),
    "a command as one text": (
        GOOD + '[nightly]\non_failure_command = "rm -r x"',
        ['line 5, column 1: nightly.on_failure_command is "rm -r x"; write a program and its arg'],
    ),
    "a command of nothing": (
        GOOD + "[nightly]\non_failure_command = []",
        ["on_failure_command is []; write a program"],
    ),
    "readers of another word": (
        GOOD + 'readable_by = "all"',
        ['line 4, column 1: readable_by is "all"; write "group" or "owner".'],
    ),
    "a schedule of another word": (
        GOOD + '[nightly]\nschedule = "yes"',
        ['line 5, column 1: nightly.schedule is "yes"; write "on" or "off".'],
    ),
    "a sensor that is true": (
        GOOD + "[nightly]\nsensor = true",
        ['line 5, column 1: nightly.sensor is true; write "on" or "off".'],
    ),
    "a watch of no time": (
        GOOD + "[nightly]\nwatch_seconds = 0",
        ["nightly.watch_seconds is 0; write a whole number of seconds from 1 to 3600."],
    ),
    "mail as text": (
        GOOD + '[nightly]\nmail = "a@maker.example"',
        ["line 5, column 1: nightly.mail is", "write it as a table, [nightly.mail]."],
    ),
    "a day of letters in quotes": (
        GOOD + '[letters]\nsince = "2026-09-01"',
        ['line 5, column 1: letters.since is "2026-09-01"; write a day without quotes'],
    ),
    "reminders below zero": (
        GOOD + "[letters]\nreminders = -1",
        ["line 5, column 1: letters.reminders is -1; write a whole number from 0 to 100."],
    ),
    "a kind of letter that is none": (
        GOOD + '[letters]\nkinds = ["instalation"]',
        ['letters.kinds names "instalation", which is no kind of letter; did you mean'],
    ),
    "letters by mail from nobody": (
        GOOD + '[letters.mail]\nhost = "mail.example"',
        ["letters.mail.host needs [letters] sender, the address that letters come from"],
    ),
    "letters by mail without a server": (
        GOOD + '[letters]\nsender = "a@maker.example"\n[letters.mail]\nport = 25',
        ["letters.mail.host is missing; write it under [letters.mail]"],
    ),
    "letters by mail to somebody": (
        GOOD + '[letters.mail]\nto = "a@maker.example"',
        ["letters.mail.to is not a known setting"],
    ),
    "mail to nobody": (
        GOOD + '[nightly.mail]\nhost = "mail.example"\nfrom = "a@maker.example"',
        ["nightly.mail.to is missing; write it under [nightly.mail], such as to = ["],
    ),
    "mail with a line break in an address": (
        GOOD + '[nightly.mail]\nhost = "h"\nfrom = "a@b\\nBcc: x@y"\nto = "c@maker.example"',
        ['line 6, column 1: nightly.mail.from is "a@b\\nBcc: x@y"; write one address'],
    ),
    "a port too high": (
        GOOD + '[nightly.mail]\nhost = "h"\nport = 65536\nfrom = "a@b"\nto = ["c@d"]',
        ["line 6, column 1: nightly.mail.port is 65536; write a whole number from 1 to 65535."],
    ),
    "a password in the open": (
        GOOD
        + '[nightly.mail]\nhost = "h"\nfrom = "a@b"\nto = ["c@d"]\n'
        + 'user_env = "U"\npassword_env = "P"',
        ["nightly.mail.starttls is not true; a password is sent over TLS only."],
    ),
    "a password in the settings": (
        GOOD + '[nightly.mail]\nhost = "h"\nfrom = "a@b"\nto = ["c@d"]\npassword_env = "se cret"',
        ['password_env is "se cret"; name an environment variable'],
    ),
    "an unknown key of the mail": (
        GOOD + '[nightly.mail]\nhost = "h"\nfrom = "a@b"\nto = ["c@d"]\nstartls = true',
        ["line 8, column 1: nightly.mail.startls is not a known setting; did you mean starttls?"],
    ),
    "value for a table": (GOOD + "publish = 1", ["publish is 1; write it as a table, [publish]."]),
    "terms as a list": (GOOD + 'terms = ["a"]', ['terms is ["a"]; write text in quotes.']),
    "terms from the root": (
        GOOD + 'terms = "/etc"',
        ['line 4, column 1: terms is "/etc", which leads out of the workspace; name a folder in'],
    ),
    "terms beside the workspace": (GOOD + 'terms = "a/../../b"', ["leads out of the workspace"]),
    "tolerance above 1": (
        GOOD + "set_aside_tolerance = 5",
        ["line 4, column 1: set_aside_tolerance is 5; write a number from 0 to 1."],
    ),
    "tolerance as text": (GOOD + 'set_aside_tolerance = "1 %"', ["write a number from 0 to 1."]),
    "tolerance not a number": (GOOD + "set_aside_tolerance = nan", ["is NaN; write a number"]),
    "half a day": (GOOD + "stale_after_days = 4.5", ["is 4.5; write a whole number from 0"]),
    "negative days": (GOOD + "stale_after_days = -1", ["is -1; write a whole number from 0"]),
    "a tank of nothing": (GOOD + "tanks_l = [60, 0]", ["tanks_l is [60, 0]; write a list of"]),
    "a tank as text": (GOOD + 'tanks_l = ["60"]', ['tanks_l is ["60"]; write a list of sizes']),
    "more hours than a day has": (
        GOOD + "duty_hours_per_day = 25",
        ["duty_hours_per_day is 25; write a number above 0 and at most 24."],
    ),
    "factor above the range": (
        GOOD + "conductivity_to_tds = 0.71",
        ["conductivity_to_tds is 0.71; write a number from 0.5 to 0.7."],
    ),
    "factor below the range": (GOOD + "conductivity_to_tds = 0.49", ["from 0.5 to 0.7."]),
    "true for a share": (
        GOOD + "calcium_share_of_hardness = true",
        ["calcium_share_of_hardness is true; write a number above 0 and at most 1."],
    ),
    "hidden column misspelled": (
        GOOD + '[publish]\nhide = ["site_nmae"]',
        [
            'publish.hide names "site_nmae", which cannot be hidden; choose from site_name, agency, postal_code, lab, notes.'  # noqa: E501
        ],
    ),
    "no row in a CSV": (
        GOOD + "[publish]\ncsv_max_rows = 0",
        ["line 5", "publish.csv_max_rows is 0", "write a whole number from 1"],
    ),
    "hidden columns as text": (GOOD + '[publish]\nhide = "site"', ["write a list of column"]),
    "a file limit of nothing": (
        GOOD + "[limits]\nmax_file_mb = 0",
        ["limits.max_file_mb is 0; write a whole number from 1 to 1000000."],
    ),
    "a time that no clock shows": (
        GOOD + '[nightly]\nat = "25:00"',
        ['line 5, column 1: nightly.at is "25:00"; write hours and minutes, such as "02:15".'],
    ),
    "a name for an address": (
        GOOD + '[letters]\nsender = "Warranty <w@maker.example>"',
        ['letters.sender is "Warranty <w@maker.example>"; write one mail address'],
    ),
    "limits that are no table": (
        GOOD + "[rulings]\nlimits = 2000",
        ["line 5, column 1: rulings.limits is 2000; write who may rule up to what amount"],
    ),
    "a limit in words": (
        GOOD + '[rulings]\nlimits = { "M. Odell" = "much" }',
        ['rulings.limits gives "M. Odell" "much"; write an amount from 0 to 1,000,000,000.'],
    ),
    "a limit below zero": (GOOD + "[rulings.limits]\nDesk = -1", ['gives "Desk" -1; write']),
    "a person with two limits": (
        GOOD + "[rulings.limits]\nDesk = 1\ndesk = 2",
        ['names "desk" twice; capitals make no difference'],
    ),
    "a key twice": (
        GOOD + "\n[publish]\ncsv_max_rows = 1\ncsv_max_rows = 2",
        ["the key on this line is there already; keep one of the two lines"],
    ),
    "a table twice": (
        GOOD + "\n[joins.shares]\n[joins.shares]\n",
        ["the table [joins.shares] is there already; put the lines of both under one"],
    ),
    "not TOML": (
        GOOD.replace('"Tarnfell"', "Tarnfell"),
        ["limeledger.toml line 1, column 9: this is not valid TOML (Invalid value)"],
    ),
}


@pytest.mark.parametrize(("text", "words"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_in_the_settings(tmp_path: Path, text: str, words: list[str]):
    """One wrong line gives a sentence that names file, place, key and remedy."""
    path = tmp_path / "limeledger.toml"
    path.write_text(text)
    with pytest.raises(WorkspaceError) as caught:
        read_settings(path)
    for expected in words:
        assert expected in str(caught.value)


def test_all_mistakes_come_at_once(tmp_path: Path):
    """A person corrects the settings in one go."""
    path = tmp_path / "limeledger.toml"
    path.write_text('maker = 1\ntimezone = "Nowhere"\nterm = "x"\n')
    with pytest.raises(WorkspaceError) as caught:
        read_settings(path)
    assert [fault.split(": ")[1].split()[0] for fault in caught.value.faults] == [
        "currency",
        "maker",
        "timezone",
        "term",
    ]
