"""The colours can be read on their page, and told apart by colour-blind eyes."""

from __future__ import annotations

import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

import dashboards
from dashboards.theme import DARK, LIGHT, see_through

CONFIG = Path(dashboards.__file__).with_name(".streamlit") / "config.toml"

# Machado, Oliveira, Fernandes 2009 (IEEE Trans. Vis. Comput. Graph. 15:1291), severity 1.0:
# what linear RGB becomes for protanopes, deuteranopes, tritanopes.
EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour: str) -> np.ndarray:
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio."""
    high, low = sorted((linear(c) @ [0.2126, 0.7152, 0.0722] for c in (one, other)), reverse=True)
    return float((high + 0.05) / (low + 0.05))


def lab(colour: str, eye: str) -> np.ndarray:
    xyz = TO_XYZ @ np.clip(EYES[eye] @ linear(colour), 0, 1) / [0.95047, 1, 1.08883]
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_ruler_itself():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # WebAIM's known pair


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_lines_stand_out_from_the_page(palette):
    for colour in (palette.ink, palette.faint, *palette.lines):
        assert contrast(colour, palette.background) >= 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("eye", EYES)
def test_every_two_lines_differ_to_every_eye(palette, eye):
    for one, other in combinations(palette.lines, 2):
        assert np.linalg.norm(lab(one, eye) - lab(other, eye)) >= 10


def test_figures_and_pages_have_the_same_colours():
    theme = tomllib.loads(CONFIG.read_text())["theme"]
    for name, palette in (("light", LIGHT), ("dark", DARK)):
        assert theme[name]["backgroundColor"] == palette.background
        assert theme[name]["textColor"] == palette.ink
        assert tuple(theme[name]["chartCategoricalColors"]) == palette.lines


@pytest.mark.parametrize("name", ["light", "dark"])
def test_buttons_and_links_can_be_read(name):
    theme = tomllib.loads(CONFIG.read_text())["theme"][name]
    for ground in (theme["backgroundColor"], theme["secondaryBackgroundColor"]):
        assert contrast(theme["textColor"], ground) >= 4.5
        assert contrast(theme["linkColor"], ground) >= 4.5


def test_see_through():
    assert see_through("#0b6b5d", 0.5) == "rgba(11,107,93,0.5)"
