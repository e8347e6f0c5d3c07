"""One month counted by hand, and what would be usual in it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from shop import fleet, followed
from watched import followed as followed_shop

from insights.errors import RequestError
from insights.reviewing.expected import case_mix
from insights.reviewing.one_month import by_chance, latest_month, one_month, usual_in
from insights.wording.month import of_arrivals, of_month, table_of_months
from synthetic.presets import null_shop


def visits(*days: tuple[str, str | None], unit: int, **facts) -> list[dict]:
    return [{"unit": unit, "received": came, "handed_back": left, **facts} for came, left in days]


def numbered(*groups: list[dict]) -> list[dict]:
    rows = [row for group in groups for row in group]
    return [{"job_id": f"J{place}", **row} for place, row in enumerate(rows)]


def test_a_month_is_counted_by_its_days():
    rows = numbered(
        visits(("2025-09-01", "2025-09-30"), ("2025-10-01", "2025-10-31"), unit=1),
        visits(("2026-08-30", "2026-09-30"), ("2026-10-31", None), unit=2, root_cause="seal"),
        visits(("2026-09-01", "2026-09-02"), ("2026-10-01", "2026-10-02"), unit=3),
        visits(("2026-09-29", "2026-10-01"), ("2026-11-01", None), unit=4),
        visits(("2026-09-03", "2026-09-04"), ("2026-10-05", "2026-10-06"), unit=5),
    )
    rows[-1]["relation"] = "misuse"
    found = one_month(followed(*rows, follow="all"), pd.Period("2026-10"))
    assert found.table["month"].astype(str).tolist() == ["2026-10", "2026-09", "2025-10"]
    assert found.table["handed_back"].tolist() == [3, 3, 1]
    assert found.table["came_back"].tolist() == [2, 0, 1]
    assert found.table["nothing_failed"].tolist() == [1, 0, 0]
    assert found.arrivals["received"].dt.strftime("%Y-%m-%d").tolist() == [
        "2026-10-31",
        "2026-10-01",
    ]
    assert found.causes.set_index("cause")["2026-10"].to_dict() == {"seal": 1, "unknown": 1}


def test_usual_by_month_adds_up_to_the_whole_record():
    shop = followed_shop(null_shop(jobs=900, days=500, seed=3))
    jobs = shop.history.jobs["handed_back"].dropna()
    months = tuple(pd.period_range(jobs.min(), shop.data_date, freq="M"))
    usual = usual_in(shop, months)
    assert usual.sum() == pytest.approx(case_mix(shop).expected(shop).sum())
    assert (usual > 0).all()


def test_usual_is_the_hazard_times_the_days_out():
    # 400 units leave on 1 January; one comes back every second day from the 2nd to the 80th, so
    # evenly. February is days 31 to 58 of their age: 28 days, so 14.
    back = tuple(range(2, 81, 2))
    shop = followed(*fleet(400, back), follow="all", data_date="2026-04-12")
    (usual,) = usual_in(shop, (pd.Period("2026-02"),))
    assert usual == pytest.approx(14, rel=0.03)


def test_chance_is_poissons():
    # Tables of the Poisson distribution: with mean 10 the central 95% are 4 to 17 (from memory).
    assert by_chance(10.0, 0.95) == (4, 17)
    assert np.isnan(by_chance(0.0, 0.95)).all()
    assert np.isnan(by_chance(np.nan, 0.95)).all()


@pytest.mark.parametrize(
    ("data_date", "today", "month"),
    [
        ("2026-10-31", "2026-11-01", "2026-10"),
        ("2026-10-29", "2026-11-01", "2026-10"),  # nothing in the last days
        ("2026-11-02", "2026-11-03", "2026-10"),
        ("2026-10-20", "2026-11-01", "2026-09"),  # written out before the month was over
        ("2026-10-31", "2026-10-31", "2026-09"),  # the day itself is not over
        ("2024-06-30", "2026-11-01", "2024-06"),
    ],
)
def test_the_month_spoken_of_is_the_last_whole_one(data_date, today, month):
    assert str(latest_month(pd.Timestamp(data_date), pd.Timestamp(today))) == month


def test_a_month_before_the_record_or_after_it_is_refused():
    shop = followed(*fleet(30, (20,)), data_date="2026-06-30")
    for month in ("2025-12", "2026-07"):
        with pytest.raises(RequestError, match="from 2026-01 to 2026-06"):
            one_month(shop, pd.Period(month))


def test_it_is_said_in_words():
    shop = followed(*fleet(60, (40, 45, 80)), data_date="2026-06-30", follow="all")
    found = one_month(shop, pd.Period("2026-02"))
    text = of_month(found).sentence
    assert (
        "In February 2026 0 units were handed back (the month before 60, a year before no" in text
    )
    assert (
        "2 came back and count as comebacks (the month before 0, a year before no record)" in text
    )
    assert "nothing unusual" in text
    assert of_arrivals(found).sentence == "They came back for: contacts 2."
    table = table_of_months(found).set_index("What")
    assert table.loc["Came back"].tolist() == ["2", "0", "no record"]
    many = one_month(
        followed(*fleet(60, (*range(100, 120), 200)), data_date="2026-12-31", follow="all"),
        pd.Period("2026-07"),
    )
    assert "One came back and counts as a comeback" in of_month(many).sentence
