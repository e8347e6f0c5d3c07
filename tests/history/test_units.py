"""Which jobs are the same unit: what is linked, what is left to a person, and what never is."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_shop import invented_shop, precision_and_recall

from insights.errors import RequestError
from insights.history.schema import History, to_schema
from insights.history.units import PAIR_COLUMNS, Links, link_units, relink
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

SHOP = invented_shop(400, 5)[0]


def history(*rows: dict) -> History:
    """Jobs a, b, c, ... a year apart, on the bench for a week, of one model unless said."""
    frame = pd.DataFrame(
        [
            {
                "job_id": "abcdefghijkl"[at],
                "received": f"{2012 + at}-03-01",
                "handed_back": f"{2012 + at}-03-08",
                "model": "Boiler 5",
                "unit_age_years": 2.0 + at,
                **row,
            }
            for at, row in enumerate(rows)
        ]
    )
    return History(to_schema(frame))


def units(links: Links) -> list[int]:
    return links.unit_of_job.tolist()


def test_equal_serials_are_one_unit_however_they_are_written() -> None:
    jobs = history(
        {"unit_serial": "44-71 b"}, {"unit_serial": "9000"}, {"unit_serial": "4471B"},
        {"unit_serial": " 4471.b "}, {"unit_serial": "9001"},
    )  # fmt: skip
    assert units(link_units(jobs)) == [0, 1, 0, 0, 2]


@pytest.mark.parametrize("word", [None, "", "-", "n/a", "N.A.", "0000", "none", "Unknown", "xxx"])
def test_a_word_for_no_serial_joins_nothing(word: str | None) -> None:
    jobs = history({"unit_serial": word}, {"unit_serial": word}, {"unit_serial": word})
    links = link_units(jobs)
    assert units(links) == [0, 1, 2]
    assert links.pairs.empty


def test_models_whose_names_are_words_for_nothing_stay_two_models() -> None:
    jobs = history(
        {"unit_serial": "12", "model": "NA"}, {"unit_serial": "12", "model": "None"},
        {"unit_serial": "12", "model": "n.a."},
    )  # fmt: skip
    assert units(link_units(jobs)) == [0, 1, 0]


def test_without_serials_and_customers_every_job_is_its_own_unit() -> None:
    links = link_units(history(*[{}] * 6))
    assert units(links) == [0, 1, 2, 3, 4, 5]
    assert tuple(links.pairs.columns) == PAIR_COLUMNS
    assert {note.code: note.jobs for note in links.notes}["no_serial"] == 6


def test_a_history_without_jobs_has_no_units() -> None:
    empty = History(to_schema(pd.DataFrame({"job_id": [], "received": [], "model": []})))
    links = link_units(empty)
    assert units(links) == []
    assert tuple(links.pairs.columns) == PAIR_COLUMNS


def test_a_mistyped_serial_is_linked_with_its_reasons() -> None:
    jobs = history(
        {"unit_serial": "4471-B", "customer": "K7"}, {"unit_serial": "7733-C", "customer": "K1"},
        {"unit_serial": "4417-B", "customer": "k 7"},
    )  # fmt: skip
    links = link_units(jobs)
    assert units(links) == [0, 1, 0]
    (pair,) = links.pairs.to_dict("records")
    assert (pair["job_id"], pair["earlier_job_id"], pair["status"]) == ("c", "a", "linked")
    assert pair["probability"] >= 0.99
    assert pair["reasons"] == (
        "two characters of the serial are swapped: 4471-B / 4417-B; same customer; age fits"
    )


def test_less_evidence_leaves_it_to_a_person_and_none_makes_a_new_unit() -> None:
    serials = ("4471-B", "7733-C", "4417-B")
    nobody = link_units(history(*({"unit_serial": serial} for serial in serials)))
    assert units(nobody) == [0, 1, 2]
    ages, serials = (1.0, 1.0, 30.0), ("4471-B", "7733-C", "447-B")
    wrong_age = [
        {"unit_serial": serial, "customer": "K7", "unit_age_years": age}
        for serial, age in zip(serials, ages, strict=True)
    ]
    doubtful = link_units(history(wrong_age[0], {**wrong_age[1], "customer": "K1"}, wrong_age[2]))
    assert units(doubtful) == [0, 1, 2]
    assert doubtful.pairs["status"].tolist() == ["doubtful"]
    assert 0.20 <= doubtful.pairs["probability"][0] < 0.99
    assert "age does not fit" in doubtful.pairs["reasons"][0]


def test_two_identical_units_of_one_customer_stay_two() -> None:
    jobs = history(
        *({"unit_serial": serial, "customer": "K7"} for serial in ("88120", "88121") * 3)
    )
    assert units(link_units(jobs)) == [0, 1, 0, 1, 0, 1]
    far = history(*({"unit_serial": serial, "customer": "K7"} for serial in ("88120", "31966") * 3))
    assert units(link_units(far)) == [0, 1, 0, 1, 0, 1]


def test_a_job_without_serial_is_shared_out_between_the_units_it_could_be() -> None:
    alone = link_units(history({"unit_serial": "88120", "customer": "K7"}, {"customer": "K7"}))
    rivals = link_units(
        history(
            {"unit_serial": "88120", "customer": "K7"}, {"unit_serial": "31966", "customer": "K7"},
            {"customer": "K7"},
        )
    )  # fmt: skip
    assert units(alone)[1] == 1
    assert units(rivals) == [0, 1, 2]
    open_claims = rivals.pairs[rivals.pairs["job_id"] == "c"]
    assert len(open_claims) == 2
    assert open_claims["probability"].max() <= 0.5
    assert open_claims["probability"].sum() < 1
    assert "1 other unit is possible" in open_claims["reasons"].iloc[0]


@pytest.mark.parametrize(
    "first",
    [
        {"handed_back": "2013-03-02"},
        {"handed_back": None},
        {"ended_on": "2012-03-08", "ended_how": "scrapped"},
    ],
    ids=["still on the bench", "hand-back not recorded", "left service"],
)
def test_a_unit_that_could_not_have_come_is_not_linked(first: dict) -> None:
    jobs = history(
        {"unit_serial": "4471-B", "customer": "K7", **first},
        {"unit_serial": "4417-B", "customer": "K7"},
    )
    links = link_units(jobs)
    assert units(links) == [0, 1]
    assert links.pairs.empty


def test_a_mistyped_visit_between_two_others_is_linked_only_if_it_fits_between() -> None:
    rows = [{"unit_serial": serial, "customer": "K7"} for serial in ("447100B", "441700B")]
    fits = history(rows[0], rows[1], rows[0])
    assert units(link_units(fits)) == [0, 0, 0]
    overlaps = history(rows[0], {**rows[1], "handed_back": "2014-03-02"}, rows[0])
    assert units(link_units(overlaps)) == [0, 1, 0]


@pytest.mark.parametrize(
    ("age", "words"),
    [(3.9, "age fits"), (4.1, "age nearly fits"), (4.9, "age nearly fits"), (5.1, "not fit")],
)
def test_age_must_fit_the_time_between(age: float, words: str) -> None:
    """A year passes between the jobs: 3 years and up to one off fit, up to two nearly do."""
    jobs = history(
        {"unit_serial": "447100B", "customer": "K7"},
        {"unit_serial": "441700B", "customer": "K7", "unit_age_years": age},
    )
    assert words in link_units(jobs).pairs["reasons"][0]


def test_two_units_joined_by_others_are_checked_as_a_whole() -> None:
    """b fits a, and c fits a, but b and c were on the bench together."""
    rows = [{"unit_serial": s, "customer": "K7"} for s in ("447100B", "441700B", "474100B")]
    jobs = history(rows[0], {**rows[1], "handed_back": "2014-03-20"}, rows[2])
    links = link_units(jobs)
    assert links.unit_of_job[1] != links.unit_of_job[2]
    assert len(set(units(links))) == 2
    doubtful = links.pairs[links.pairs["status"] == "doubtful"]
    assert "on the bench twice at once" in doubtful["reasons"].iloc[0]


def test_the_job_without_serial_is_the_one_that_claims() -> None:
    """The first visit lost its serial; two later units could each be it, so neither is joined."""
    jobs = history(
        {"customer": "K7"}, {"unit_serial": "88120", "customer": "K7"},
        {"unit_serial": "31966", "customer": "K7"},
    )  # fmt: skip
    links = link_units(jobs, review_from=0.05)
    claims = links.pairs[links.pairs["earlier_job_id"] == "a"]
    assert len(claims) == 2
    assert claims["probability"].sum() < 1
    assert units(links) == [0, 1, 2]


def test_serials_that_each_came_twice_are_not_joined() -> None:
    rows = [{"unit_serial": serial, "customer": "K7"} for serial in ("447100B", "441700B")]
    links = link_units(history(rows[0], rows[1], rows[0], rows[1]))
    assert units(links) == [0, 1, 0, 1]
    assert links.pairs["status"].tolist() == ["doubtful"]
    assert "each of the two serials came more than once" in links.pairs["reasons"][0]


def test_a_chain_of_slips_does_not_join_serials_that_are_far_apart() -> None:
    serials = ("4471000B", "4417000B", "4417900B", "9417900B")
    jobs = history(*({"unit_serial": serial, "customer": "K7"} for serial in serials))
    links = link_units(jobs, link_at=0.5)
    assert units(links)[0] != units(links)[-1]
    assert units(links)[0] == units(links)[1]


def test_an_equal_serial_is_one_unit_whatever_the_model_is_called() -> None:
    jobs = history({"unit_serial": "882-7104"}, {"unit_serial": "8827104", "model": "Grill"})
    assert units(link_units(jobs)) == [0, 0]


def test_a_short_serial_is_one_unit_within_its_model_only() -> None:
    short = history(
        {"unit_serial": "12"}, {"unit_serial": "12", "model": "Grill"}, {"unit_serial": "12"}
    )
    links = link_units(short)
    assert units(links) == [0, 1, 0]
    assert links.pairs.empty


def test_one_serial_on_five_customers_at_once_is_a_word_for_none() -> None:
    five = [{"unit_serial": "SEE BOX", "customer": f"K{n}", "handed_back": None} for n in range(5)]
    links = link_units(history(*five))
    assert units(links) == [0, 1, 2, 3, 4]
    assert "SEEBOX" in next(n.text for n in links.notes if n.code == "filler_serials")


def test_one_serial_on_five_customers_in_turn_is_one_unit() -> None:
    jobs = history(*({"unit_serial": "SEE BOX", "customer": f"K{n}"} for n in range(5)))
    assert units(link_units(jobs)) == [0, 0, 0, 0, 0]


def test_postcode_counts_where_nobody_is_named() -> None:
    rows = [{"unit_serial": serial, "postcode": "Z1"} for serial in ("447100B", "441700B")]
    named = [{**row, "customer": name} for row, name in zip(rows, ("K1", "K2"), strict=True)]
    assert link_units(history(*rows)).pairs["status"].tolist() == ["linked"]
    assert link_units(history(*named)).pairs["status"].tolist() == ["doubtful"]


def test_a_person_overrides_the_odds() -> None:
    rows = [{"unit_serial": serial, "customer": "K7"} for serial in ("447100B", "441700B")]
    jobs = history(*rows, {"unit_serial": "447100B"}, {"unit_serial": "UN-9"})
    assert units(link_units(jobs)) == [0, 0, 0, 1]
    decisions = pd.DataFrame(
        {"job_id": ["b", "c", "d"], "earlier_job_id": ["a"] * 3, "same": [False, False, True]}
    )
    links = link_units(jobs, decisions=decisions)
    assert units(links)[0] == units(links)[3]
    assert units(links)[0] not in units(links)[1:3]
    decided = links.pairs[links.pairs["status"] == "decided"].set_index("job_id")
    assert decided["probability"].to_dict() == {"b": 0.0, "c": 0.0, "d": 1.0}
    assert units(relink(links, link_at=0.2))[0] not in units(links)[1:3]


@pytest.mark.parametrize(
    ("decisions", "message"),
    [
        ([("b", "a", True), ("c", "b", True), ("c", "a", False)], "contradict each other"),
        ([("z", "a", True)], "job_id 'z', which is not in the history"),
        ([("b", "z", True)], "earlier_job_id 'z', which is not in the history"),
        ([("b", "a", "perhaps")], "neither True nor False"),
    ],
)
def test_decisions_that_can_not_be_followed_are_refused(decisions: list, message: str) -> None:
    frame = pd.DataFrame(decisions, columns=["job_id", "earlier_job_id", "same"])
    with pytest.raises(RequestError, match=message):
        link_units(history({}, {}, {}), decisions=frame)
    with pytest.raises(RequestError, match="lack the columns same"):
        link_units(history({}, {}, {}), decisions=frame.drop(columns="same"))


@pytest.mark.parametrize("thresholds", [(0.2, 0.5), (1.1, 0.2), (0.99, 0.0)])
def test_thresholds_out_of_order_are_refused(thresholds: tuple[float, float]) -> None:
    link_at, review_from = thresholds
    with pytest.raises(RequestError, match="Give probabilities with"):
        link_units(SHOP, link_at=link_at, review_from=review_from)


def test_relinking_needs_the_odds() -> None:
    with pytest.raises(RequestError, match="given, not worked out"):
        relink(Links(np.array([0]), pd.DataFrame()))


@pytest.mark.parametrize("link_at", [0.20, 0.60, 0.95])
def test_relinking_is_linking_at_that_threshold(link_at: float) -> None:
    again = relink(link_units(SHOP), link_at=link_at)
    anew = link_units(SHOP, link_at=link_at)
    assert units(again) == units(anew)
    pd.testing.assert_frame_equal(again.pairs, anew.pairs)
    assert again.link_at == link_at


def test_what_hangs_on_doubtful_links_shows_in_the_count_of_units() -> None:
    links = link_units(SHOP)
    counts = [max(units(relink(links, link_at=at))) + 1 for at in (1.0, 0.99, 0.6, 0.2)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[-1]
    noted = {note.code: note.jobs for note in links.notes}
    assert noted["exact"] + noted["probable"] == 400 - max(units(links)) - 1
    assert noted["doubtful"] == (links.pairs["status"] == "doubtful").sum()


def test_units_are_numbered_in_order_of_first_appearance() -> None:
    numbers = link_units(SHOP).unit_of_job
    first = pd.Series(numbers).drop_duplicates().to_list()
    assert first == list(range(len(first)))


@settings(max_examples=8, deadline=None, derandomize=True)
@given(st.permutations(range(150)))
def test_row_order_does_not_change_which_jobs_are_together(order: list[int]) -> None:
    frame = SHOP.jobs.head(150)
    straight = link_units(History(frame), link_at=0.6)
    turned = link_units(History(frame.iloc[order].reset_index(drop=True)), link_at=0.6)
    back = np.empty(150, dtype=int)
    back[order] = turned.unit_of_job
    assert pd.factorize(back)[0].tolist() == units(straight)
    pd.testing.assert_frame_equal(straight.pairs, turned.pairs)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    st.sampled_from(["customer", "phone", "unit_age_years", "earlier_repair"]),
    st.integers(0, 20),
)
def test_an_agreement_never_lowers_the_probability(column: str, seed: int) -> None:
    shop, _ = invented_shop(60, seed)
    better = shop.jobs.copy()
    two = better.index[:2]
    better["job_id"] = ["before", "after", *better["job_id"][2:]]
    better.loc[two, "model"] = better["model"][0]
    better.loc[two, "received"] = pd.to_datetime(["2031-01-01", "2032-01-01"])
    better.loc[two, "handed_back"] = pd.to_datetime(["2031-01-02", "2032-01-02"])
    better.loc[two, "unit_serial"] = ["770431-Q", "770413-Q"]
    better.loc[two, ["customer", "phone", "postcode"]] = ["NEW1", "999111", pd.NA]
    better.loc[two, "unit_age_years"] = [3.0, 4.0]
    better.loc[two, "earlier_repair"] = ["never", "here"]
    worse = better.copy()
    against = {"customer": "NEW2", "phone": "888", "unit_age_years": 30.0}
    worse.loc[1, column] = against.get(column, "never")
    probability = [_probability(History(jobs)) for jobs in (better, worse)]
    assert probability[0] >= probability[1]
    # One of name and telephone may already say all that the two say together.
    assert column in ("customer", "phone") or probability[0] > probability[1]
    assert probability[0] > 0.2


def _probability(jobs: History) -> float:
    pairs = link_units(jobs, review_from=0.001).pairs
    chosen = pairs[(pairs["job_id"] == "after") & (pairs["earlier_job_id"] == "before")]
    return float(chosen["probability"].sum())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_mistyped_serials_of_a_small_shop_are_found(seed: int) -> None:
    jobs, truth = invented_shop(3000, seed, unread=0.0, together=0.05)
    precision, recall = precision_and_recall(jobs, link_units(jobs).unit_of_job, truth)
    assert precision > 0.98
    assert recall > 0.98


DOUBTFUL = "Pairs that may be one unit: chance stated, and share that were"
LINKING = "Linking 100,000 jobs, one serial in twenty mistyped"


@pytest.mark.slow
@pytest.mark.parametrize("together", [0.0, 0.1, 0.3])
def test_100_000_jobs_with_1_mistyped_in_20(together: float, measured) -> None:
    jobs, truth = invented_shop(100_000, 11, unread=0.0, together=together)
    precision, recall = precision_and_recall(jobs, link_units(jobs).unit_of_job, truth)
    bought = f"bought in a row: {together:.0%} of units"
    measured.row(LINKING, history=bought, precision=precision, recall=recall)
    assert precision > 0.98
    assert recall > 0.98


@pytest.mark.slow
@pytest.mark.parametrize("missing", [0.0, 0.015])
def test_100_000_jobs_of_the_invented_workshop(missing: float, measured) -> None:
    scenario = cafe_workshop(100_000, seed=7)
    paperwork = replace(scenario.paperwork, mistyped_share=0.05, missing_serial_share=missing)
    jobs, truth = generate(replace(scenario, paperwork=paperwork))
    found = link_units(jobs).unit_of_job
    precision, recall = precision_and_recall(jobs, found, np.asarray(truth.unit_of_job))
    workshop = f"invented workshop, {missing:.1%} of serials missing"
    measured.row(LINKING, history=workshop, precision=precision, recall=recall)
    assert precision > 0.98
    assert recall > 0.98


@pytest.mark.slow
def test_probabilities_are_what_they_say(measured) -> None:
    """In 100,000 jobs the pairs said to be one unit with probability p are so about p of the time.

    In each band of probability the true share is at most 0.02 below the mean stated one, and at
    most 0.15 above it (the odds err on the side of asking a person).
    """
    jobs, truth = invented_shop(100_000, 12, unread=0.03, together=0.1)
    pairs = link_units(jobs).pairs
    unit = pd.Series(truth, index=jobs.jobs["job_id"].astype("object"))
    right = unit[pairs["job_id"]].to_numpy() == unit[pairs["earlier_job_id"]].to_numpy()
    band = pd.cut(pairs["probability"], [0.2, 0.8, 0.99, 1.0], right=False, include_lowest=True)
    by_band = pd.DataFrame({"said": pairs["probability"], "true": right}).groupby(
        band, observed=True
    )
    means = by_band.mean()
    assert len(means) == 3
    for pairs_of, said, true in means.itertuples():
        chance = f"{pairs_of.left:.0%} to {pairs_of.right:.0%}"
        measured.row(DOUBTFUL, chance=chance, said_share=said, true_share=true)
    assert (means["true"] > means["said"] - 0.02).all()
    assert (means["true"] < means["said"] + 0.15).all()
    assert means["true"].iloc[-1] > 0.995


@pytest.mark.bench
@pytest.mark.parametrize("jobs", [100_000, 1_000_000])
def test_linking_speed(benchmark, jobs: int, measured) -> None:
    shop, _ = invented_shop(jobs, 3)
    benchmark.pedantic(link_units, args=(shop,), rounds=1, iterations=1)
    measured.seconds("linking units", benchmark, jobs=jobs)
