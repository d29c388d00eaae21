"""What can be typed: each command's arguments, positional ones and options in any order."""

from __future__ import annotations

import argparse
import itertools

import pytest

from pipelines.cli.main import build_parser, main

# One call of every command that takes a workspace, as its positional arguments and its options.
CALLS: dict[str, tuple[list[str], list[list[str]]]] = {
    "refresh": (["WS"], [["--as-of", "2025-12-31"], ["--json"]]),
    "check": (["WS"], [["--as-of", "2025-12-31"], ["--debug"]]),
    "explain": (["C1", "WS"], [["--json"], ["--html", "f.html"]]),
    "reproduce": (["C1", "WS"], [["--decided", "2025-12-31"], ["--json"]]),
    "letter": (["C1", "WS"], [["--format", "eml"], ["--out", "f.eml"]]),
    "letters": (["WS"], [["--since", "2025-12-31"], ["--format", "html"]]),
    "rule": (["C1", "covered", "WS"], [["--by", "A B"], ["--reason", "why"], ["--parts", "1.50"]]),
    "payments": (["WS"], [["--state", "unpaid"], ["--csv"]]),
    "second-opinion": (["WS"], [["--sample", "3"], ["--seed", "x"]]),
    "advise": (["WS"], [["--site", "S1"], ["--model", "F-6"]]),
    "map": (["a.csv", "WS"], [["--feed", "units"], ["--save", "n"], ["--json"]]),
    "codes": (["WS"], [["--json"], ["--debug"]]),
    "field": (["WS"], [["--by", "region"], ["--class", "scale"], ["--csv"]]),
    "agencies": (["WS"], [["--csv"]]),
    "upcoming": (["WS"], [["--within", "30"], ["--json"]]),
    "causes": (["WS"], [["--second-look"], ["--csv"]]),
    "backup": (["WS", "b.zip"], [["--wait", "1"], ["--json"]]),
    "doctor": (["WS"], [["--json"], ["--debug"]]),
    "what-if": (["t.toml", "WS"], [["--for", "all"], ["--html", "f.html"]]),
    "dagster": (["WS"], [["--port", "3001"], ["--no-page"]]),
    "mark": (["7", "sent", "WS"], [["--by", "A"], ["--on", "2025-12-31"]]),
    "send": (["7", "8"], [["--in", "WS"], ["--by", "A"]]),
    "month": (["2025-12", "WS"], [["--csv", "f.csv"], ["--close"], ["--by", "A"]]),
    "search": (["a word", "WS"], [["--json"]]),
    "approve": (["7", "WS"], [["--by", "A"], ["--as-of", "2025-12-31"]]),
    "withdraw": (["7", "WS"], [["--by", "A"], ["--reason", "why"]]),
    "appeal": (["C1", "WS"], [["--by", "A"], ["--received", "2025-12-31"], ["--reason", "why"]]),
    "note": (["C1", "a text", "WS"], [["--by", "A"]]),
    "assign": (["C1", "ada", "WS"], [["--by", "A"]]),
    "hold": (["C1", "WS"], [["--by", "A"], ["--until", "2026-01-31"], ["--reason", "why"]]),
    "enter": (["startups", "report=R1"], [["--in", "WS"], ["--by", "A"]]),
    "correct": (
        ["startups", "a.csv:2", "agency=A"],
        [["--in", "WS"], ["--by", "A"], ["--reason", "b"]],
    ),
    "audit": (["WS"], [["--claim", "C1"], ["--after", "7"]]),
    "startups": (["WS"], [["--state", "open"], ["--csv"]]),
    "unit": (["S1", "WS"], [["--json"]]),
    "desk": (["WS"], [["--port", "0"], ["--as-of", "2025-12-31"]]),
}


def orders(places: list[str], options: list[list[str]]) -> list[list[str]]:
    """Every way of laying options between positional arguments that keep their own order."""
    sizes = range(len(places) + 1)
    return [
        [
            word
            for at in sizes
            for word in [
                *itertools.chain(
                    *(o for o, where in zip(options, gaps, strict=True) if where == at)
                ),
                *places[at : at + 1],
            ]
        ]
        for gaps in itertools.product(sizes, repeat=len(options))
    ]


@pytest.mark.parametrize("command", CALLS)
def test_arguments_come_in_any_order(command: str) -> None:
    """The workspace is read before, between and behind the options, the values stay the same."""
    places, options = CALLS[command]
    calls = orders(places, options)
    assert len(calls) == (len(places) + 1) ** len(options)
    parser = build_parser()
    parsed = [vars(parser.parse_args([command, *call])) for call in calls]
    assert parsed[0]["workspace"] == "WS"
    assert all(one == parsed[0] for one in parsed)


def test_every_command_with_a_workspace_is_tried() -> None:
    """A new command is put into CALLS."""
    (commands,) = (a.choices for a in build_parser()._actions if a.dest == "command")
    taking = {
        name
        for name, parser in commands.items()
        if any(action.dest == "workspace" for action in parser._actions)
    }
    assert taking == set(CALLS)


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (["rule", "C1", "covered", "--by", "A", "--reason", "b", "WS", "more"], "more"),
        (["rule", "C1", "--by", "A", "--reason", "b"], "RULING"),
        (["rule", "C1", "covered", "WS", "--by", "A"], "--reason"),
        (["explain"], "CLAIM"),
        (["upcoming", "WS", "--within", "soon"], "soon"),
        (["advise", "WS", "--model", "F-6"], "--site"),
        (["advise", "WS", "--model", "F-6", "--site", "S", "--test", "f"], "--test"),
        (["dagster", "WS", "--json"], "--json"),
        (["refresh", "WS", "--no-such"], "--no-such"),
        ([], "COMMAND"),
    ],
)
def test_a_wrong_call_is_told(call: list[str], told: str, capsys: pytest.CaptureFixture) -> None:
    """Too many, too few and unknown arguments end with code 2 and name what is wrong."""
    with pytest.raises(SystemExit) as stop:
        build_parser().parse_args(call)
    assert stop.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err.splitlines()[-1]


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (["upcoming", "--json", "--csv"], "choose one of them"),
        (["field", "--json", "--csv"], "choose one of them"),
        (["field", "--compare", "age=0-6", "--by", "need"], "takes no --by"),
        (["field", "--compare", "age=0-6", "--figure", "survival"], "takes no --figure"),
        (["field", "--since", "2026-03-01", "--until", "2026-03-01"], "leaves no day"),
        (["field", "--by", "season,color"], 'no "color"'),
    ],
)
def test_no_option_is_left_unheard(
    call: list[str], told: str, tmp_path, monkeypatch, capsys: pytest.CaptureFixture
) -> None:
    """What cannot be honored together is refused, before any workspace is looked into."""
    monkeypatch.chdir(tmp_path)
    assert main(call) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err


def test_the_workspace_defaults_to_the_current_folder() -> None:
    """Left out, it is the folder that one stands in, also behind options."""
    args = build_parser().parse_args(["rule", "C1", "covered", "--by", "A", "--reason", "b"])
    assert (args.claim, args.ruling, args.workspace) == ("C1", "covered", ".")


def test_a_word_behind_two_dashes_is_a_place() -> None:
    """A claim that begins with a dash can be named."""
    args = build_parser().parse_args(["explain", "--json", "--", "-C1", "WS"])
    assert (args.claim, args.workspace, args.json) == ("-C1", "WS", True)


@pytest.mark.parametrize("typed", ["1" + "0" * 18, "-1", "1.5", "²", "x"])
@pytest.mark.parametrize("command", ["approve", "withdraw", "mark", "send", "audit"])
def test_a_number_of_an_event_or_letter_is_one_that_can_be(command, typed, capsys) -> None:
    """No database is asked for one of more digits than it has; 18 digits are read."""
    more = {
        "approve": [typed, "--by", "a"],
        "withdraw": [typed, "--by", "a", "--reason", "b"],
        "mark": [typed, "sent", "--by", "a"],
        "send": ["7", typed, "--by", "a"],
        "audit": [f"--after={typed}"],
    }[command]
    with pytest.raises(SystemExit) as stopped:
        build_parser().parse_args([command, *more])
    assert stopped.value.code == 2
    assert capsys.readouterr().err
    sound = [one.replace(typed, "9" * 18) for one in more]
    read = vars(build_parser().parse_args([command, *sound]))
    assert 10**18 - 1 in [*read.values(), *(read.get("entry") if command == "send" else [])]


@pytest.mark.parametrize("command", ["search", "note", "audit"])
def test_bytes_that_are_no_text_are_refused(command, tmp_path, capsys) -> None:
    """Exit code 2 with a sentence."""
    half = "K\udcff"  # how Python holds a byte that is no UTF-8
    more = {"search": [half], "note": [half, "b", "--by", "a"], "audit": ["--claim", half]}[command]
    workspace = tmp_path / "w"
    assert main(["new", str(workspace)]) == 0
    place = [str(workspace)]
    cut = more.index("--by") if "--by" in more else len(more)
    called = more[:cut] + place + more[cut:] if command != "audit" else place + more
    capsys.readouterr()
    assert main([command, *called]) == 2
    assert "no text can hold" in capsys.readouterr().err


def test_one_command_alone_is_read_as_among_all() -> None:
    """Its help and usage are the same; a word that is no command is told with all of them."""

    def help_of(parser: argparse.ArgumentParser) -> str:
        (commands,) = (a.choices for a in parser._actions if a.dest == "command")
        return commands["explain"].format_help()

    alone = build_parser("explain")
    assert help_of(alone) == help_of(build_parser())
    with pytest.raises(SystemExit) as stopped:
        alone.parse_args(["refresh"])
    assert stopped.value.code == 2
    with pytest.raises(SystemExit) as stopped:
        main(["no-command"])
    assert stopped.value.code == 2
