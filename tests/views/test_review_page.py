"""The page that looks back: its words, tables and figures are the analysis's own."""

from __future__ import annotations

import pandas as pd
import pytest
from screen import answers, charts, page_text

from dashboards.figures import review as picture
from dashboards.theme import DARK, LIGHT
from insights.followup import follow_up
from insights.history.intake import read_history
from insights.reviewing.call_back import failed_share
from insights.reviewing.cohorts import cohorts
from insights.reviewing.dearest import costs_by_cause
from insights.reviewing.rates import WORSE, review
from insights.wording import review as wording_review

PAGE = "Better or worse"


@pytest.fixture(scope="module")
def followup(shop_file):
    return follow_up(read_history(shop_file))


@pytest.fixture(scope="module")
def reviewed(followup):
    return review(followup)


def test_the_answers_are_the_analysis_own(open_app, shop_file, followup, reviewed):
    app = open_app(shop_file, PAGE)
    assert not app.exception
    assert answers(app) == [
        wording_review.of_year(cohorts(followup).year).sentence,
        wording_review.of_review(reviewed).sentence,
        wording_review.of_earlier(reviewed).sentence,
        wording_review.of_costs(costs_by_cause(followup)).sentence,
    ]
    assert set(charts(app)) == {
        "review-years",
        "review-months",
        "review-ratios",
        "review-funnel",
        "review-costs",
    }
    text = page_text(app)
    assert wording_review.CALL in text
    assert wording_review.NO_LEAGUE in text


def test_the_groups_shown_are_those_chosen(open_app, shop_file, reviewed):
    app = open_app(shop_file, PAGE)
    app.selectbox(key="review-by").set_value("technician").run()
    app.selectbox(key="review-day").set_value(90).run()
    tables = [table.value for table in app.table]
    shown = next(table for table in tables if "Verdict" in table.columns)
    rows = reviewed.table
    rows = rows[(rows["by"] == "technician") & (rows["day"] == 90)]
    assert shown["Technician"].tolist() == rows["group"].tolist()
    assert shown["Back so far"].tolist() == [f"{back}" for back in rows["returns"]]
    assert wording_review.of_review(reviewed, 90, "technician").sentence in page_text(app)


def test_answers_given_correct_the_share(open_app, shop_file, followup):
    app = open_app(shop_file, PAGE)
    said = ["would_return"] * 24 + ["would_not"] * 6
    rows = pd.DataFrame({"job_id": [f"J{place}" for place in range(30)], "answer": said})
    given = ("calls.csv", rows.to_csv(index=False).encode(), "text/csv")
    app.file_uploader(key="review-answers").upload(*given).run()
    assert not app.exception
    found = failed_share(followup, rows, 180)
    assert answers(app)[-1] == wording_review.of_corrected(found, 180).sentence
    app.file_uploader(key="review-answers").upload("x.csv", b"job_id\n1\n", "text/csv").run()
    assert "lack the column answer" in app.error[0].value


def test_ratios_are_drawn_with_their_ranges_by_name(reviewed):
    figure = picture.draw_ratios(reviewed, "technician", 180, LIGHT)
    rows = reviewed.table
    rows = rows[(rows["by"] == "technician") & (rows["day"] == 180)].set_index("group")
    drawn = {
        name: (ratio, ratio - minus, ratio + plus)
        for trace in figure.data
        for name, ratio, plus, minus in zip(
            trace.y, trace.x, trace.error_x.array, trace.error_x.arrayminus, strict=True
        )
    }
    assert set(drawn) == set(rows.index)
    for name, found in drawn.items():
        assert found == pytest.approx(tuple(rows.loc[name, ["ratio", "low", "high"]]))
    # From the top: categories rise from below.
    assert list(figure.layout.yaxis.categoryarray) == sorted(rows.index, reverse=True)


def test_worse_differs_from_better_by_shape_as_well_as_colour(reviewed):
    figure = picture.draw_ratios(reviewed, "model", 180, DARK)
    markers = {trace.name: trace.marker for trace in figure.data}
    assert len({marker.symbol for marker in markers.values()}) == len(markers) == 3
    assert len({marker.color for marker in markers.values()}) == 3
    assert markers[WORSE].symbol == "triangle-up"


def test_the_funnel_carries_limits_and_raw_ratios(reviewed):
    figure = picture.draw_funnel(reviewed, "lot_contact", 180, LIGHT)
    rows = reviewed.table
    rows = rows[(rows["by"] == "lot_contact") & (rows["day"] == 180)]
    rows = rows[rows["expected"] >= picture.LEAST_EXPECTED].sort_values("expected")
    action = [trace for trace in figure.data if trace.legendgroup == "action"]
    assert list(action[1].y) == pytest.approx(list(rows["action_high"]))
    points = sum(len(trace.x) for trace in figure.data if trace.mode == "markers")
    assert points >= len(rows)


def test_months_are_blank_where_too_young(followup):
    found = cohorts(followup)
    (heat,) = picture.draw_cohorts(found, LIGHT).data
    months = found.months["month"].tail(picture.MOST_MONTHS).tolist()
    assert list(heat.y) == months
    table = found.table.set_index(["month", "day"])["share"]
    assert heat.z[-1][-1] != heat.z[-1][-1]
    place = months.index("2024-06")
    assert heat.z[place][2] == pytest.approx(table["2024-06", 90.0], nan_ok=True)


def test_costs_add_up_to_the_whole(followup):
    bars, line = picture.draw_costs(costs_by_cause(followup), LIGHT).data
    assert list(bars.y) == sorted(bars.y, reverse=True)
    assert line.y[-1] == pytest.approx(1)


def test_an_empty_record_is_said_in_the_figure(followup):
    none = costs_by_cause(followup)
    empty = type(none)(**{**none.__dict__, "table": none.table.head(0)})
    (note,) = picture.draw_costs(empty, LIGHT).layout.annotations
    assert note.text == "No comeback has a cost on record."
