"""The templates of letters: ours, or those that a company puts in their place.

Belongs here: finding, checking and filling templates, and saying what is wrong with one. Does not
belong here: what a letter says (`schemas.letters`), messages and files.

A company's templates run in a sandbox: they see the values of a letter and nothing else.
"""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from dashboards import formats
from dashboards.letters.examples import examples, unit_examples

if TYPE_CHECKING:  # whoever decides reads the templates in passing, and fills none
    import jinja2

SUBJECT, TEXT, HTML = "subject.txt.j2", "letter.txt.j2", "letter.html.j2"
# The same of a letter about a unit, whose values are others.
UNIT = "unit_"
NAMES = (SUBJECT, TEXT, HTML, *(f"{UNIT}{name}" for name in (SUBJECT, TEXT, HTML)))
_OURS = Path(__file__).parents[1] / "templates" / "letters"
_WIDTH = 76
_MOST_SUBJECT = 200  # characters; longer ones are cut by the programs that show them


class TemplateFault(ValueError):
    """What is wrong with a company's template: one sentence that names file and line."""


class LetterTemplates:
    """The three templates of a letter, each a company's own where `folder` holds it.

    `warning` is the first line of every letter, whoever wrote the templates.

    Raises:
        TemplateFault: a file of the folder is no template, or does not work for an example letter.
    """

    def __init__(
        self,
        folder: Path | None = None,
        *,
        maker: str,
        signature: str | None,
        currency: str,
        as_of: dt.date,
        warning: str | None = None,
    ):
        self._warning = warning
        self._folder = folder if folder is not None and folder.is_dir() else None
        self._globals = {
            "maker": maker,
            "signature": signature or maker,
            "currency": currency,
            "as_of": as_of,
            "verdicts": formats.VERDICTS,
        }
        if self._folder:
            self._check()

    @cached_property
    def _environment(self) -> jinja2.Environment:
        import jinja2
        from jinja2.sandbox import ImmutableSandboxedEnvironment

        from dashboards.kept import CompiledTemplates

        loader = jinja2.FileSystemLoader([*([self._folder] if self._folder else []), _OURS])
        environment = ImmutableSandboxedEnvironment(
            loader=loader,
            autoescape=lambda name: name is not None and name.endswith(".html.j2"),
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            auto_reload=False,
            # A company's own are compiled anew each time: what they say is theirs to keep.
            bytecode_cache=None if self._folder else CompiledTemplates(),
        )
        environment.filters |= {
            "money": formats.money,
            "day": formats.long_day,
            "fill": _filled,
            "listed": formats.listed,
        }
        environment.globals |= self._globals
        return environment

    def subject(self, letter: Mapping[str, Any]) -> str:
        """The subject: one line, whatever the template and the data hold."""
        text = "".join(c if c.isprintable() else " " for c in self._fill(SUBJECT, letter))
        return textwrap.shorten(text, _MOST_SUBJECT, placeholder=" …")

    def text(self, letter: Mapping[str, Any]) -> str:
        """The letter as plain text, lines ended by one newline."""
        first = f"{self._warning}\n\n" if self._warning else ""
        return first + self._fill(TEXT, letter).strip("\n") + "\n"

    def html(self, letter: Mapping[str, Any], *, level: int = 2) -> str:
        """The letter as a part of an HTML page, its headings from `level` on."""
        first = (
            Markup("<p><strong>{}</strong></p>\n").format(self._warning) if self._warning else ""
        )
        return first + self._fill(HTML, letter, level=level)

    def _fill(self, name: str, letter: Mapping[str, Any], **more: Any) -> str:
        if "readings" in letter:
            name = f"{UNIT}{name}"
        try:
            return self._environment.get_template(name).render({**letter, **more})
        except Exception as error:
            fault = self._template_fault(error)
            if fault is None:  # not in a template of the company's: a fault of ours
                raise
            raise TemplateFault(fault) from error

    def _check(self) -> None:
        """Fills each template for every example, so that a slip shows before a letter is sent."""
        for path in self._own_files():
            if path.name not in NAMES and not path.name.startswith("_"):
                raise TemplateFault(
                    f"letters/{path.name} is no template of a letter; name it one of "
                    f"{', '.join(NAMES)}, or let its name begin with _ if others include it."
                )
            try:
                path.open("rb").close()
            except OSError as error:  # ours would be sent in its place
                raise TemplateFault(
                    f"letters/{path.name} cannot be read ({error.strerror or error}); correct "
                    "that, or take it away."
                ) from None
        for letter in (*examples(), *unit_examples()):
            self.text(letter)
            self.html(letter)
            if not self.subject(letter):
                raise TemplateFault(f"letters/{SUBJECT} gives an empty subject; write one.")

    def _own_files(self) -> list[Path]:
        return sorted(self._folder.glob("*.j2")) if self._folder else []

    def _template_fault(self, error: Exception) -> str | None:
        """What is wrong in a company's template; None where the error comes from elsewhere."""
        import jinja2

        own = {str(path): f"letters/{path.name}" for path in self._own_files()}
        if isinstance(error, jinja2.TemplateSyntaxError):
            place = own.get(str(error.filename))
            return (
                place and f"{place} line {error.lineno}: {_sentence(error)} Correct the template."
            )
        if isinstance(error, UnicodeDecodeError):
            broken = next((name for path, name in own.items() if not _is_utf8(Path(path))), None)
            return broken and f"{broken}: the file is not UTF-8 text; save it as UTF-8."
        places = [(own[file], line) for file, line in _frames(error.__traceback__) if file in own]
        if not places:
            return None
        name, line = places[-1]
        return (
            f"{name} line {line}: {_sentence(error)} Correct the template; a value that may be "
            "empty is asked for first, such as {% if ruled_on %}."
        )


def _frames(traceback: TracebackType | None) -> Iterator[tuple[str, int]]:
    while traceback is not None:
        yield traceback.tb_frame.f_code.co_filename, traceback.tb_lineno
        traceback = traceback.tb_next


def _sentence(error: Exception) -> str:
    said = " ".join(str(error).split()) or type(error).__name__
    return said if said.endswith(".") else f"{said}."


def _is_utf8(path: Path) -> bool:
    try:
        path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return False
    return True


def _filled(text: str, first: str = "", rest: str = "") -> str:
    """A paragraph in lines of a letter's width; `first` and `rest` begin its lines."""
    return textwrap.fill(
        text,
        _WIDTH,
        initial_indent=first,
        subsequent_indent=rest or " " * len(first),
        break_long_words=False,
        break_on_hyphens=False,
    )
