"""The palettes, checked by computation as eyes with and without color vision see them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from dashboards.theme import DARK, LIGHT

# How a dichromat sees linear RGB: Machado, Oliveira and Fernandes 2009, "A Physiologically-based
# Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), table for severity 1.0.
SIGHTS = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# OKLab (B. Ottosson 2020, "A perceptual color space for image processing"): linear sRGB to LMS,
# and its cube root to L, a, b.
TO_LMS = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
THEMES = {"light": LIGHT, "dark": DARK}
SERIES = [f"series-{n}" for n in range(1, 7)]


def linear(color: str) -> np.ndarray:
    """Linear RGB of a hex color (IEC 61966-2-1)."""
    channels = np.array([int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2 (definition "contrast ratio")."""
    lights = sorted(float(linear(color) @ [0.2126, 0.7152, 0.0722]) for color in (one, other))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def seen(color: str, sight: str) -> np.ndarray:
    """OKLab coordinates of a color as that sight perceives it."""
    return TO_LAB @ np.cbrt(TO_LMS @ np.clip(SIGHTS[sight] @ linear(color), 0, 1))


def distance(one: str, other: str, sight: str) -> float:
    """Distance of two colors in OKLab."""
    return float(np.linalg.norm(seen(one, sight) - seen(other, sight)))


def test_contrast_of_black_on_white_is_21() -> None:
    """The contrast ratio ends where WCAG says it does: 21 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("theme", THEMES)
def test_series_differ_for_every_sight(theme: str, sight: str) -> None:
    """Any two series are apart by 0.08 in OKLab (five times a just visible step of about 0.015)."""
    colors = THEMES[theme]
    assert len(SERIES) > 2
    for one, other in itertools.combinations(SERIES, 2):
        apart = distance(colors[one], colors[other], sight)
        assert apart >= 0.08, f"{one} and {other} are {apart:.3f} apart"


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("theme", THEMES)
def test_steps_and_bands_keep_their_order(theme: str, sight: str) -> None:
    """Neighboring steps of the scales are apart, and the two ends of the ratios most of all."""
    colors = THEMES[theme]
    steps = [f"step-{n}" for n in range(1, 6)]
    bands = ["lower-2", "lower-1", "middle", "higher-1", "higher-2"]
    for names in (steps, bands):
        for one, other in itertools.pairwise(names):
            assert distance(colors[one], colors[other], sight) >= 0.07
    lightness = [seen(colors[name], sight)[0] for name in steps]
    assert sorted(lightness, reverse=theme == "light") == lightness
    assert distance(colors["lower-1"], colors["higher-1"], sight) >= 0.1


@pytest.mark.parametrize("theme", THEMES)
def test_marks_and_words_stand_out(theme: str) -> None:
    """Marks reach 3:1 and words 4.5:1 against what is behind them (WCAG 2.2, 1.4.11 and 1.4.3)."""
    colors = THEMES[theme]
    for name in SERIES:
        assert contrast(colors[name], colors["surface"]) >= 3
    for word, ground in itertools.product(("ink", "muted", "accent"), ("page", "surface")):
        assert contrast(colors[word], colors[ground]) >= 4.5, (word, ground)
    assert contrast(colors["accent"], colors["accent-soft"]) >= 4.5
    assert contrast(colors["ink"], colors["accent-soft"]) >= 4.5
    for name in ("step-1", "step-2", "step-3", "lower-1", "middle", "higher-1", "thin"):
        assert contrast(colors["on-pale"], colors[name]) >= 3, name
    for name in ("step-4", "step-5", "lower-2", "higher-2"):
        assert contrast(colors["on-deep"], colors[name]) >= 4, name


def test_both_themes_have_the_same_tokens() -> None:
    """No chart can name a color that one of the themes lacks."""
    assert set(LIGHT) == set(DARK)
