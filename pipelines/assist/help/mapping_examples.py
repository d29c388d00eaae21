"""An example of every key, step and test that a mapping may have, with what it does.

Belongs here: examples, each held to the mapping reader by a test. Does not belong here: the page
(`mappings`), the reader (`pipelines.records`).
"""

from __future__ import annotations

# By key of a mapping: what it does, and an example as it stands in the file.
KEYS: dict[str, tuple[str, str]] = {
    "feed": (
        "The feed that the mapping is for; may be left out in a file called after its feed.",
        'feed = "service_calls"',
    ),
    "files": (
        "The files that it is for: paths below exports/, in any case; `*` stays within a folder, "
        "`**` crosses folders. Without it: the feed's own files that no other mapping names.",
        'files = ["ServiceOrders*.csv"]',
    ),
    "sheets": (
        "The sheets of workbooks. Without it: every sheet in which its header is found in full.",
        'sheets = ["Orders 20*"]',
    ),
    "header_row": (
        "The line of the header, from 1. Without it: found among the first 50 rows.",
        "header_row = 5",
    ),
    "file_date": (
        "How the day is written in file names. Without it: YYYY-MM-DD.",
        'file_date = "%Y%m%d"',
    ),
    "valid_from": ("The first day in file names for which it holds.", "valid_from = 2025-03-01"),
    "valid_until": ("The last such day.", "valid_until = 2026-12-31"),
    "decimal": ("The decimal mark, `.` or `,`.", 'decimal = ","'),
    "thousands": ("How thousands are written.", 'thousands = ","'),
    "dates": ("Date formats besides ISO 8601.", 'dates = ["%d.%m.%Y", "%m/%d/%Y"]'),
    "layout": (
        "`long` where a row of a laboratory's file is one result; water_tests only.",
        'layout = "long"',
    ),
    "columns": (
        "Where each column of the feed comes from: a header, several joined, or the first of "
        "several that is not empty. `#file`, `#sheet`, `#line` and `#part` are named like headers. "
        "A column that is not named is found by its own name.",
        '[columns]\nserial = "Equipment S/N"\nnotes = { join = ["Problem", "Resolution"], '
        'with = "; " }\nagency = { first = ["Partner", "Branch"] }',
    ),
    "units": (
        "The unit in which a column arrives, where it is not the feed's own.",
        '[units]\nflowing_pressure_psi = "bar"',
    ),
    "constants": (
        "What stands in every row, for what the export does not tell.",
        '[constants]\npoint = "supply"',
    ),
    "analytes": (
        "Long layout: the laboratory's names, and what results are expressed as where their unit "
        "does not say.",
        '[analytes]\n"Hardness, total" = "hardness_mg_l_caco3"\n'
        '"Calcium" = { column = "calcium_mg_l_caco3", basis = "Ca" }',
    ),
    "join": (
        "Files that are joined to each row: one row at most, or sums and firsts over several. "
        "Their headers are then named with the join's name in front, `claim.Filed`.",
        '[[join]]\nname = "claim"\nfiles = ["claims*.csv"]\non = { "Order" = "Order No" }',
    ),
    "transforms": (
        "Steps that change a cell's text before it is read, in their order, one verb a step.",
        "[transforms]\nserial = [{ pad = 7 }]",
    ),
    "phrases": (
        "Free text to codes: the first entry that holds gives the code.",
        '[[phrases.cause]]\nany = ["scale", "lime"]\ncode = "LIMED"\n[[phrases.cause]]\n'
        'otherwise = true\ncode = "OTHER"',
    ),
    "values": (
        "What a whole cell says, in any case, and what it means.",
        '[values.kind]\n"PM - Delime" = "delime"',
    ),
    "leave_out": (
        "Rows and sheets that are no data, each with its reason.",
        '[[leave_out]]\nreason = "freight, no product"\nheader = "SKU"\nis = ["FREIGHT", "FEE*"]',
    ),
}
# By part of a join: what it is for, and an example.
JOINS: dict[str, tuple[str, str]] = {
    "name": ("what its headers begin with from here on: `claim.Filed`", 'name = "claim"'),
    "files": ("the files that are joined, as above", 'files = ["claims*.csv"]'),
    "sheets": ("sheets of workbooks, as above", 'sheets = ["Claims 20*"]'),
    "header_row": ("the line of their header", "header_row = 3"),
    "decimal": ("their decimal mark, else the mapping's", 'decimal = "."'),
    "thousands": ("how they write thousands, else as the mapping says", 'thousands = ","'),
    "valid_from": ("the first day in names of their files", "valid_from = 2025-03-01"),
    "valid_until": ("the last such day", "valid_until = 2026-12-31"),
    "on": (
        "a header so far = a header of theirs; of several all must agree; an empty cell joins "
        "nothing",
        'on = { "Order" = "Order No" }',
    ),
    "on_steps": ("steps on both sides before they are compared", "on_steps = [{ pad = 8 }]"),
    "sum": (
        "makes a header of the sum over the rows that `where` fits",
        'sum.parts = { header = "Ext", where = { Type = ["MAT", "FRT"] } }',
    ),
    "first": (
        "makes a header of the first such row",
        'first.part = { header = "Part No", where = { Type = "MAT" } }',
    ),
    "leave_out": (
        "entries as for rows of the file itself, begun with `[[join.leave_out]]`",
        'leave_out = [{ reason = "void", header = "Status", is = ["VOID"] }]',
    ),
}
# By part of an entry of `leave_out` beside its tests: what it is for, and an example.
ENTRIES: dict[str, tuple[str, str]] = {
    "reason": ("needed; it stands in the accounts", 'reason = "freight"'),
    "header": ("the export's header that the tests look at", 'header = "SKU"'),
    "first_cell": (
        "the row's first cell that is not empty, as with `is`",
        'first_cell = ["Total*", "*** End*"]',
    ),
    "sheets": ("leaves whole sheets out", 'sheets = ["Cover", "Legend*"]'),
    "also": (
        "further tests on other headers, which must hold too",
        'also = [{ header = "Status", is = ["Closed"] }]',
    ),
}
# By part of a phrase: what it is for, and an example.
PHRASES: dict[str, tuple[str, str]] = {
    "any": ("one of the texts stands anywhere in the cell, in any case", 'any = ["scale", "lime"]'),
    "matches": ("a regular expression, searched in any case", 'matches = "^lim(e)?d"'),
    "otherwise": (
        "whatever no other entry fits; the last; without it such a text stays as it came",
        "otherwise = true",
    ),
    "code": ("needed; what the cell says then", 'code = "LIMED"'),
}
# By verb: what it does, an example, and a column of service_calls or startups that takes it.
STEPS: dict[str, tuple[str, str, str]] = {
    "split": (
        "one row for each part between any of the texts; first in its list, one column a mapping, "
        "with the split column or `#part` in a key column",
        '{ split = [";", " / "] }',
        "serial",
    ),
    "before": ("keeps what stands before its first occurrence", '{ before = " (" }', "serial"),
    "after": ("keeps what stands after it", '{ after = ":" }', "serial"),
    "extract": (
        "keeps the first match, or its first group",
        '{ extract = "SN ([0-9]+)" }',
        "serial",
    ),
    "remove": ("takes texts out wherever they occur, in any case", '{ remove = ["SN"] }', "serial"),
    "replace": (
        'puts a text in place of another; before `{ remove = [")"] }`, `{ replace = ["(", "-"] }`'
        " reads `(12.50)` as `-12.50`",
        '{ replace = ["O", "0"] }',
        "serial",
    ),
    "empty": ("a cell that is one of the texts is empty", '{ empty = ["N/A", "-"] }', "agency"),
    "pad": ("zeros in front of digits alone, up to so many characters", "{ pad = 7 }", "serial"),
    "strip_zeros": ("leading zeros off digits alone", "{ strip_zeros = true }", "serial"),
    "upper": ("upper case", "{ upper = true }", "agency"),
    "key": ("a code from a name: letters A-Z, digits and dashes", "{ key = true }", "agency"),
    "excel_date": (
        "a number is a day counted as spreadsheets do (1900 or 1904)",
        "{ excel_date = 1900 }",
        "completed_on",
    ),
    "date": (
        "the only formats of this column, besides ISO 8601",
        '{ date = ["%d/%m/%Y"] }',
        "completed_on",
    ),
    "trailing_minus": ("`12,50-` is `-12,50`", "{ trailing_minus = true }", "parts_amount"),
    "negate": ("the sign changed", "{ negate = true }", "parts_amount"),
    "cell_unit": (
        "a unit behind the number converts that cell",
        "{ cell_unit = true }",
        "drain_air_gap_in",
    ),
}
# By test of an entry of leave_out: what it asks, and an example.
TESTS: dict[str, tuple[str, str]] = {
    "is": (
        "the whole cell, in any case; `*` and `?` stand for anything",
        'is = ["FREIGHT", "FEE*"]',
    ),
    "is_not": ("any other cell, an empty one too", 'is_not = ["Closed"]'),
    "matches": ("a regular expression, searched in any case", 'matches = "^test"'),
    "empty": ("whether the cell is empty", "empty = true"),
    "below": ("a number below, the bound not included", "below = 0"),
    "above": ("a number above, the bound not included", "above = 100000"),
}
