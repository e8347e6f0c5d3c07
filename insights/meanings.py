"""What the numbers on the pages say, what they don't, and how they come about, for their owner."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Meaning:
    """Help beside one figure or table.

    Parameters
    ----------
    says
        What its numbers mean.
    not_that
        What they are easily taken for and do not mean.
    worked_out
        How they come about, in everyday words; the page names the method for a statistician.
    """

    says: str
    not_that: str
    worked_out: str


_SHARE_BACK = Meaning(
    "Of 100 hand-backs like these, so many are back for a fault by that day. The band, or the "
    "range in brackets, is where the true share plausibly lies, 95 times in 100.",
    "It is not comebacks divided by jobs, which makes young jobs look good. It says nothing of "
    "units that failed and were never brought back to us.",
    "Day by day: of the units still out and watched on a day, how many came back on it. These "
    "daily shares are strung together, so that a job followed for two months counts for two "
    "months. Below 10 jobs still watched nothing is said.",
)
_CAUSES = Meaning(
    "Of 100 hand-backs, so many are back for this root cause by that day, the other causes being "
    "at work as well. The causes add up to the whole.",
    "It is not what would happen if the other causes were gone: some of those units would then "
    "come back for this one.",
    "As the share back, each comeback counted under what the bench found on it; a comeback without "
    "a root cause counts as unknown and is never shared out.",
)
_ESTIMATES = Meaning(
    "How many more (+) or fewer (-) of 100 come back when the job is done this way instead of the "
    "other, on the same mix of jobs. Each line is another fair way of making the groups alike; the "
    "plain comparison stands beside them to show what that changes.",
    "It is no proof that the practice is the reason: a reason for choosing it that nobody wrote "
    "down can still be behind it.",
    "Each kind of job (model, age, condition, earlier repair and so on) is compared with its own "
    "kind, and the answers are averaged over the jobs named. The range comes from working it all "
    "out again on hundreds of records that could have been seen as well.",
)
_REVIEWED = Meaning(
    "Comebacks of a group for each one that the same mix of work usually brings in this shop: 1 is "
    "as usual, 2 twice as many. Groups with few jobs are pulled towards 1, as far as chance could "
    "have made them.",
    "It is no rank, and it is not whose fault it is: who gets the harder jobs in ways that no card "
    "records looks worse.",
    "From all other groups: how fast such jobs come back at each age. Added up over this group's "
    "jobs that is what to expect, and the comebacks seen are set against it.",
)
_QUOTE = Meaning(
    "For each term: how many of your next jobs will come back as claims, with a range that holds "
    "the count nine times in ten, what that costs a job, and what to charge for it.",
    "It is no promise for terms longer than the record carries (those are refused), and it says "
    "nothing of what the law makes you do beyond your own warranty.",
    "The share with a claim inside each term, times what claims cost by your bills; chance in "
    "the next so many jobs comes on top, and so does what isn't known about the share.",
)
_RESERVE = Meaning(
    "What claims may still cost on units that are inside their term today, by the month in which "
    "they fall due. The amount that is enough nine times in ten is the one to hold.",
    "It holds nothing for jobs not yet handed back, and the expected amount alone is too little "
    "about every other time.",
    "Each unit still out has a chance to come back in the rest of its term, given that it has not "
    "yet; the chances are added up, and each claim costs what a bill drawn from the record cost.",
)
_SCORE = Meaning(
    "Quotes and reserves as this program would have made them on past days, against what then "
    "came. Nine in ten should have held it.",
    "A good score is no guarantee of the next one: parts, people and customers change.",
    "The record is cut off on each past day, with what was known then, the forecast is made anew, "
    "and the months after it are counted.",
)
_SIGNALS = Meaning(
    "What came back faster than usual, further than chance goes about as often a year as you "
    "allow over all charts together, and since about when.",
    "A signal is a reason to look, and no proof. No signal is no proof of peace: a small lot "
    "can be bad and too few to tell.",
    "Each chart adds up comebacks and takes off those to be expected, and never goes below zero. "
    "How high it may climb is tried out on thousands of charts with nothing wrong.",
)
_RECALL = Meaning(
    "Units still out with the suspect part, the likeliest to come back first: their chance to come "
    "back in the rest of their term, and whether calling them in now costs less than waiting.",
    "It is not a list of bad units: most of them never come back. Where someone can be hurt, call "
    "them all in, whatever it costs.",
    "How fast such jobs come back at their age, times how much worse than expected the suspects "
    "did so far, over the days of the term that are left.",
)
_LEFT_OUT = Meaning(
    "How often what the checklist asks for was done each month, and how jobs without it fared "
    "against what such jobs usually bring.",
    "It does not show that leaving it was the reason: the page about practices weighs that.",
    "Comebacks of the jobs with, and without, against those the same mix of work lets one expect.",
)
_MONEY_OF_PRACTICE = Meaning(
    "How dear the practice may be before it loses money at the costs you set, and what it would be "
    "worth to know more before deciding.",
    "It is not a rule to follow: safety work is never weighed against money.",
    "Comebacks avoided, over all that the record allows, times what a comeback costs, less the "
    "part and the minutes.",
)
_BALANCE = Meaning(
    "How far apart the two groups were in what was known before the repair, before and after they "
    "were made alike; near zero is alike. Where both ways were never used on a kind of job, "
    "nothing can be compared.",
    "It speaks of what is on the cards only.",
    "The gap in each fact, in units of how much jobs differ in it anyway.",
)
_YEARS = Meaning(
    "Hand-backs of the last twelve months beside those of the twelve before, at the same age, and "
    "how many times as many came back as the change of work explains.",
    "It does not say why. A better year can be chance; the range says how far.",
    "Both years' shares are read at the same age; the ratio sets comebacks against what either "
    "year's mix of work lets one expect.",
)
_COSTS = Meaning(
    "What comebacks cost by root cause, as billed on the jobs that came back, and what halving "
    "each cause would save a year.",
    "It is not what you would save for sure: the range is that of chance in the bills alone.",
    "Costs on record added up; comebacks without a cost are counted and said, not guessed.",
)

MEANINGS: dict[str, Meaning] = {
    "share-back": _SHARE_BACK,
    "coming-back": _SHARE_BACK,
    "latest-months": Meaning(
        "What has come back of each month's hand-backs, how much of what will come has been seen, "
        "and what to expect in the end.",
        "A month with little seen is not a good month: it is a young one.",
        "How fast earlier months' jobs came back says how much of it is still to come at each age.",
    ),
    "root-causes": _CAUSES,
    "practice-estimates": _ESTIMATES,
    "practice-causes": Meaning(
        "Where the difference comes from, root cause by root cause; the parts add up to the whole.",
        "A cause that the practice can't touch should show nothing: if it does, the groups were "
        "different units.",
        "The same comparison, each comeback counted under its root cause.",
    ),
    "practice-payback": _MONEY_OF_PRACTICE,
    "practice-balance": _BALANCE,
    "practice-wear": Meaning(
        "Whether comebacks for these causes come faster the older the repair is.",
        "Without wear a sound part's renewal prevents nothing, whatever its age; and wear alone "
        "does not say that renewal pays.",
        "Comebacks for each day watched, by age of the repair, and a curve through them.",
    ),
    "practice-pair": Meaning(
        "One of a pair failed and was renewed: how often units come back for its partner, with the "
        "partner left in and with it renewed.",
        "Jobs were not dealt out by chance: a partner that looked worn was renewed more often.",
        "Share back for the partner's failure, the two ways of working beside each other.",
    ),
    "practice-others": Meaning(
        "Every other practice looked at in the same way. With many questions some differences come "
        "up by chance; the corrected p allows for that.",
        "What shows here is a question for next time, not an answer.",
        "The comparison above for each practice, corrected for how many were looked at.",
    ),
    "trial-looks": Meaning(
        "When to look at the trial, and how rare by chance its difference must be then to stop.",
        "Looking more often, or stopping at a difference that is smaller, makes chance look like "
        "an answer.",
        "Limits that let chance stop the trial wrongly once in twenty times over all looks.",
    ),
    "review-years": _YEARS,
    "review-months": Meaning(
        "Each month's hand-backs, read at the same age: the stronger the colour, the more of them "
        "were back by then.",
        "A month of few jobs jumps about by chance alone.",
        "The share back of each month by itself; blank where fewer than 10 jobs are old enough.",
    ),
    "review-ratios": _REVIEWED,
    "review-costs": _COSTS,
    "signals": _SIGNALS,
    "watch-level": _SIGNALS,
    "practice-use": _LEFT_OUT,
    "to-call-in": _RECALL,
    "warranty-terms": _QUOTE,
    "warranty-months": _RESERVE,
    "warranty-score": _SCORE,
    "attention": Meaning(
        "What in the record stands in the way of an answer, and how many jobs it touches.",
        "These jobs are not dropped unless it says so.",
        "Counted while the record was read and the units were recognised.",
    ),
    "doubtful-pairs": Meaning(
        "Two jobs that may be one unit although their serials differ, and how likely that is.",
        "They are kept apart in every answer until someone decides.",
        "How often such likenesses (a slip in the serial, the same customer, model and age) occur "
        "between jobs of one unit and between jobs of two.",
    ),
}
"""By the name of a figure or table on its page."""
