"""`limeledger user`: who may sign in at the desk."""

from __future__ import annotations

import argparse
import getpass
import sys
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.acting import desk_of, os_user
from pipelines.cli.console.arguments import CommandParser, takes_workspace
from pipelines.cli.console.output import print_json, say, teller
from pipelines.errors import UsageError

if TYPE_CHECKING:
    from pipelines.actions import Caller
    from pipelines.events import Desk

HELP = "Keep the users of the desk: add, list, role, password, disable, enable, token."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes: what is to be done, then the workspace last."""
    doing = parser.add_subparsers(
        dest="doing", metavar="WHAT", required=True, parser_class=CommandParser
    )
    added = doing.add_parser("add", help="add a user")
    added.add_argument("name", metavar="NAME", help="the sign-in name")
    added.add_argument("--name", dest="full_name", required=True, metavar="TEXT", help="the name")
    added.add_argument("--role", required=True, metavar="ROLE", help=_ROLES)
    added.add_argument("--password-stdin", action="store_true", help="read it from stdin")
    doing.add_parser("list", help="list the users")
    role = doing.add_parser("role", help="give a user another role")
    role.add_argument("name", metavar="NAME")
    role.add_argument("role", metavar="ROLE", help=_ROLES)
    password = doing.add_parser("password", help="give a user another password")
    password.add_argument("name", metavar="NAME")
    password.add_argument("--password-stdin", action="store_true", help="read it from stdin")
    for name, help_text in (
        ("disable", "let a user sign in no more"),
        ("enable", "let a disabled user sign in again"),
        ("token", "make a token for a program; it is shown this once"),
    ):
        doing.add_parser(name, help=help_text).add_argument("name", metavar="NAME")
    for command in doing.choices.values():
        takes_workspace(command)
        command.add_argument(
            "--as-of", metavar="DATE", help="the desk's day, YYYY-MM-DD (default: today)"
        )
        command.add_argument(
            "--json", action="store_true", default=argparse.SUPPRESS, help="JSON on stdout"
        )


_ROLES = "reader, clerk, lead, engineer or administrator"


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import event, user
    from schemas import json_schema as js

    token = {"token": js.text("The token, which is told this once.")}
    return js.one_of(
        [
            js.record({"users": js.listing("The users by sign-in name.", js.record(user()))}),
            js.record(event() | user()),
            js.record(event() | user() | token),
        ]
    )


def run(args: argparse.Namespace) -> int:
    """Changes or lists users; the name of the operating system's user is kept with each change."""
    from pipelines.actions import users

    with desk_of(args) as desk:
        if args.doing == "list":
            listed = [user.to_dict() for user in users.all_users(desk)]
            _list(listed, args.json)
            return 0
        answer = _change(desk, _caller(desk, args), args)
    if args.json:
        print_json(answer)
    elif args.doing == "token":
        say(answer["token"])
    tell = teller(args.json)
    if args.doing != "token":
        state = ", disabled" if answer["disabled"] else ""
        tell(f"{answer['user']} ({answer['name']}) is {_a(answer['role'])}{state}.")
    return 0


def _change(desk: Desk, caller: Caller, args: argparse.Namespace) -> dict[str, Any]:
    from pipelines.actions import users

    where = (desk, desk.workspace, caller)
    match args.doing:
        case "add":
            return users.add_user(
                *where,
                user=args.name,
                name=args.full_name,
                role=args.role,
                password=_password(args),
            )
        case "role":
            return users.set_role(*where, user=args.name, role=args.role)
        case "password":
            return users.set_password(*where, user=args.name, password=_password(args))
        case "token":
            return users.make_token(*where, user=args.name)
    return users.set_disabled(*where, user=args.name, disabled=args.doing == "disable")


def _caller(desk: Desk, args: argparse.Namespace) -> Caller:
    """Whoever may write the workspace's files may keep its users."""
    from pipelines.actions import Caller
    from pipelines.store.inputs import as_of_date

    who = os_user()
    return Caller(who, who, None, "command", as_of_date(args.as_of, desk.settings), who)


def _password(args: argparse.Namespace) -> str:
    """The password, typed twice or read from standard input without its line's end."""
    if args.password_stdin or not sys.stdin.isatty():
        return sys.stdin.read().removesuffix("\n").removesuffix("\r")
    first = getpass.getpass(f"Password of {args.name}: ")
    if getpass.getpass("The same again: ") != first:
        raise UsageError("The two passwords differ; nothing was changed.")
    return first


def _list(users: list[dict[str, Any]], as_json: bool) -> None:
    if as_json:
        print_json({"users": users})
        return
    for user in users:
        state = " (disabled)" if user["disabled"] else ""
        say(f"{user['user']:20} {user['role']:14} {user['name']}{state}")
    if not users:
        say("There is no user yet; `limeledger user add NAME --name TEXT --role ROLE` makes one.")


def _a(role: str) -> str:
    return f"an {role}" if role[0] in "aeiou" else f"a {role}"
