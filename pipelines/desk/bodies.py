"""What a request brings: its body, read up to a limit, as JSON or as the fields of a form.

Belongs here: media types, sizes, and what cannot be read. Does not belong here: what the fields
mean (`operations`).
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import Message

from pipelines.desk.problems import Problem

MOST_BYTES = 4_000_000  # of a body without a document
MOST_FIELDS = 2_500  # five hundred claims, each with its version, and what is beside them
BESIDE_A_DOCUMENT = 1_000_000
FORM = "application/x-www-form-urlencoded"
MULTIPART = "multipart/form-data"


@dataclass(frozen=True)
class Upload:
    """A document as it was sent: the name that it was given, and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Form:
    """The fields of a form in their order, repeated ones too, and the documents beside them."""

    fields: list[tuple[str, str]] = field(default_factory=list)
    documents: list[Upload] = field(default_factory=list)

    def get(self, name: str) -> str | None:
        """The last value of a field."""
        return next((value for key, value in reversed(self.fields) if key == name), None)

    def all(self, name: str) -> list[str]:
        """Every value of a field."""
        return [value for key, value in self.fields if key == name]


def media_type(request: Request) -> str:
    """The media type of the body, without its parameters."""
    return request.headers.get("content-type", "").split(";")[0].strip().lower()


async def read_json(request: Request) -> dict[str, Any]:
    """The JSON object of a body; an empty body is an empty object.

    Raises:
        Problem: 415 it is of another type, 413 too large, 400 no JSON object.
    """
    raw = await _limited(request, MOST_BYTES).body()
    if not raw.strip():
        return {}
    if media_type(request) != "application/json":
        raise Problem(415, "Send the body as application/json.")
    try:
        body = json.loads(raw.decode("utf-8"), object_pairs_hook=_once, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise Problem(400, "The body is no JSON in UTF-8 that can be read.") from None
    if not isinstance(body, dict):
        raise Problem(400, "The body must be one JSON object.")
    return body


async def read_form(request: Request, max_document_mb: int | None = None) -> Form:
    """The fields of a form; with `max_document_mb` also documents of up to that size.

    Raises:
        Problem: 415 it is no form, 413 too large, 400 it cannot be read.
    """
    kind = media_type(request)
    if kind == FORM:
        most = MOST_BYTES
    elif kind == MULTIPART and max_document_mb is not None:
        most = max_document_mb * 1_000_000 + BESIDE_A_DOCUMENT
    else:
        wanted = FORM if max_document_mb is None else f"{MULTIPART} or {FORM}"
        raise Problem(415, f"Send the form as {wanted}.")
    limited = _limited(request, most)
    try:
        form = await limited.form(
            max_files=20, max_fields=MOST_FIELDS, max_part_size=BESIDE_A_DOCUMENT
        )
    except HTTPException as error:
        why = error.detail.rstrip(".")
        raise Problem(400, f"The form cannot be read: {why}.") from None
    try:
        return await _read(form, max_document_mb)
    finally:
        await form.close()


async def _read(form: FormData, max_document_mb: int | None) -> Form:
    fields: list[tuple[str, str]] = []
    documents: list[Upload] = []
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            content = await value.read()
            if name == "document" and (content or value.filename):
                if max_document_mb is not None and len(content) > max_document_mb * 1_000_000:
                    raise _too_large(max_document_mb * 1_000_000)
                documents.append(Upload(value.filename or "", content))
        else:
            fields.append((name, value))
    for name, text in fields:
        for part in (name, text):
            try:
                part.encode("utf-8")
            except UnicodeEncodeError:
                raise Problem(400, "The form is not written in UTF-8.") from None
    return Form(fields, documents)


def _limited(request: Request, most: int) -> Request:
    """The same request, whose body may not be larger; what is beyond is not read."""
    length = request.headers.get("content-length", "")
    if length.isdigit() and int(length) > most:
        raise _too_large(most)
    read = 0

    async def receive() -> Message:
        nonlocal read
        message = await request.receive()
        read += len(message.get("body", b""))
        if read > most:
            raise _too_large(most)
        return message

    return Request(request.scope, receive)


def _too_large(most: int) -> Problem:
    return Problem(
        413,
        f"That is more than {most / 1_000_000:g} MB, which is the most that the desk takes. "
        "Nothing was recorded.",
        headers={"Connection": "close"},
    )


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys stand once each; which of two was meant nobody can tell."""
    members = dict(pairs)
    if len(members) != len(pairs):
        raise ValueError
    return members


def _no_number(_: str) -> Any:
    raise ValueError
