"""The settings of a workspace: defaults, every key, and the day in its time zone."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace import settings as settings_module
from pipelines.workspace.layout import Workspace
from pipelines.workspace.night import Mail
from pipelines.workspace.settings import Settings, load_settings, today

LEAST = 'maker = " Tarnfell "\ntimezone = "America/Denver"\ncurrency = "USD"\n'


def loaded(folder: Path, text: str) -> Settings:
    """The settings of a workspace with this limeledger.toml."""
    (folder / "LimeLedger.toml").write_text(text, encoding="utf-8")
    (folder / "Exports").mkdir(exist_ok=True)
    return load_settings(Workspace.open(folder))


def test_three_settings_are_enough(tmp_path: Path):
    """Everything else has the default that the contract tells."""
    settings = loaded(tmp_path, LEAST)
    assert (settings.maker, settings.timezone, settings.currency) == (
        "Tarnfell",
        "America/Denver",
        "USD",
    )
    assert (settings.terms, settings.set_aside_tolerance) == ("terms", 0.0)
    assert (settings.stale_after_days, settings.tanks_l) == (45, (60.0, 190.0))
    assert (settings.duty_hours_per_day, settings.conductivity_to_tds) == (10.0, 0.65)
    assert settings.calcium_share_of_hardness is None
    assert (settings.hide, settings.nightly_at) == ((), dt.time(2, 15))
    assert (settings.watch_seconds, settings.on_failure_command, settings.mail) == (60, (), None)
    assert settings.ruling_limits is None
    assert settings.zone == ZoneInfo("America/Denver")


def test_every_setting_can_be_set(tmp_path: Path):
    """All keys and tables are read, also bounds, in a file that begins with a byte order mark."""
    settings = loaded(
        tmp_path,
        "\ufeff"
        + LEAST
        + """
terms = "rules"
set_aside_tolerance = 1
stale_after_days = 0
tanks_l = [190, 60.5]
duty_hours_per_day = 24
conductivity_to_tds = 0.7
calcium_share_of_hardness = 1.0
[publish]
hide = ["site_name", "notes"]
[limits]
max_file_mb = 1
max_field_chars = 1000
[rulings]
limits = { "M. Odell" = 2000.50, "*" = 0 }
[nightly]
at = "23:59"
watch_seconds = 5
on_failure_command = ["/usr/bin/logger", "-t", "a b"]
[nightly.mail]
host = "mail.example"
from = "limeledger@maker.example"
to = ["warranty@maker.example", "quality@maker.example"]
starttls = true
user_env = "MAIL_USER"
password_env = "MAIL_PASSWORD"
""",
    )
    assert (settings.terms, settings.set_aside_tolerance, settings.stale_after_days) == (
        "rules",
        1.0,
        0,
    )
    assert settings.tanks_l == (60.5, 190.0)
    assert (settings.duty_hours_per_day, settings.conductivity_to_tds) == (24.0, 0.7)
    assert settings.calcium_share_of_hardness == 1.0
    assert settings.hide == ("site_name", "notes")
    assert (settings.max_file_mb, settings.max_field_chars) == (1, 1000)
    assert settings.ruling_limits == {"M. Odell": Decimal("2000.50"), "*": Decimal(0)}
    assert settings.nightly_at == dt.time(23, 59)
    assert settings.watch_seconds == 5
    assert settings.on_failure_command == ("/usr/bin/logger", "-t", "a b")
    assert settings.mail == Mail(
        host="mail.example",
        port=587,  # RFC 6409, section 3.1: the port of message submission
        sender="limeledger@maker.example",
        to=("warranty@maker.example", "quality@maker.example"),
        starttls=True,
        user_env="MAIL_USER",
        password_env="MAIL_PASSWORD",
    )


def test_the_lower_bound_of_the_factor_counts(tmp_path: Path):
    """0.5 is within 0.5 to 0.7, written as a decimal."""
    assert loaded(tmp_path, LEAST + "conductivity_to_tds = 0.5").conductivity_to_tds == 0.5


@pytest.mark.parametrize(("zone", "day"), [("Pacific/Auckland", 2), ("America/Denver", 1)])
def test_today_is_the_day_of_the_workspace(monkeypatch, zone: str, day: int):
    """At one moment it is the second in Auckland and still the first in Denver."""

    class Clock(dt.datetime):
        @classmethod
        def now(cls, tz=None):
            return dt.datetime(2026, 3, 1, 20, 0, tzinfo=dt.UTC).astimezone(tz)

    monkeypatch.setattr(settings_module.dt, "datetime", Clock)
    assert today(Settings(maker="M", timezone=zone, currency="USD")) == dt.date(2026, 3, day)


def test_joins_are_judged_by_their_own_shares(tmp_path: Path):
    """Defaults, a share for all, and shares of single joins by feed and column."""
    settings = loaded(tmp_path, LEAST)
    assert (settings.join_min_share, settings.join_min_rows, settings.join_shares) == (0.9, 20, {})
    shares = '[joins]\nmin_share = 1\nmin_rows = 5\n[joins.shares]\n"startups.agency" = 0\n'
    settings = loaded(tmp_path, LEAST + shares)
    assert (settings.join_min_share, settings.join_min_rows) == (1.0, 5)
    assert settings.join_shares == {"startups.agency": 0.0}


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('shares = { "startup.agency" = 0 }', "is no join; did you mean startups.agency?"),
        ('shares = { "startups.agency" = 2 }', "write a number from 0 to 1."),
        ("shares = 1", "write it as a table"),
        ("min_share = 90", "write a number from 0 to 1."),
        ("min_rows = -1", "write a whole number from 0"),
    ],
)
def test_wrong_join_settings_are_told(tmp_path: Path, line: str, told: str):
    """A join that there is not, and shares that are none."""
    with pytest.raises(WorkspaceError, match="line 5") as error:
        loaded(tmp_path, f"{LEAST}[joins]\n{line}\n")
    assert told in str(error.value)
