"""Looks: color tokens for light and dark.

Belongs here: colors and type. Does not belong here: layout (static/style.css), the charts' own
theme (`charts.theme`), what a chart shows.

Charts name colors by token (`var(--series-1)`), so one drawing serves light, dark and paper; the
browser resolves the token. `resolve_colors` writes real colors for places without a style sheet.
"""

from __future__ import annotations

import json
import re
from typing import Any

# Chosen by search for the largest smallest distance in OKLab between any two, as seen with normal
# sight and with each of the three dichromacies, at 3:1 or more against the background.
LIGHT = {
    "page": "#f6f7f5",
    "surface": "#ffffff",
    "sunken": "#eef1ee",
    "ink": "#1d2624",
    "muted": "#53605c",
    "line": "#d5dbd8",
    "line-strong": "#7b8884",
    "accent": "#0a6363",
    "accent-soft": "#dcecea",
    "grid": "#e4e8e6",
    "series-1": "#5968b5",
    "series-2": "#8c2a0f",
    "series-3": "#398f9a",
    "series-4": "#451b40",
    "series-5": "#92743d",
    "series-6": "#40515e",
    "step-1": "#e3eef0",
    "step-2": "#b5d3d6",
    "step-3": "#7fb2b8",
    "step-4": "#3f828b",
    "step-5": "#17616b",
    "lower-2": "#2f5d9b",
    "lower-1": "#9db9da",
    "middle": "#ece9e2",
    "higher-1": "#e2a27f",
    "higher-2": "#9c3f14",
    "thin": "#dfe3e1",
    "on-deep": "#ffffff",
    "on-pale": "#1d2624",
}
DARK = {
    "page": "#11171a",
    "surface": "#182022",
    "sunken": "#202a2d",
    "ink": "#e7edeb",
    "muted": "#a3b2ad",
    "line": "#324043",
    "line-strong": "#768985",
    "accent": "#6ccfc6",
    "accent-soft": "#1f3a3b",
    "grid": "#2a3538",
    "series-1": "#96b6fd",
    "series-2": "#f7c29a",
    "series-3": "#3c8e4c",
    "series-4": "#cb72a5",
    "series-5": "#afab3d",
    "series-6": "#e4e1f8",
    "step-1": "#203438",
    "step-2": "#2f5a61",
    "step-3": "#47838b",
    "step-4": "#72afb4",
    "step-5": "#b4dedd",
    "lower-2": "#7fb0ee",
    "lower-1": "#41648f",
    "middle": "#3a4243",
    "higher-1": "#96603f",
    "higher-2": "#f0a377",
    "thin": "#2c3638",
    "on-deep": "#11171a",
    "on-pale": "#f2f6f5",
}
SERIES = [f"var(--series-{n})" for n in range(1, 7)]
STEPS = [f"var(--step-{n})" for n in range(1, 6)]
DIVERGING = [
    "var(--lower-2)",
    "var(--lower-1)",
    "var(--middle)",
    "var(--higher-1)",
    "var(--higher-2)",
]
# The version of the charts' language that they are drawn and compiled in.
VEGA_LITE = "6.4"
FONT = "system-ui, -apple-system, 'Segoe UI', 'Noto Sans', sans-serif"
# Round ratios, so that a log axis stays readable however wide it is.
RATIO_TICKS = [0.01, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 10, 20, 50, 100, 500, 1000]
_TOKEN = re.compile(r"var\(--([a-z0-9-]+)\)")


def color(token: str) -> str:
    """The token as a color that style sheets and charts understand."""
    return f"var(--{token})"


def tokens_css() -> str:
    """The color tokens as CSS: light by default, dark where the reader or the device asks."""
    light = "".join(f"--{name}:{value};" for name, value in LIGHT.items())
    dark = "".join(f"--{name}:{value};" for name, value in DARK.items())
    return (
        f":root{{color-scheme:light;{light}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{"
        f":root:not([data-theme=light]){{color-scheme:dark;{dark}}}}}\n"
        f"@media screen{{:root[data-theme=dark]{{color-scheme:dark;{dark}}}}}\n"
    )


def resolve_colors(spec: dict[str, Any], *, dark: bool = False) -> dict[str, Any]:
    """A chart's specification with real colors in place of tokens."""
    colors = DARK if dark else LIGHT
    filled: dict[str, Any] = json.loads(
        _TOKEN.sub(lambda match: colors[match[1]], json.dumps(spec))
    )
    return filled
