"""The command: its one line, its refusals, and its end."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.desk.serving import address_of
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings

ROOT = Path(__file__).parents[2]


def _start(folder: Path, *arguments: str) -> subprocess.Popen:
    command = [sys.executable, "-m", "pipelines.cli", "desk", str(folder), *arguments]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT
    )


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_desk_tells_its_address_and_ends(folder, number) -> None:
    """One line when it accepts, the link on stderr, one desk at a time, exit code 0."""
    as_json = number == signal.SIGTERM
    desk = _start(folder, "--port", "0", *(["--json"] if as_json else []))
    try:
        line = desk.stdout.readline()
        if as_json:
            url = json.loads(line)["url"]
        else:
            assert line.startswith("The desk is at http://127.0.0.1:")
            url = line.strip().removeprefix("The desk is at ")
        link = desk.stderr.readline()
        assert f"{url}first-administrator?token=" in link
        with pytest.raises(urllib.error.HTTPError) as told:
            urllib.request.urlopen(f"{url}healthz", timeout=20)
        with told.value as answer:  # nothing has been refreshed
            assert answer.status == 503
        with urllib.request.urlopen(link.split(" at ")[1].strip(), timeout=20) as shown:
            assert shown.status == 200
        if as_json:
            second = _start(folder, "--port", "0")
            _, said = second.communicate(timeout=60)
            assert second.returncode == 2
            assert "Another desk serves" in said
        desk.send_signal(number)
        rest, errors = desk.communicate(timeout=30)
        assert (desk.returncode, rest, errors) == (0, "", "")
    finally:
        desk.kill()
        desk.wait()
        desk.stdout.close()
        desk.stderr.close()


def test_a_port_that_is_taken_is_told(folder, capsys) -> None:
    """Exit code 2 and a sentence with the way out; no database is made for nothing."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert main(["desk", str(folder), "--port", str(port)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert f"port {port} cannot be taken" in said.err
    assert not (folder / "desk").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--port", "70000"], "no port"),
        (["--as-of", "yesterday"], "is no date"),
        (["--host", "0.0.0.0"], "passwords would go there in the clear"),
        (["--host", "desk.example"], "passwords would go there in the clear"),
    ],
)
def test_calls_that_are_wrong(folder, capsys, arguments, words) -> None:
    """Exit code 2, and nothing was made."""
    assert main(["desk", str(folder), *arguments]) == 2
    assert words in capsys.readouterr().err
    assert not (folder / "desk").exists()


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("0.0.0.0", "http://127.0.0.1:80/"),
        ("::", "http://[::1]:80/"),
        ("desk.example", "http://desk.example:80/"),
    ],
)
def test_the_address_can_be_opened(folder, host, address) -> None:
    """One that means every address of the machine is told as the machine's own."""
    assert address_of(host, 80, load_settings(Workspace.open(folder))) == address


def test_half_a_certificate_is_none(folder, capsys) -> None:
    """Both files, or neither."""
    file = folder / "limeledger.toml"
    file.write_text(file.read_text() + '\n[desk]\ntls_certificate = "a.pem"\n')
    assert main(["desk", str(folder), "--host", "0.0.0.0", "--port", "0"]) == 2
    assert "needs both" in capsys.readouterr().err


def test_the_lock_file_stays_private(folder) -> None:
    """Only its owner reads it; the database goes by readable_by."""
    desk = _start(folder, "--port", "0")
    try:
        desk.stdout.readline()
        mode = (folder / "desk" / "desk.lock").stat().st_mode & 0o777
        assert mode == 0o600
        assert os.stat(folder / "desk" / "desk.sqlite").st_mode & 0o007 == 0
    finally:
        desk.terminate()
        desk.communicate(timeout=30)
    assert desk.returncode == 0


def test_what_the_disk_is_to_blame_for_is_no_fault_of_the_desk(served) -> None:
    """Another time may do it: 503 and a sentence that names the place, for programs and people."""
    store = served.site.workspace.store
    if store.is_dir():
        shutil.rmtree(store)
    store.write_text("a file in its place")
    for path in ("/api/v1/claims", "/claims/W01"):
        answer = served.program("ada").get(path)
        assert answer.status == 503
        assert "something else lies in its place (Not a directory)" in answer.text
