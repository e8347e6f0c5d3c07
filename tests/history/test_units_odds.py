"""What an agreement is worth: the odds, the shares behind them, and how serials are graded."""

import itertools

import numpy as np
import pandas as pd
import pytest
from invented_shop import invented_shop, spoil
from rapidfuzz.distance import OSA
from sklearn.naive_bayes import BernoulliNB
from sources import SCIKIT_LEARN

from insights.history.blocking import candidate_pairs
from insights.history.cards import make_cards, records_of
from insights.history.matching import (
    FIELDS,
    MISTYPED_ROW,
    WHO_SAME,
    compare,
    estimate,
    pair_odds,
    posterior_odds,
)
from insights.history.sampling import draw_pairs
from insights.history.schema import to_schema
from insights.history.serials import (
    DIFFERENT,
    END_SLIP,
    NEIGHBOURS,
    ONE_SLIP,
    SAME,
    TWO_SLIPS,
    serial_levels,
)

NOBODY = np.zeros(0, dtype=np.int64)


def probability(odds: np.ndarray) -> np.ndarray:
    return odds / (1 + odds)


def test_posterior_of_a_published_linkage(outside) -> None:
    """Hospital records compared in date of birth, sex and postcode.

    True matches and others by pattern of agreement, and the printed probability of a match
    (4 decimals).
    """
    source = "BMC Medical Research Methodology 2017, 17:23; doi 10.1186/s12874-017-0306-8, Table 1"
    matches = np.array([1, 21, 18, 12, 15_924, 14_009])
    others = np.array([259, 414_307, 248, 4, 415_888, 10])
    ratio = (matches / matches.sum()) / (others / others.sum())
    odds = posterior_odds(matches.sum() / others.sum(), ratio[:, None])
    # Patterns 001 and 011 are printed as 0.0039 and 0.0726, which are their odds (1/259, 18/248).
    found = [odds[0], odds[2], *probability(odds[[1, 3, 4, 5]])]
    printed = [0.0039, 0.0726, 0.0001, 0.7500, 0.0369, 0.9993]
    outside.agrees("hospital records: chance of a match", found, printed, source=source, abs=5e-5)


def test_posterior_worked_by_hand() -> None:
    """One-edit serial .04/.0001, model .98/.10, postcode .85/.002; prior .05/2000.

    400 x 9.8 x 425 = 1,666,000; times 0.000025 = 41.65; 41.65/42.65 = 0.97655. Without the
    serial: 4165 x 0.000025 = 0.104125; 0.0943.
    """
    ratios = np.array([[0.04 / 0.0001, 0.98 / 0.10, 0.85 / 0.002], [1.0, 9.8, 425.0]])
    odds = posterior_odds(0.05 / 2000, ratios)
    np.testing.assert_allclose(odds, [41.65, 0.104125], rtol=1e-12)
    np.testing.assert_allclose(probability(odds), [0.976553, 0.094305], atol=1e-6)


def test_posterior_is_naive_bayes(outside) -> None:
    """Fields independent given the unit: scikit-learn's Bernoulli model with the same shares."""
    m, u = np.array([0.95, 0.88, 0.7]), np.array([0.08, 0.3, 0.002])
    model = BernoulliNB(binarize=None)
    model.classes_ = np.array([0, 1])
    model.n_features_in_ = 3
    model.feature_log_prob_ = np.log(np.vstack((u, m)))
    model.class_log_prior_ = np.log([0.97, 0.03])
    agree = np.array(list(itertools.product((0, 1), repeat=3)))
    ratios = np.where(agree == 1, m / u, (1 - m) / (1 - u))
    mine = probability(posterior_odds(0.03 / 0.97, ratios))
    theirs, source = model.predict_proba(agree)[:, 1], f"{SCIKIT_LEARN}; BernoulliNB"
    outside.agrees("chance that two jobs are one unit", mine, theirs, source=source, rel=1e-12)


@pytest.mark.parametrize(
    ("first", "second", "level"),
    [
        ("4471B", "4471B", SAME),
        ("471200B", "417200B", ONE_SLIP),
        ("471200B", "47120B", END_SLIP),
        ("471200B", "71200B", ONE_SLIP),
        ("471200B", "471200D", ONE_SLIP),
        ("471200B", "471280B", END_SLIP),
        ("471200B", "471201B", NEIGHBOURS),
        ("471189B", "471190B", NEIGHBOURS),
        ("471200B", "471190B", TWO_SLIPS),
        ("471200B", "172400B", DIFFERENT),
        ("47120091B", "7120091", TWO_SLIPS),
        ("QRSTU", "QRTSU", ONE_SLIP),
        ("471200", "174200", DIFFERENT),
        ("471", "417", DIFFERENT),
        ("4712", "7421", DIFFERENT),
    ],
)
def test_grades_of_serials(first: str, second: str, level: int) -> None:
    one, other = np.array([first], dtype=object), np.array([second], dtype=object)
    assert serial_levels(one, other)[0] == level
    assert serial_levels(other, one)[0] == level


def test_every_field_starts_from_shares_that_add_up() -> None:
    for name, field in FIELDS.items():
        assert sum(field.m) == pytest.approx(1, abs=1e-9), name
        for row in field.u:
            assert sum(row) == pytest.approx(1, abs=1e-9), name
        assert len(field.weight) == len(field.u), name


def test_how_rows_of_serials_look_when_one_is_mistyped() -> None:
    """A plain simulation of the constants; tolerance 0.15 for the two slips, 0.02 for the end."""
    random = np.random.default_rng(4)
    number = random.integers(100_000, 999_990, 8000)
    one = np.array([f"{n}K" for n in number], dtype=object)
    right = np.array([f"{n}K" for n in number + random.integers(1, 10, 8000)], dtype=object)
    typed = right.copy()
    spoil(typed, np.arange(8000), random)
    level = serial_levels(one, typed)[typed != right]
    share = np.bincount(level, minlength=6) / len(level)
    assert share[END_SLIP] == pytest.approx(MISTYPED_ROW[END_SLIP], abs=0.02)
    assert share[TWO_SLIPS] == pytest.approx(MISTYPED_ROW[TWO_SLIPS], abs=0.15)


def test_drawn_pairs_stand_for_all_pairs() -> None:
    """Weighted shares of 100,000 draws a field against counting every pair; tolerance 3%."""
    random = np.random.default_rng(8)
    records = 2500
    customer = random.integers(0, 1200, records)
    model = random.choice(9, records, p=np.arange(1, 10) / 45)
    phone = np.where(random.random(records) < 0.3, -1, customer)
    one, other, weight = draw_pairs(records, [model, customer, phone])
    assert (one < other).all()
    total = records * (records - 1) / 2
    assert weight.sum() == pytest.approx(total, rel=0.01)
    for code in (customer, model):
        size = np.bincount(code)
        share = (size * (size - 1) / 2).sum() / total
        drawn = weight[code[one] == code[other]].sum() / weight.sum()
        assert drawn == pytest.approx(share, rel=0.03)
    both = customer * 9 + model
    size = np.bincount(both)
    drawn = weight[both[one] == both[other]].sum()
    assert drawn == pytest.approx((size * (size - 1) / 2).sum(), rel=0.03)


def test_all_pairs_of_a_small_history_are_taken() -> None:
    one, other, weight = draw_pairs(5, [np.zeros(5, dtype=int)])
    assert list(zip(one, other, strict=True)) == list(itertools.combinations(range(5), 2))
    assert weight.tolist() == [1.0] * 10


def test_shares_learnt_are_the_true_ones() -> None:
    """u and m of a shop with known units; tolerance 10%, ages 0.03."""
    history, truth = invented_shop(20_000, 3, unread=0.0, mistyped=0.0)
    cards = make_cards(history.jobs, NOBODY)
    records = records_of(cards)
    ratios = estimate(cards, records)
    unit = truth[cards.row][records.first]
    owner = cards.customer[records.first]
    size = np.bincount(owner).astype(np.int64)
    total = len(unit) * (len(unit) - 1) / 2
    same_owner = (size * (size - 1) / 2).sum() / total
    assert len(np.unique(unit)) == len(unit)
    assert ratios.u["who"][0, :2].sum() == pytest.approx(same_owner, rel=0.1)
    model_size = np.bincount(cards.model[records.first])
    same_model = (model_size * (model_size - 1) / 2).sum() / total
    assert ratios.u["model"][0, 0] == pytest.approx(same_model, rel=0.1)
    # The phone is the customer's but 3 in 100 times, on either visit: 0.97 * 0.97 agree fully.
    assert ratios.m["who"][0] == pytest.approx(0.97**2, abs=0.01)
    units = len(records)
    again, first = len(truth) - units + 1, units + 19
    assert ratios.prior_odds == pytest.approx(again / first / units, rel=1e-9)


def test_a_field_that_can_not_be_compared_changes_nothing() -> None:
    history, _ = invented_shop(500, 3)
    jobs = history.jobs.assign(customer=pd.NA, phone=pd.NA, postcode=pd.NA)
    jobs = jobs.assign(unit_serial=pd.NA, unit_age_years=np.nan, earlier_repair=pd.NA)
    cards = make_cards(jobs, NOBODY)
    ratios = estimate(cards, records_of(cards))
    levels = compare(cards, np.array([0]), np.array([1]))
    same_model = levels["model"][0] == 0
    model = ratios.ratio["model"][0, 0 if same_model else 1]
    assert pair_odds(ratios, levels)[0] == pytest.approx(ratios.prior_odds * model, rel=1e-12)


def test_stronger_levels_are_never_worth_less() -> None:
    for seed in range(4):
        history, _ = invented_shop(800, seed, together=0.8)
        cards = make_cards(history.jobs, NOBODY)
        for name, ratio in estimate(cards, records_of(cards)).ratio.items():
            assert (np.diff(ratio, axis=1) <= 0).all(), name


def test_blocks_hold_every_pair_worth_comparing() -> None:
    """Against comparing all pairs: same person and model, or one slip apart in one model."""
    history, _ = invented_shop(300, 9)
    cards = make_cards(history.jobs, NOBODY)
    records = records_of(cards)
    first, second = candidate_pairs(cards, records, strangers=True)
    found = set(zip(first.tolist(), second.tolist(), strict=True))
    wanted = set()
    for one, other in itertools.combinations(range(len(records)), 2):
        a, b = records.first[one], records.first[other]
        if cards.model[a] != cards.model[b]:
            continue
        both = cards.serial[a] is not None and cards.serial[b] is not None
        slip = both and OSA.distance(cards.serial[a], cards.serial[b]) <= 1
        if cards.customer[a] == cards.customer[b] or cards.phone[a] == cards.phone[b] or slip:
            wanted.add((one, other))
    assert wanted <= found
    assert len(found) < len(wanted) * 3


def test_a_customer_with_hundreds_of_units_is_blocked_on_slips() -> None:
    random = np.random.default_rng(2)
    serials = [f"{n}" for n in random.integers(1_000_000, 9_999_999, 150)]
    serials[149] = serials[3][:2] + serials[3][3:]
    jobs = pd.DataFrame(
        {
            "job_id": [f"j{n:03d}" for n in range(150)],
            "received": pd.date_range("2020-01-01", periods=150),
            "handed_back": pd.date_range("2020-01-01", periods=150),
            "model": "Boiler",
            "unit_serial": serials,
            "customer": "hotel",
        }
    )
    cards = make_cards(to_schema(jobs), NOBODY)
    records = records_of(cards)
    first, second = candidate_pairs(cards, records, strangers=False)
    assert (3, 149) in set(zip(first.tolist(), second.tolist(), strict=True))
    assert len(first) < 10
    assert compare(cards, np.array([3]), np.array([149]))["who"][0] == WHO_SAME
