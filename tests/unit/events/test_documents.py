"""Documents: which are kept, and under which name."""

import hashlib
import io
import zipfile

import pytest

from pipelines.errors import Refused
from pipelines.events.documents import (
    XLSX,
    bare_name,
    document_faults,
    document_path,
    keep_document,
)
from tests.desks import make_desk


@pytest.fixture
def desk(tmp_path):
    """A desk that keeps documents up to 1 MB."""
    desk = make_desk(tmp_path / "ws", "[desk]\nmax_document_mb = 1\n")
    yield desk
    desk.close()


def zipped(*names):
    """A ZIP file with empty members."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name in names:
            archive.writestr(name, "")
    return file.getvalue()


KEPT = [
    (b"%PDF-1.7\n", "application/pdf"),
    (b"\xff\xd8\xff\xe0rest", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\nrest", "image/png"),
    (zipped("[Content_Types].xml", "xl/workbook.xml"), XLSX),
    (b"claim,day\nC1,2026-03-31\n", "text/plain"),
    ("\ufeffLiebe Küche".encode(), "text/plain"),
    (b"a < b", "text/plain"),
]
NOT_KEPT = [
    b"<html>",
    b" \n\t<svg/>",
    "\ufeff<html>".encode(),
    "\u00a0<html>".encode(),
    b"GIF89a\xff",
    b"a\0b",
    b"caf\xe9",
    zipped("[Content_Types].xml", "word/document.xml"),
    zipped("[Content_Types].xml", "xl/workbook.xml", "xl/vbaProject.bin"),
    b"PK\x03\x04 no archive",
]


@pytest.mark.parametrize(("raw", "kind"), KEPT)
def test_documents_are_known_by_their_bytes(desk, raw, kind):
    """Each is kept under its SHA-256, whatever it is called, and leaves no other file."""
    kept = keep_document(desk, io.BytesIO(raw), r"..\..\x/y\picture.gif")
    assert (kept.type, kept.name, kept.bytes) == (kind, "picture.gif", len(raw))
    assert kept.sha256 == hashlib.sha256(raw).hexdigest()
    assert document_path(desk, kept.sha256).read_bytes() == raw
    assert len(list((desk.workspace.desk / "documents").iterdir())) == 1


@pytest.mark.parametrize("raw", NOT_KEPT)
def test_other_kinds_are_refused(desk, raw):
    """HTML, SVG, other archives, other encodings and binary files answer 415 and leave nothing."""
    with pytest.raises(Refused) as told:
        keep_document(desk, io.BytesIO(raw), "a.txt")
    assert told.value.status == 415
    assert list((desk.workspace.desk / "documents").iterdir()) == []


class Endless(io.RawIOBase):
    """A source that never ends, and counts what is read of it."""

    given = 0

    def read(self, size=-1):
        """The next bytes."""
        self.given += size
        return b"a" * size


def test_size_is_limited_and_no_more_is_read(desk):
    """A megabyte is kept, a byte more is not, and an empty one is a wrong value."""
    assert keep_document(desk, io.BytesIO(b"a" * 1_000_000), "a").bytes == 1_000_000
    source = Endless()
    with pytest.raises(Refused) as told:
        keep_document(desk, source, "a")
    assert (told.value.status, source.given < 4_000_000) == (413, True)
    with pytest.raises(Refused) as told:
        keep_document(desk, io.BytesIO(b""), "a")
    assert told.value.status == 422


def test_a_changed_or_missing_document_is_told(desk):
    """Each file is compared with its name, and with those that events name."""
    kept = keep_document(desk, io.BytesIO(b"text"), "a")
    assert list(document_faults(desk, {kept.sha256})) == []
    document_path(desk, kept.sha256).write_bytes(b"other")
    faults = list(document_faults(desk, {kept.sha256, "0" * 64}))
    assert ["not as it was kept" in faults[0], "missing" in faults[1]] == [True, True]


@pytest.mark.parametrize("name", ["", None, "/", "..", "\x00", "a" * 300, "\ud800"])
def test_any_name_becomes_a_text(name):
    """Names hold no path, no control sign, and never nothing."""
    shown = bare_name(name)
    assert 0 < len(shown) <= 255
    assert shown.encode()
    assert not {"/", "\\", "\0"} & set(shown)


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("n" * 251 + ".pdf", "n" * 251 + ".pdf"),
        ("n" * 252 + ".pdf", "n" * 251 + ".pdf"),
        ("n" * 300, "n" * 255),
        ("n" * 9 + "." + "x" * 300, "n" * 9 + "." + "x" * 245),
        ("\u202e/a\\\u200fb" + "n" * 300 + ".xlsx", "b" + "n" * 249 + ".xlsx"),
    ],
)
def test_a_name_that_is_too_long_keeps_its_ending(given, shown):
    """255 characters at the most; marks of direction and paths count for nothing."""
    assert bare_name(given) == shown


def test_faults_of_documents_are_told_in_the_order_of_their_names(desk):
    """Those that were changed, then those that are missing, each by its digest."""
    kept = [keep_document(desk, io.BytesIO(b"text %d" % n), "a").sha256 for n in range(12)]
    assert kept != sorted(kept)
    for sha256 in kept:
        document_path(desk, sha256).write_bytes(b"other")
    missing = ["1" * 64, "0" * 64]
    told = list(document_faults(desk, {*kept, *missing}))
    names = [one.split("/")[2][:64] for one in told]
    assert names == [*sorted(kept), *sorted(missing)]
