"""Blind second coding: who is drawn, and how far two people agree."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score
from sources import STATSMODELS
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.proportion import proportion_confint

from insights.bench.agreement import agreement, agreement_of_counts, drawn_for_second_coding
from insights.errors import RequestError
from insights.wording import bench as wording_bench

CODES = ("same_fault", "new_fault", "workmanship")


def counted(*rows) -> pd.DataFrame:
    names = [f"c{place}" for place in range(len(rows))]
    return pd.DataFrame(rows, index=names, columns=names)


def test_a_hundred_coded_twice(outside):
    # By hand: 90 of 100 alike; chance .46 x .44 + .54 x .56 = .5048; (.90 - .5048)/.4952 = .798.
    found = agreement_of_counts(counted([40, 6], [4, 50]))
    assert (found.jobs, found.alike) == (100, 90)
    assert found.agree_share == pytest.approx(0.90)
    assert found.kappa == pytest.approx(0.7981, abs=5e-5)
    other = cohens_kappa(np.array([[40, 6], [4, 50]], dtype=float))
    outside.agrees(
        "coded twice: kappa, and the bounds of the share coded alike",
        [found.kappa, found.agree_low, found.agree_high],
        [other.kappa, *proportion_confint(90, 100, method="beta")],
        source=STATSMODELS,
        abs=1e-10,
    )
    # Clopper and Pearson of 90 in 100: .8238 to .9510 (any table); with chance held as above.
    assert (found.agree_low, found.agree_high) == pytest.approx((0.8238, 0.9510), abs=5e-5)
    expected = ((0.8238 - 0.5048) / 0.4952, (0.9510 - 0.5048) / 0.4952)
    assert (found.kappa_low, found.kappa_high) == pytest.approx(expected, abs=2e-4)
    sentence = wording_bench.of_agreement(found).sentence
    assert "100 comebacks apart: 90 alike (90%; 82% to 95%)" in sentence
    assert "they reach 80%" in sentence
    assert "kappa 0.80" in sentence


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.integers(2, 4).flatmap(
        lambda size: st.lists(
            st.lists(st.integers(1, 30), min_size=size, max_size=size),
            min_size=size,
            max_size=size,
        )
    )
)
def test_kappa_is_that_of_statsmodels_and_lies_within_its_bounds(rows):
    found = agreement_of_counts(counted(*rows))
    assert found.kappa == pytest.approx(
        cohens_kappa(np.array(rows, dtype=float), return_results=False), abs=1e-10
    )
    assert -1 <= found.kappa_low <= found.kappa <= found.kappa_high <= 1


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.sampled_from(CODES), st.sampled_from(CODES)), min_size=5, max_size=60))
def test_codings_give_what_scikit_learn_gives(pairs):
    first, second = [list(side) for side in zip(*pairs, strict=True)]
    found = agreement(first, second)
    assert found.table.to_numpy().sum() == len(pairs)
    assert found.alike == sum(one == other for one, other in pairs)
    if len({*first, *second}) > 1:
        assert found.kappa == pytest.approx(cohen_kappa_score(first, second), abs=1e-10)
        assert found.kappa_low <= found.kappa <= found.kappa_high
    else:
        assert np.isnan(found.kappa)


def test_full_accord_on_few_jobs_is_no_certainty():
    # Clopper and Pearson for 4 of 4: .025 ** .25 = .3976; chance is .5, so (.3976 - .5)/.5.
    found = agreement(["a", "a", "b", "b"], ["a", "a", "b", "b"])
    assert (found.kappa, found.kappa_high) == (1.0, 1.0)
    assert found.kappa_low == pytest.approx((0.025**0.25 - 0.5) / 0.5, abs=1e-9)
    assert [note.code for note in found.notes] == ["few"]


def test_one_code_alone_tells_nothing_beyond_chance():
    found = agreement(["a"] * 40, ["a"] * 40)
    assert np.isnan(found.kappa)
    assert found.agree_share == 1
    assert [note.code for note in found.notes] == ["one_code"]
    assert "kappa" not in wording_bench.of_agreement(found).sentence


def test_nothing_coded_twice_is_said_so():
    found = agreement([], [])
    assert found.jobs == 0
    assert wording_bench.of_agreement(found).sentence == (
        "No comeback has been coded by two people yet."
    )


def test_codings_of_different_jobs_are_refused():
    with pytest.raises(RequestError, match="has 2 jobs, the second 1"):
        agreement(["a", "b"], ["a"])


def test_the_draw_is_the_job_s_own():
    jobs = [f"J{number:06d}" for number in range(4000)]
    drawn = drawn_for_second_coding(jobs)
    # 15% of 4,000 is 600, standard deviation 22.6; four of them either way.
    assert 600 - 90 < len(drawn) < 600 + 90
    assert set(drawn_for_second_coding(jobs[:100])) == set(drawn) & set(jobs[:100])
    assert drawn_for_second_coding(jobs) == drawn
    assert drawn_for_second_coding(jobs, seed=1) != drawn
    assert set(drawn_for_second_coding(jobs, share=0.10)) < set(drawn)
    assert drawn_for_second_coding(jobs[:9], share=1) == tuple(jobs[:9])


@pytest.mark.slow
@pytest.mark.parametrize("jobs", [10, 30, 100])
@pytest.mark.parametrize("accord", [0.2, 0.8, 0.95])
@pytest.mark.parametrize("shares", [(0.5, 0.5), (0.85, 0.15), (0.6, 0.2, 0.1, 0.1)])
def test_the_bounds_hold_the_true_kappa(measured, jobs, accord, shares):
    # Two coders who agree outright on a share and else code apart: kappa is that share.
    random = np.random.default_rng(5)
    joint = accord * np.diag(shares) + (1 - accord) * np.outer(shares, shares)
    held = told = 0
    for drawn in random.multinomial(jobs, joint.ravel(), size=600):
        found = agreement_of_counts(counted(*drawn.reshape(joint.shape)))
        told += not np.isnan(found.kappa)
        held += found.kappa_low <= accord <= found.kappa_high
    measured.row(
        "Kappa of two codings: coverage of its 95% bounds",
        jobs=jobs,
        kappa=accord,
        codes=len(shares),
        draws=told,
        coverage_share=held / told,
    )
    # 600 draws at 95%: standard error 0.9 points; three of them below.
    assert held / told > 0.923


@pytest.mark.parametrize("share", [0, -0.1, 1.01])
def test_a_share_outside_nought_to_one_is_refused(share):
    with pytest.raises(RequestError, match="share to code twice"):
        drawn_for_second_coding(["J1"], share=share)
