"""What a person can do to a claim, record or letter: checks, then one event.

Every action is called alike: `action(desk, workspace, caller, **fields) -> dict`, the API's
answer; `Refused` says with which status it was not done, and why. Nothing is recorded then.
"""

from pipelines.actions.acting import Answer, Version
from pipelines.actions.caller import ROLES, Caller, Once, Role
from pipelines.actions.claims import appeal, assign, hold, note
from pipelines.actions.corrections import correct
from pipelines.actions.records import enter
from pipelines.actions.ruling_answers import rulings_answer
from pipelines.actions.rulings import approve, rule, rule_many, withdraw_ruling
from pipelines.actions.withdrawals import withdraw, withdraw_correction, withdraw_record
from pipelines.errors import Refused

__all__ = [
    "ROLES",
    "Answer",
    "Caller",
    "Once",
    "Refused",
    "Role",
    "Version",
    "appeal",
    "approve",
    "assign",
    "correct",
    "enter",
    "hold",
    "note",
    "rule",
    "rule_many",
    "rulings_answer",
    "withdraw",
    "withdraw_correction",
    "withdraw_record",
    "withdraw_ruling",
]
