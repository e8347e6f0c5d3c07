"""The bench in plain sentences: readings, claims, two codings."""

from __future__ import annotations

import pandas as pd

from insights.bench.agreement import Agreement
from insights.bench.cautions import cautions_for
from insights.bench.claims import Claim
from insights.bench.limits import Judged, Judgement
from insights.bench.readings import PROTECTIONS, Limit
from insights.history.schema import BY_NAME
from insights.wording import STATUTORY, Finding
from insights.wording.plain import spoken

UNITS = {"c": "°C", "mohm": "MΩ", "ohm": "Ω", "ma": "mA", "w": "W", "v": "V", "a": "A", "s": "s"}
FIELD_WORDS = {
    "job_id": "job",
    "unit_serial": "serial number",
    "unit_age_years": "age in years",
    "phone": "telephone",
    "complaint": "what the customer says",
    "notes": "notes from the bench",
    "notified": "fault first reported",
    "earlier_repair": "repaired before",
    "earlier_work": "state of earlier work",
    "cause_removed": "put right",
    "technician": "done by",
    "bench_minutes": "minutes on the bench",
    "parts_cost": "cost of the parts",
    "term_days": "our warranty, in days",
    "claim_cost": "what it cost us",
    "ended_on": "left service",
    "ended_how": "how it left service",
}
FACT_WORDS = {
    "in_term": "reported inside the term",
    "relation": "relation to the earlier job",
    "same_cause": "same root cause as the earlier job",
    "our_site": "the fault sits where we worked",
    "our_part": "a part or lot we fitted failed",
    "evidence": "what seal and photos show",
}

RULES = {
    "band": "a target and how far from it",
    "minimum": "a minimum",
    "maximum": "a maximum",
    "earth_by_length": "earth continuity, by length of lead",
    "earth_by_lead": "earth continuity, by resistance of lead",
    "per_kilowatt": "leakage by heating power",
    "nominal": "a nominal value with a tolerance",
    "element": "a heating element, from its rating",
}
NUMBERS = {
    "aim": "Target",
    "half_band": "How far to either side",
    "least": "At least",
    "most": "At most",
    "lead_m": "Length of the lead, m",
    "lead_ohm": "Resistance of the lead's earth, Ω",
    "power_w": "Rated power, W",
    "ma_per_kw": "mA for each kW",
    "most_ma": "Never more than, mA",
    "nominal": "Nominal value",
    "under_share": "How far below, %",
    "over_share": "How far above, %",
    "voltage_v": "Rated voltage, V",
    "elements": "Equal elements in parallel",
}
ELEMENT_NUMBERS = NUMBERS | {
    "power_w": "Rated power of all elements together, W",
    "under_share": "Power below its rating, %",
    "over_share": "Power above its rating, %",
}
EVIDENCE = {
    "as_we_left_it": "as we left it",
    "opened_since": "opened or damaged since",
    "unknown": "can't be told",
}


def in_words(code: str) -> str:
    """Write a code as words: ``no_fault_found`` as "no fault found"."""
    return code.replace("_", " ")


def field_words(name: str) -> str:
    """Name a field of a job as the bench says it: ``reading_plate_c`` is "plate, °C"."""
    if name.startswith("reading_"):
        quantity, _, unit = name.removeprefix("reading_").rpartition("_")
        return f"{in_words(quantity)}, {UNITS.get(unit, unit)}"
    return FIELD_WORDS.get(name, spoken(name))


def value_words(name: str, text: str) -> str:
    """Write what a field holds; of a fixed list in words, else as it was typed."""
    known = BY_NAME.get(name)
    return in_words(text) if known is not None and known.kind == "choice" else text


def of_reading(line: Judged) -> str:
    """Say of one reading whether it is in, by how much, and what to do."""
    name = in_words(line.quantity).capitalize()
    unit = UNITS.get(line.unit, line.unit)
    if line.limit is None:
        assert line.reading is not None
        return f"{name} {line.reading.value:g} {unit}: no limit is set, so it is kept, not judged."
    allowed = allowed_words(line)
    if line.reading is None:
        if line.blocks:
            return f"{name}: not measured. Measure it before hand-back ({allowed})."
        return f"{name}: not measured ({allowed})."
    read = f"{name} {line.reading.value:g} {unit}"
    if line.verdict == "in":
        return f"{read}: in ({allowed}{_place(line)})."
    meaning = line.limit.rule.meaning(line.reading.value)
    points = f" It {meaning}." if meaning else ""
    return f"{read}: out ({allowed}{_place(line)}).{points} Put it right and measure again."


def allowed_words(line: Judged) -> str:
    """Say what a line's limit allows, such as "190 to 210 °C" or "at least 1 MΩ"."""
    return "no limit" if line.limit is None else allowed_by(line.limit)


def allowed_by(limit: Limit) -> str:
    """Say what a limit allows; see :func:`allowed_words`."""
    rule, unit = limit.rule, UNITS.get(limit.unit, limit.unit)
    if rule.low is not None and rule.high is not None:
        text = f"{rule.low:.4g} to {rule.high:.4g} {unit}"
    elif rule.low is not None:
        text = f"at least {rule.low:.4g} {unit}"
    else:
        text = f"at most {rule.high:.4g} {unit}"
    return f"{text}: {rule.basis}" if rule.basis else text


def limit_words(limit: Limit) -> str:
    """Name a limit in a line, such as "plate: 190 to 210 °C (grill)"."""
    whom = ", ".join(part for part in (limit.model, PROTECTIONS.get(limit.protection, "")) if part)
    return f"{in_words(limit.quantity)}: {allowed_by(limit)} ({whom or 'every unit'})"


def _place(line: Judged) -> str:
    if line.half_bands is None or line.limit is None or line.limit.rule.target is None:
        return ""
    side = "above" if line.half_bands > 0 else "below"
    if abs(line.half_bands) < 0.005:
        return "; on target"
    return f"; {abs(line.half_bands):.0%} of the way to the limit, {side} target"


def of_judgement(judgement: Judgement) -> Finding:
    """Say whether a unit may leave, line by line, with what to keep in mind."""
    lines = " ".join(of_reading(line) for line in judgement.lines)
    cautions = cautions_for([line.quantity for line in judgement.lines])
    notes = [note.text for note in judgement.notes]
    return Finding(f"{of_verdict(judgement)} {lines}".strip(), (*notes, *cautions))


def of_verdict(judgement: Judgement) -> str:
    """Say whether a unit may leave, and what holds it back."""
    if not judgement.lines:
        return "Nothing was measured, and nothing is asked for."
    if judgement.may_be_handed_back:
        return "Nothing measured holds this unit back."
    held = ", ".join(in_words(line.quantity) for line in judgement.blocking)
    return (
        f"This unit can't be handed back for use: {held}. Put it right and measure again, or "
        "mark it as not returned to use and say why."
    )


def of_claim(claim: Claim) -> Finding:
    """Say what is proposed and why, as in "Proposed: covered. Same contact, day 41 of 180"."""
    known = _known(claim)
    facts = f" {known[0].upper()}{known[1:]}." if known else ""
    return Finding(
        f"Proposed: {claim.proposal}.{facts} {claim.reason} The decision is yours.", (STATUTORY,)
    )


def _known(claim: Claim) -> str:
    facts, parts = claim.facts, []
    cause = in_words(claim.cause)
    if facts.same_cause == "yes":
        parts.append(f"same {cause}" if cause else "same cause")
    elif cause:
        parts.append(cause)
    said = {
        "our_part": {"yes": "our part", "no": "not our part"},
        "our_site": {"yes": "where we worked", "no": "not where we worked"},
        "evidence": {"as_we_left_it": "as we left it", "opened_since": "opened since"},
    }
    for name, words in said.items():
        value = getattr(facts, name)
        if value in words:
            parts.append(words[value])
    if claim.day is not None and claim.term_days is not None:
        parts.append(f"day {claim.day} of {claim.term_days}")
    elif claim.day is not None:
        parts.append(f"day {claim.day}, no term recorded")
    return ", ".join(parts)


def of_agreement(agreement: Agreement) -> Finding:
    """Say how far two people coding apart agree."""
    if not agreement.jobs:
        return Finding("No comeback has been coded by two people yet.")
    coded = "1 comeback" if agreement.jobs == 1 else f"{agreement.jobs} comebacks"
    sentence = (
        f"Two people coded {coded} apart: {agreement.alike} alike "
        f"({agreement.agree_share:.0%}; {agreement.agree_low:.0%} to {agreement.agree_high:.0%})."
    )
    if pd.notna(agreement.kappa):
        sentence += (
            f" Of the accord that chance alone would not give, they reach {agreement.kappa:.0%} "
            f"({agreement.kappa_low:.0%} to {agreement.kappa_high:.0%}; Cohen's kappa "
            f"{agreement.kappa:.2f})."
        )
    return Finding(sentence, tuple(note.text for note in agreement.notes))


def number_words(rule: str) -> dict[str, str]:
    """Name the numbers of a kind of limit, as a form asks for them."""
    return ELEMENT_NUMBERS if rule == "element" else NUMBERS


def of_waiting(waiting: pd.DataFrame) -> Finding:
    """Say how many comebacks wait for a decision, and how long.

    Parameters
    ----------
    waiting
        Of :func:`insights.bench.comebacks.undecided`.
    """
    if waiting.empty:
        return Finding("No comeback waits for a decision.")
    count, longest = len(waiting), int(waiting["waiting_days"].max())
    wait = "comeback waits" if count == 1 else "comebacks wait"
    days = "1 day" if longest == 1 else f"{longest} days"
    return Finding(f"{count} {wait} for a decision, the longest for {days}.")


def of_doubts(count: int) -> Finding:
    """Say how many pairs of jobs are in doubt."""
    if not count:
        return Finding("No pair of jobs is in doubt.")
    pairs = "pair of jobs may be one unit" if count == 1 else "pairs of jobs may be one unit"
    return Finding(f"{count} {pairs}; each is kept apart until someone decides.")


def of_pair(reasons: str, probability: float) -> str:
    """Say how likely two jobs are one unit, and why."""
    return f"About {probability:.0%} likely to be one unit: {reasons}."
