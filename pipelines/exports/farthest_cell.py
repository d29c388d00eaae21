"""How far each sheet of a workbook reaches, told from its XML without the memory for its rectangle.

Belongs here: the parts of an .xlsx (ECMA-376 part 1, SpreadsheetML) as far as places of cells need
them. Does not belong here: what cells hold (`cells`).
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from xml.etree import ElementTree
from xml.parsers import expat

_PIECE = 1 << 20
_PLACE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT_RELATION = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"


def sheet_parts(packed: zipfile.ZipFile) -> dict[str, str]:
    """By sheet name, the name of the part that holds its cells; empty where it cannot be told."""
    try:
        book = ElementTree.fromstring(packed.read("xl/workbook.xml"))
        links = ElementTree.fromstring(packed.read("xl/_rels/workbook.xml.rels"))
    except (KeyError, ElementTree.ParseError):
        return {}
    # Joining an absolute target leaves it as it is.
    targets = {
        link.get("Id"): posixpath.normpath(posixpath.join("/xl", link.get("Target") or ""))[1:]
        for link in links
    }
    parts = {}
    for node in book.iter():
        if node.tag.rpartition("}")[2] == "sheet":
            target = targets.get(node.get(_RELATION) or node.get(_STRICT_RELATION))
            if target:
                parts[node.get("name") or ""] = target
    return parts


def farthest_cell(packed: zipfile.ZipFile, part: str) -> tuple[int, int] | None:
    """The last row and the last column (from 1) in which a cell with a value stands; else None.

    A cell that is only formatted counts for nothing. The size that a sheet tells of itself is not
    believed.
    """
    scan = _Scan()
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = scan.start
    with packed.open(part) as stream:
        while piece := stream.read(_PIECE):
            parser.Parse(piece, False)
        parser.Parse(b"", True)
    return (scan.last_row, scan.last_column) if scan.last_row else None


def cell_name(row: int, column: int) -> str:
    """A cell's name, such as `XFD1048576`; row and column from 1."""
    letters = ""
    while column:
        column, digit = divmod(column - 1, 26)
        letters = chr(65 + digit) + letters
    return f"{letters}{row}"


class _Scan:
    """Follows rows and cells; a cell without a place stands behind the one before."""

    def __init__(self) -> None:
        self.row = self.column = self.last_row = self.last_column = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Takes the start of an element."""
        match name.rpartition(":")[2]:
            case "v" | "is":
                self.last_row = max(self.last_row, self.row)
                self.last_column = max(self.last_column, self.column)
            case "c":
                place = _PLACE.fullmatch(attributes.get("r", ""))
                if place:
                    self.row, self.column = int(place[2]), _column_number(place[1])
                else:
                    self.column += 1
            case "row":
                self.row = int(attributes["r"]) if "r" in attributes else self.row + 1
                self.column = 0


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number
