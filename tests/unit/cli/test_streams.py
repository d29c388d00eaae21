"""Where the words of a command go: every encoding, a closed stream, a full disk."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path

import pytest

from pipelines.cli.console.output import make_streams_fit, print_json, progress, say
from pipelines.cli.main import main


def _stream(encoding: str) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(), encoding=encoding)


@pytest.mark.parametrize(
    ("encoding", "bytes_told"),
    [
        ("ascii", b"? met ?, Caf?\n"),
        ("latin-1", b"? met ?, Caf\xe9\n"),
        ("utf-8", "✓ met ?, Café\n".encode()),
    ],
)
def test_people_read_what_their_terminal_has(
    encoding: str, bytes_told: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sign that the encoding lacks, or that is half a character, is a question mark."""
    monkeypatch.setattr(sys, "stdout", _stream(encoding))
    make_streams_fit(for_programs=False)
    say("✓ met \udcff, Café")
    assert sys.stdout.buffer.getvalue() == bytes_told


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_programs_read_utf_8_everywhere(encoding: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """JSON is UTF-8 as its standard (RFC 8259, 8.1) has it, whatever the locale."""
    monkeypatch.setattr(sys, "stdout", _stream(encoding))
    make_streams_fit(for_programs=True)
    print_json(["✓ Café", "\udcff"])
    assert sys.stdout.buffer.getvalue() == '[\n  "✓ Café",\n  "\\udcff"\n]\n'.encode()


def test_a_closed_stream_leads_nowhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command does its work; nothing that it opens takes the stream's place."""
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, None)
    assert main(["schema"]) == 0
    streams = (sys.stdin, sys.stdout, sys.stderr)
    assert [stream.name for stream in streams] == [os.devnull] * 3
    for stream in streams:
        stream.close()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_output_that_is_full_is_told_as_that(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    """Neither the workspace's disk nor the tool is blamed; a full stderr keeps the exit code."""
    with Path("/dev/full").open("w") as full, monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", full)
        assert main(["schema"]) == 70
    said = capsys.readouterr().err
    assert said.startswith("What the command says could not be written to where its output leads")
    with Path("/dev/full").open("w") as full, monkeypatch.context() as patch:
        patch.setattr(sys, "stderr", full)
        assert main(["schema", "nonsense"]) == 2
    with Path("/dev/full").open("w") as full, monkeypatch.context() as patch:
        patch.setattr(sys, "stderr", full)
        progress("Decisions")  # no reason to leave off deciding
        progress("Payments")


def test_a_word_of_no_text_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    """What no database takes as text is the caller's matter, not a fault of the tool."""

    def cannot(_: object) -> int:
        raise RuntimeError("unexpected")

    monkeypatch.setattr("pipelines.cli.schema.run", cannot)
    assert main(["schema", "a\udcff"]) == 2
    assert "'a\\udcff' holds bytes that are no UTF-8" in capsys.readouterr().err
    assert main(["schema", "a"]) == 70
