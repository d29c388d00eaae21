"""Files to rows of text: what arrived, how it is encoded, and every row with its line.

Belongs here: which files under exports/ are read, and reading one file (text or sheet) without
losing a row. Does not belong here: what columns and values mean (`pipelines.records`).
"""

from pipelines.exports.delimiters import header_key
from pipelines.exports.delivery import ExportFile, find_exports, sha256_of, through_date_in_name
from pipelines.exports.reading import FileFault, Reading
from pipelines.exports.sheets import read_sheet
from pipelines.exports.text_rows import read_rows

__all__ = [
    "ExportFile",
    "FileFault",
    "Reading",
    "find_exports",
    "header_key",
    "read_rows",
    "read_sheet",
    "sha256_of",
    "through_date_in_name",
]
