"""What stands in for what in a small wrong change: operators, names, words, pieces of SQL."""

from __future__ import annotations

import ast
import re

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
PAIRS = (
    ("min", "max"), ("min_horizontal", "max_horizontal"), ("min_by", "max_by"),
    ("sum", "mean"), ("first", "last"), ("any", "all"), ("any_horizontal", "all_horizontal"),
    ("ge", "gt"), ("le", "lt"), ("eq", "ne"), ("is_null", "is_not_null"), ("head", "tail"),
    ("floor", "ceil"), ("forward_fill", "backward_fill"), ("cum_sum", "cum_max"), ("or_", "and_"),
    ("startswith", "endswith"), ("starts_with", "ends_with"), ("cum_min", "cum_max"),
)  # fmt: skip
NAMES = {one: other for pair in PAIRS for one, other in (pair, pair[::-1])} | {
    "len": "n_unique",
    "count": "n_unique",
    "median": "mean",
    "quantile": "max",
}
BUILT_IN = {"min": "max", "max": "min", "any": "all", "all": "any", "sum": "len", "sorted": "list"}
DROPPED = {
    "filter", "unique", "sort", "fill_null", "drop_nulls", "abs", "round", "reverse", "strip",
    "strip_chars", "lower", "to_lowercase", "casefold", "clip", "over", "neg", "not_", "otherwise",
}  # fmt: skip
WORDS = {
    ("how", "left"): "inner", ("how", "inner"): "left", ("how", "anti"): "semi",
    ("how", "semi"): "anti", ("how", "full"): "left", ("how", "cross"): "left",
    ("closed", "both"): "left", ("closed", "left"): "both", ("closed", "right"): "both",
    ("closed", "none"): "both", ("strategy", "backward"): "forward",
    ("strategy", "forward"): "backward", ("keep", "first"): "last", ("keep", "last"): "first",
}  # fmt: skip
SPAN = re.compile(r"-?\d+(?:d|mo|y|h|m|w|q)")
SQL = re.compile(r"\b(?:select|where|join|order by|group by)\b")
SQL_CHANGES = (
    (r"<=", "<"), (r">=", ">"), (r"(?<![<>])<(?![=>])", "<="), (r"(?<![<>=-])>(?!=)", ">="),
    (r"<>", "="), (r"(?<![<>!:])=(?!=)", "<>"), (r"\band\b", "or"), (r"\bor\b", "and"),
    (r"\bmin\(", "max("), (r"\bmax\(", "min("), (r"\bsum\(", "avg("), (r"\bleft join\b", "join"),
    (r"\banti join\b", "semi join"), (r"\bsemi join\b", "anti join"), (r"\bunion all\b", "union"),
    (r"\bnot exists\b", "exists"), (r"(?<!not )\bexists\b", "not exists"), (r"\bdesc\b", "asc"),
    (r"\bis not null\b", "is null"), (r"\bis null\b", "is not null"), (r"\bdistinct\b", ""),
    (r" \+ ", " - "), (r" - ", " + "), (r"\bcount\(\*\)", "max(1)"),
)  # fmt: skip
HARMLESS = {
    "strict", "frozen", "slots", "maintain_order", "exist_ok", "parents", "maxsize", "kw_only",
    "encoding", "indent", "how_many_rows", "schema", "infer_schema_length", "autoescape", "check",
    "rechunk", "ensure_ascii", "width", "height", "min_version", "daemon", "deep", "parallel",
}  # fmt: skip
SILENT = {"print", "debug", "info", "warning", "add_argument", "TypeVar", "repr"}
