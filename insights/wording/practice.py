"""Whether a practice works and pays, in plain sentences."""

from __future__ import annotations

import numpy as np

from insights.evidence.ageing import WearEvidence
from insights.evidence.pairs import PairEvidence
from insights.evidence.result import JobsPerComeback, PracticeEvidence, RiskDifference
from insights.money.payback import Payback
from insights.wording import RETURNED_ONLY, Finding, amount_of, per_100, spoken, whole

POPULATIONS = {
    "not_yet": "the jobs not yet done so",
    "all": "all jobs",
    "done": "the jobs done so",
    "comparable": "the jobs that could have gone either way",
}
REFUSALS = {
    "too_early": "It is too early to tell",
    "switched_on": "This is before against after, weak evidence at best",
    "cannot_compare": "These groups can't be compared",
    "estimators_disagree": "No verdict: two fair ways of adjusting disagree",
    "different_units": "Don't believe this difference: the groups were different units",
}
ASSUMPTION = (
    "It holds if nothing that the record lacks drove both the choice and the comebacks, and if "
    "owners come back as readily either way."
)
CONTROLS = {
    "near_zero": "Causes it can't touch hardly differ, as they should: {difference}.",
    "differs": "Causes it can't touch differ too: {difference}. The groups were different units.",
    "says_little": "Causes it can't touch: {difference}. Too few to say whether the groups differ.",
    "not_asked": (
        "Name root causes that this practice can't touch: if they differ between the groups too, "
        "the groups were different units."
    ),
}


def of_practice(evidence: PracticeEvidence, pays: Payback | None = None) -> Finding:
    """Say what a practice changes, how surely, and whether it pays."""
    adjusted = evidence.adjusted
    what = f"{spoken('practice_' + evidence.practice)} {evidence.level}"
    for_cause = "" if evidence.cause is None else f" for {evidence.cause}"
    effect = (
        f"on {POPULATIONS[evidence.population]}, {what} instead of {evidence.against} means "
        f"{change(adjusted.difference)} comebacks{for_cause} per 100 by day {evidence.day:g} "
        f"({span(adjusted)})"
    )
    refusal = REFUSALS.get(evidence.verdict)
    if refusal is None:
        sentence = f"Like for like, {effect}. {jobs_per_comeback(evidence.jobs_per_comeback)}"
    else:
        sentence = f"{refusal}. As far as it goes: {effect}."
    if pays is not None:
        sentence += f" {of_money(pays, doubted=refusal is not None)}"
    return Finding(sentence, _caveats(evidence, pays))


def for_money(evidence: PracticeEvidence, pays: Payback) -> Finding:
    """Say whether a practice pays, by itself."""
    return Finding(of_money(pays, doubted=evidence.verdict in REFUSALS))


def of_pair(pair: PairEvidence) -> Finding:
    """Say what became of the partner of a failed part, left in or renewed."""
    partner = pair.table[pair.table["cause"] == pair.cause].set_index("level")
    left, renewed = partner.loc[pair.left], partner.loc[pair.renewed]
    verdict = {
        "fewer": "Renewed partners come back less, as the plain record goes.",
        "more": "Renewed partners come back more, as the plain record goes.",
        "too_few_to_call": "Too few to call.",
        "not_followed": "That day is past the follow-up.",
    }[pair.verdict]
    return Finding(
        f"Of jobs on which one {pair.failed} had failed, by day {pair.day:g}: partner done "
        f"{pair.left}, {whole(left['returns'])} of {whole(left['jobs'])} came back for "
        f"{pair.cause}; done {pair.renewed}, {whole(renewed['returns'])} of "
        f"{whole(renewed['jobs'])}. {verdict}",
        tuple(note.text for note in pair.notes),
    )


def of_wear(wear: WearEvidence) -> Finding:
    """Say whether a part wears out."""
    which = ", ".join(wear.causes)
    about = f"shape {wear.shape:.2f} ({wear.low:.2f} to {wear.high:.2f})"
    return Finding(
        {
            "wears_out": f"Yes: the longer since the repair, the higher the rate of comebacks for "
            f"{which} ({about}, above 1). Renewing in time can prevent failures.",
            "falls": f"No: the rate of comebacks for {which} falls with time since the repair "
            f"({about}, below 1). A new part is the greater risk; renewing a sound one is no "
            "prevention.",
            "no_sign": f"The record shows no sign of wear for {which} ({about}, around 1): an old "
            "part is as good as a new one, as far as it goes.",
            "too_few": f"Only {wear.returns} comebacks for {which}: too few to tell.",
        }[wear.verdict],
        tuple(note.text for note in wear.notes),
    )


def change(difference: float) -> str:
    """Say a difference in shares as fewer or more of 100."""
    return f"{per_100(abs(difference))} {'fewer' if difference < 0 else 'more'}"


def span(risk: RiskDifference) -> str:
    """Say an interval of a difference, spelling out both directions where it spans zero."""
    if np.isnan(risk.low) or np.isnan(risk.high):
        return "no honest range can be given"
    if risk.low < 0 < risk.high:
        return f"anywhere from {change(risk.low)} to {change(risk.high)}: the record can't tell"
    near, far = sorted((risk.low, risk.high), key=abs)
    return f"likely between {per_100(abs(near))} and {change(far)}"


def jobs_per_comeback(spread: JobsPerComeback) -> str:
    """Say how many jobs one comeback is spread over; no finite range where it may be none."""
    if not np.isnan(spread.low):
        verb = "avoided" if spread.jobs > 0 else "caused"
        near, far = sorted((abs(spread.low), abs(spread.high)))
        return (
            f"That is one comeback {verb} per {whole(abs(spread.jobs))} jobs "
            f"({whole(near)} to {whole(far)})."
        )
    parts = []
    if not np.isnan(spread.avoided_per):
        parts.append(f"at best one comeback is avoided per {whole(spread.avoided_per)} jobs")
    if not np.isnan(spread.caused_per):
        parts.append(f"at worst one is caused per {whole(spread.caused_per)}")
    text = ", ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def of_money(pays: Payback, *, doubted: bool = False) -> str:
    """Say whether it pays, how surely, and up to which price of the part."""
    if doubted:
        return "So it is not put to payback: there is no effect to count on."
    chance = _never_sure(pays.probability)
    verdict = {
        "pays": f"It pays: the chance is {chance}",
        "does_not_pay": f"It does not pay: the chance that it does is {chance}",
        "not_clear": f"Whether it pays is open: the chance is {chance}",
    }[pays.verdict]
    even = amount_of(pays.break_even_part_cost, pays.currency, 2)
    limit = (
        f"worth it while the part costs under {even}"
        if pays.break_even_part_cost > 0
        else "not worth it even with a free part"
    )
    # A loss reads as a loss on both sides of its range, never as a negative earning.
    gain, sign = ("earns", 1) if pays.net_per_job >= 0 else ("loses", -1)
    low, high = sorted((sign * pays.low, sign * pays.high))
    return (
        f"{verdict}. It {gain} {amount_of(abs(pays.net_per_job), pays.currency, 2)} a job "
        f"({low:.2f} to {high:.2f}); {limit}."
    )


def _never_sure(chance: float) -> str:
    """Write a chance worked out from draws, which never show that a thing is certain."""
    if chance > 0.99:
        return "over 99%"
    return "under 1%" if chance < 0.01 else f"{100 * chance:.0f}%"


def _caveats(evidence: PracticeEvidence, pays: Payback | None) -> tuple[str, ...]:
    crude = evidence.crude
    texts = [
        f"The plain comparison says {change(crude.difference)} per 100 ({span(crude)}); it mixes "
        "up the practice with who got it.",
        CONTROLS[evidence.control.verdict].format(
            difference=f"{change(evidence.control.risk.difference)} per 100 "
            f"({span(evidence.control.risk)})"
        ),
        ASSUMPTION,
    ]
    if evidence.e_value > 1:
        texts.append(
            "To explain it away, an unrecorded reason would have to make both the choice and the "
            f"comeback {evidence.e_value:.1f} times as likely (E-value; "
            f"{evidence.e_value_limit:.1f} for the nearer end of the range)."
        )
    if len(evidence.incomparable):
        listed = ", ".join(
            f"{row.covariate} {row.value}" for row in evidence.incomparable.head(5).itertuples()
        )
        texts.append(f"Always or never done for {listed}: these tell nothing about the practice.")
    remarks = evidence.notes if pays is None else (*evidence.notes, *pays.notes)
    return (*texts, *dict.fromkeys(note.text for note in remarks), RETURNED_ONLY)


def whose(population: str) -> str:
    """Say whose jobs an estimate is of."""
    return {
        "as done": "as done",
        "not_yet": "jobs not yet done so",
        "all": "all jobs",
        "done": "jobs done so",
        "comparable": "comparable jobs",
    }.get(population, population)
