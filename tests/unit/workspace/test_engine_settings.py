"""Where work is done: its settings, their mistakes, and that they are no part of what decides."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace.engine_settings import EngineSettings, StorageSettings, without_places
from pipelines.workspace.settings import read_settings

LEAST = 'maker = "Tarnfell"\ntimezone = "America/Denver"\ncurrency = "USD"\n'


def settings_of(folder: Path, text: str):
    """The settings in a file of that text."""
    path = folder / "limeledger.toml"
    path.write_text(text, encoding="utf-8")
    return read_settings(path)


def test_work_is_done_here_unless_the_settings_say_otherwise(tmp_path: Path):
    """The defaults of the contract."""
    settings = settings_of(tmp_path, LEAST)
    assert settings.engine == EngineSettings("local", "", 0)
    assert settings.storage == StorageSettings("", "")


@pytest.mark.parametrize("address", ["", "auto", "ray://head:10001", "127.0.0.1:6379"])
@pytest.mark.parametrize(
    "url", ["", "/srv/warranty/parts", "s3://maker-parts/warranty/a", "s3://parts"]
)
def test_every_place_can_be_named(tmp_path: Path, address: str, url: str):
    """A cluster by address, a folder or an object store by URL, a server of it by endpoint."""
    text = (
        f'[engine]\nkind = "ray"\naddress = "{address}"\nparts = 12\n'
        f'[storage]\nurl = "{url}"\nendpoint = "http://127.0.0.1:8333"\n'
    )
    settings = settings_of(tmp_path, LEAST + text)
    assert settings.engine == EngineSettings("ray", address, 12)
    assert settings.storage == StorageSettings(url, "http://127.0.0.1:8333")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            '[engine]\nkind = "spark"',
            'line 5, column 1: engine.kind is "spark"; write "local" (this process) or "ray" (a',
        ),
        ("[engine]\nkind = 1", 'engine.kind is 1; write "local"'),
        ('[engine]\naddress = "head"', 'engine.address is "head"; write "" for a cluster of its'),
        ('[engine]\naddress = "http://head.example:10001"', "engine.address is"),
        ('[engine]\naddress = "ray://head"', 'or the address of one, such as "ray://head:10001".'),
        ("[engine]\nparts = -1", "engine.parts is -1; write a whole number from 0 to 100000; 0 ma"),
        ("[engine]\nparts = 1.5", "engine.parts is 1.5; write a whole number"),
        ("[engine]\nparts = true", "engine.parts is true; write a whole number"),
        ('[engine]\nkinds = "ray"', "engine.kinds is not a known setting; did you mean kind?"),
        ('[storage]\nurl = "parts"', 'storage.url is "parts"; write "" for store/parts in the w'),
        ('[storage]\nurl = "/no/../b"', 'storage.url is "/no/../b"; write ""'),
        ('[storage]\nurl = "gs://bucket/x"', "an absolute folder that all workers see"),
        ('[storage]\nurl = "s3://key:word@bucket/x"', "storage.url holds keys, which stand in no"),
        ('[storage]\nendpoint = "head:9000"', 'storage.endpoint is "head:9000"; write the addre'),
        ('[storage]\nendpoint = "ftp://head.example"', "without keys."),
        ('[storage]\nsecret = "x"', "storage.secret is not a known setting; use one of: endpoint"),
        ('engine = "ray"', 'engine is "ray"; write it as a table, [engine].'),
    ],
)
def test_a_mistake_has_its_place_and_remedy(tmp_path: Path, text: str, told: str):
    """One sentence with line, key, what is there and what to write."""
    with pytest.raises(WorkspaceError) as caught:
        settings_of(tmp_path, LEAST + text)
    assert told in str(caught.value)


AFTER = '\n[letters]\nsignature = "Warranty desk"  # its line\n'


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        (LEAST, LEAST),
        (LEAST + AFTER + "\n\n", LEAST + AFTER + "\n\n"),
        (LEAST + '\n[engine]\nkind = "ray"\n', LEAST),
        (LEAST + AFTER + '\n[engine]\nkind = "ray"\n[storage]\nurl = "/x"\n', LEAST + AFTER),
        (LEAST + '[ "engine" ]\nkind = "ray"' + AFTER, LEAST + AFTER[1:]),
        (LEAST + 'engine.kind = "ray"\nstorage = { url = "/x" }\n', LEAST),
        (
            "\ufeff" + (LEAST + '\n[engine]\nkind = "ray"\n').replace("\n", "\r\n"),
            "\ufeff" + LEAST.replace("\n", "\r\n"),
        ),
    ],
)
def test_the_places_are_taken_out_line_by_line(text: str, kept: str):
    """The rest of the file stays as it is, so that its hash does not move with the engine."""
    assert without_places(text.encode()) == kept.encode()


def test_a_file_that_cannot_be_taken_apart_counts_whole():
    """Text that only looks like a table of ours is never cut; what cannot be read is left."""
    quoted = LEAST + 'terms = """\n[engine]\n"""\n[storage]\nurl = "/x"\n'
    assert without_places(quoted.encode()) == quoted.encode()
    assert without_places(b"maker = [") == b"maker = ["
    assert without_places(b"\xff[engine]") == b"\xff[engine]"
