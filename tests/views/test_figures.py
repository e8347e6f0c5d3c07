"""Figures show the result's numbers, as steps, with the range around and those at risk below."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go
import pytest
from shop import fleet, followed

from dashboards.figures import causes as causes_picture
from dashboards.figures import curves as curves_picture
from dashboards.figures.canvas import axis, day_ticks, share_format, value_on
from dashboards.theme import DARK, DASHES, LIGHT
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves

RULES = {"follow": "all", "count": "all"}


def two_models():
    """40 boilers of which two come back, 30 grinders of which one does."""
    return followed(
        *fleet(40, (20, 50), model="boiler"), *fleet(30, (35,), model="grinder"), **RULES
    )


def trace(figure: go.Figure, name: str) -> go.Scatter:
    return next(found for found in figure.data if found.name == name)


def test_a_curve_steps_and_carries_the_results_own_numbers():
    curves = return_curves(two_models(), by="model", at=(30, 60))
    figure = curves_picture.draw(curves, LIGHT)
    line = trace(figure, "boiler")
    table = curves.table[curves.table["group"] == "boiler"]
    assert line.line.shape == "hv"
    assert line.line.dash == DASHES[0]
    # Hand-worked: 1 of 40 is back from day 20, 2 of 40 from day 50.
    shares = value_on(np.array(line.x), np.array(line.y), np.array([19, 20, 49, 50]))
    assert shares == pytest.approx([0, 1 / 40, 1 / 40, 2 / 40])
    assert line.x[-1] == table["day"].iloc[-1]


def test_the_range_is_filled_from_upper_to_lower_and_steps_as_well():
    figure = curves_picture.draw(return_curves(two_models(), by="model", at=(30,)), LIGHT)
    names = [found.name for found in figure.data]
    for group in ("boiler", "grinder"):
        high, low = trace(figure, f"{group}: high"), trace(figure, f"{group}: low")
        assert names.index(f"{group}: low") == names.index(f"{group}: high") + 1
        assert (high.line.shape, low.line.shape) == ("hv", "hv")
        assert (high.fill, low.fill) == (None, "tonexty")
        assert (np.array(high.y) >= np.array(low.y)).all()
        assert high.legendgroup == low.legendgroup == trace(figure, group).legendgroup


def test_groups_differ_by_pattern_as_well_as_colour():
    figure = curves_picture.draw(return_curves(two_models(), by="model", at=(30,)), DARK)
    lines = [trace(figure, group).line for group in ("boiler", "grinder")]
    assert len({line.dash for line in lines}) == len({line.color for line in lines}) == 2


def test_numbers_at_risk_stand_below():
    figure = curves_picture.draw(return_curves(two_models(), by="model", at=(60, 120)), LIGHT)
    below = trace(figure, "at risk")
    numbers = {
        (day, text)
        for day, text, side in zip(below.x, below.text, below.textposition, strict=True)
        if side == "middle center"
    }
    # Hand-counted: all at hand-back; two boilers and a grinder are gone by day 60.
    assert {(0, "40"), (0, "30"), (60, "38"), (60, "29"), (120, "38"), (120, "29")} == numbers
    assert below.yaxis == "y2"


def test_numbers_at_risk_keep_their_distance():
    curves = return_curves(two_models(), at=tuple(range(1, 60)))
    below = trace(curves_picture.draw(curves, LIGHT), "at risk")
    days = sorted({day for day, text in zip(below.x, below.text, strict=True) if text.isdigit()})
    last_day = curves.table["day"].max()
    assert np.diff(days).min() >= last_day / 8


def test_a_name_is_never_markup():
    followup = followed(*fleet(30, (9,), model="<b>x</b>"), *fleet(30, (), model="y"), **RULES)
    figure = curves_picture.draw(return_curves(followup, by="model", at=(5,)), LIGHT)
    assert "&lt;b&gt;x&lt;/b&gt;" in {found.name for found in figure.data}


def test_at_most_six_groups_are_drawn_and_the_others_are_named():
    jobs = [job for n in range(8) for job in fleet(20 + n, (5,), model=f"m{n}")]
    curves = return_curves(followed(*jobs, **RULES), by="model", at=(3,))
    assert curves_picture.shown_groups(curves) == ("m2", "m3", "m4", "m5", "m6", "m7")
    assert curves_picture.left_out(curves) == "In the table only: m0, m1."


def test_jobs_without_a_record_of_the_group_are_left_to_the_table():
    jobs = [*fleet(30, (5,), technician="Ada"), *fleet(20, (5,), model="grinder")]
    curves = return_curves(followed(*jobs, **RULES), by="technician", at=(3,))
    assert curves_picture.shown_groups(curves) == ("Ada",)
    assert curves_picture.left_out(curves) == "In the table only: (not recorded)."


def test_too_few_jobs_are_said_not_drawn():
    figure = curves_picture.draw(return_curves(followed(*fleet(5), **RULES), at=(3,)), LIGHT)
    assert not figure.data
    assert figure.layout.annotations[0].text == curves_picture.NOTHING


def causes_of_two():
    """Of 40 boilers, one comes back on day 20 for contacts and one on day 50 for the cord."""
    jobs = fleet(40, (20, 50), model="boiler")
    backs = [job for job in jobs if job["job_id"].endswith("-2")]
    backs[1]["root_cause"] = "cord"
    return cause_curves(followed(*jobs, **RULES), at=(30, 60))


def test_causes_are_marks_on_their_ranges():
    causes = causes_of_two()
    marks = causes_picture.draw_ranges(causes, 60, LIGHT).data[0]
    at = causes.at[causes.at["day"] == 60]
    assert list(marks.x) == pytest.approx(list(at["share"]))
    assert list(np.array(marks.x) + marks.error_x.array) == pytest.approx(list(at["high"]))
    assert list(np.array(marks.x) - marks.error_x.arrayminus) == pytest.approx(list(at["low"]))


def test_causes_stack_up_to_the_total():
    causes = causes_of_two()
    group = causes.groups["group"].iloc[0]
    figure = causes_picture.draw_stack(causes, group, LIGHT)
    top = figure.data[-1]
    assert {found.line.shape for found in figure.data} == {"hv"}
    total = causes.total.table
    assert value_on(
        np.array(top.x), np.array(top.y), np.array([10.0, 20.0, 50.0])
    ) == pytest.approx([0, 1 / 40, 2 / 40])
    assert top.y[-1] == pytest.approx(total["share"].iloc[-1])


def test_the_headline_day_is_180_or_the_last_that_is_reached():
    assert causes_picture.headline_day(causes_of_two()) == 60


@pytest.mark.parametrize(
    ("last_day", "step"), [(60, 10), (194, 30), (379, 60), (700, 90), (3650, 730)]
)
def test_days_are_marked_in_round_steps(last_day, step):
    ticks = day_ticks(last_day)
    assert set(np.diff(ticks)) == {step}
    assert len(ticks) <= 9


def test_a_share_axis_has_the_digits_it_needs():
    assert (share_format(0.03), share_format(0.3)) == (".1%", ".0%")


def test_a_long_title_of_an_axis_fits_a_phone():
    long = "share back with both less share back with one"
    lines = axis(LIGHT, long)["title"]["text"].split("<br>")
    assert " ".join(lines) == long
    # 390 CSS pixels less the page's margins and an axis' names: some 36 signs of 14 pixels.
    assert max(map(len, lines)) <= 36
    assert axis(LIGHT, "days since hand-back")["title"]["text"] == "days since hand-back"
