"""Pictures read in grey and for colour-blind readers, are sound SVG, and take hostile words as words."""

import math
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.report.pictures.curves import Curve, Line, residual_curves
from framesim.report.pictures.fills import FILLS, STROKES, grey_of
from framesim.report.pictures.funnel import FunnelBars, Stage, funnel_picture
from framesim.report.pictures.ranges import Range, interval_rows
from framesim.report.pictures.shares import Bar, check_shares, letters_for, parts_shown
from framesim.report.pictures.values_over_time import Track, values_over_time

HOSTILE = ["<script>alert(1)</script>", "$\\nosuch{1}$ a&b\"'><svg onload=x> ]]> -->", "\x1b[31m\n汉" + "x" * 500]
FIVE = 5  # fills before the shades come again


def deuteranope(shade):
    """Return a colour as seen without green cones: the matrix of Vienot, Brettel and Mollon 1999, from memory."""
    linear = np.array([(part / 255) ** 2.2 for part in shade])
    seen = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]) @ linear
    return tuple(float(255 * max(0.0, part) ** (1 / 2.2)) for part in seen)


def contrast(one, other):
    """Return the contrast ratio of WCAG 2.1."""
    light, dark = sorted((grey_of(one), grey_of(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("seen", [tuple, deuteranope], ids=["grey", "deuteranopia"])
def test_any_two_fills_differ_in_lightness_alone_and_neighbours_much_more(seen):
    shades = [seen(fill.shade) for fill in FILLS[:FIVE]]
    assert min(contrast(a, b) for i, a in enumerate(shades) for b in shades[:i]) > 1.35
    assert min(contrast(a, b) for a, b in pairwise(shades)) > 2.3


def test_fills_of_equal_shade_have_different_hatches_and_no_two_fills_are_the_same():
    assert len({(fill.shade, fill.hatch) for fill in FILLS}) == len(FILLS) >= 13


def test_words_on_a_fill_can_be_read():
    paper, ink = (255, 255, 255), (0, 0, 0)
    for fill in FILLS:
        assert contrast(fill.shade, paper if fill.ink == "#ffffff" else ink) > 4.5  # WCAG 2.1, 1.4.3


def test_lines_differ_in_marker_and_in_dash_whatever_their_shade():
    assert len({stroke.marker for stroke in STROKES}) == len({stroke.dash for stroke in STROKES}) == len(STROKES)


@given(st.lists(st.text(min_size=1), max_size=20, unique=True))
@settings(deadline=None)
def test_no_two_parts_share_a_letter(parts):
    letters = letters_for(parts)
    assert set(letters) == set(parts)
    assert len(set(letters.values())) == len(parts)


def pictures(word):
    """Return one of each picture, with ``word`` wherever words from outside may stand."""
    times = np.arange(5.0)
    bars = [Bar(label=word, counts={word: 3, "crc": 1}, note=word), Bar(label="quiet", counts={word: 0})]
    curve = Curve(label=word, ratios=[1e-6, 1e-4], values=[1e-12, None], low=[0, 0], high=[1e-11, 1e-8])
    bounded = Curve(label="b", ratios=[1e-6, 1e-4], values=[1e-9, 1e-5], low=[0, 0], high=[1e-9, 1e-5], bounded=True)
    stages = [Stage(label="sent", count=9), Stage(label="u", count=0, below=3.7)]
    line = Line(label="c", ratios=[1e-6, 1e-4], values=[1e-9, 1e-7], meets=(1e-5, 1e-8, "here"))
    used = np.array([1, math.nan, 2, 3, 4])
    some = np.array([0, 1, 0, 0, 0], np.bool_)
    track = Track(label=word, time_s=times, true=times, used=used, caught=some, wrong=~some)
    ranges = [Range(label=word, low=0, best=None, high=1e-6), Range(label="n", low=0, best=None, high=0)]
    return {
        "shares": check_shares(bars),
        "funnel": funnel_picture([FunnelBars(title=word, stages=stages)]),
        "curves": residual_curves([curve, bounded], [line]),
        "ranges": interval_rows(ranges),
        "course": values_over_time([track, track], unit=word),
    }


@pytest.fixture(scope="module")
def plain():
    return pictures("bar")


@pytest.mark.parametrize("word", HOSTILE, ids=ascii)
def test_a_hostile_word_is_drawn_and_does_nothing(word):
    for name, text in pictures(word).items():
        root = ElementTree.fromstring(text)
        tags = {element.tag.rpartition("}")[2] for element in root.iter()}
        assert tags <= {"svg", "g", "defs", "path", "use", "rect", "clipPath", "pattern"}, name
        keys = {key for element in root.iter() for key in element.attrib}
        assert not [key for key in keys if key.startswith("on")], name
        assert "<script" not in text, name


def test_a_picture_is_the_same_on_every_run_refers_to_itself_alone_and_names_its_ids(plain):
    assert pictures("bar") == plain
    for name, text in plain.items():
        root = ElementTree.fromstring(text)
        ids = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
        assert len(ids) == len(set(ids))
        assert all(one.startswith(f"{name}-") for one in ids)
        hrefs = [value for element in root.iter() for key, value in element.attrib.items() if key.endswith("href")]
        assert all(value.startswith("#") and value[1:] in ids for value in hrefs)
        for element in root.iter():
            for value in element.attrib.values():
                if "url(" in value:
                    assert value.split("url(#")[1].split(")")[0] in ids
        assert root.attrib["role"] == "img"
        assert root.attrib["aria-label"]


def test_a_users_own_settings_of_the_drawing_library_do_not_show():
    import matplotlib as mpl

    ranges = [Range(label="$", low=1e-9, best=1e-8, high=1e-6)]
    ours = interval_rows(ranges)
    with mpl.rc_context({"font.size": 20, "axes.facecolor": "red", "svg.fonttype": "none", "text.parse_math": True}):
        assert interval_rows(ranges) == ours


def test_a_ratio_measured_elsewhere_is_marked_where_the_curve_reaches_it_and_nowhere_else():
    curve = Curve(label="x", ratios=[1e-8, 1e-2], values=[1e-20, 1e-9], low=[1e-20, 1e-9], high=[1e-20, 1e-9])
    plain = residual_curves([curve])
    assert residual_curves([curve], marks=[("far", 1e-9)]) == plain
    assert residual_curves([curve], marks=[("near", 1e-7)]) != plain


def test_more_than_two_lines_stand_in_rows_of_two_and_none_is_lost():
    ones, none = np.ones(3), np.zeros(3, np.bool_)
    track = {"time_s": np.arange(3.0), "true": ones, "used": ones, "caught": none, "wrong": none}
    sizes = []
    for count in (1, 2, 3, 7):
        svg = values_over_time([Track(label=f"line {number}", **track) for number in range(count)], unit="bar")
        axes = {tag.get("id") for tag in ElementTree.fromstring(svg).iter() if "axes_" in (tag.get("id") or "")}
        assert len(axes) == 4 * -(-count // 2) if count > 1 else 2
        sizes.append(ElementTree.fromstring(svg).get("viewBox"))
    assert len(set(sizes)) == 3  # one and two lines in one row, then two rows, then four


def test_parts_keep_the_order_in_which_bars_name_them_and_empty_ones_are_left_out():
    one = Bar(label="a", counts={"stuffing": 0, "form": 2, "crc": 1})
    other = Bar(label="b", counts={"stuffing": 5, "form": 0, "unseen": 0})
    assert parts_shown([one, other]) == ["stuffing", "form", "crc"]
