"""How the program was checked, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from insights.checked import Checked, Measured
from insights.wording import Finding, counted, day_of, whole

FROM_MEMORY = "from memory"
SMALLEST = 1e-9
MILLIONTH = 1e-6
HUNDREDTH = 0.01
LIBRARIES = ("lifelines", "scikit-learn", "scikit-survival", "scipy", "statsmodels")
ROOMS = {
    "history": "Reading a record, and which jobs are one unit",
    "survival": "Share back, root causes, repeats",
    "evidence": "Does it work?",
    "money": "Warranties and money",
    "reviewing": "Better or worse",
    "bench": "At the bench",
    "synthetic": "The invented workshop",
    "": "The whole program, from a file to an answer",
}
FARTHEST = (
    "Of several values compared at once, the one with the largest difference is shown, and counts "
    "above; a smaller value among them can be farther off next to its own size."
)
CAVEATS = (
    "What agrees is the arithmetic, mostly on the sources' own data. It does not show that a "
    "record is complete, or that the jobs compared were alike.",
    "A test fails where a difference is larger than allowed, and this list is written only when "
    "every test passes. So it shows what was compared, and how closely; it is no score.",
    "A library is a second way to the same number. It is independent of this program, but not "
    "always of the textbook.",
)
RECOVERY = (
    "Workshops were invented whose truth is known, and it was counted how often the ranges "
    "stated held it. A 95% range should hold it about 95 times in 100."
)
SPEED = "Times are of the machine of that day; a table names the number of jobs."


def of_checked(checked: Checked) -> Finding:
    """Say how many outside values agree."""
    rows = checked.outside
    by_library = rows["work"].isin(LIBRARIES)
    libraries, printed = rows[by_library], rows[~by_library]
    sentence = (
        f"{counted(int(printed['values'].sum()), 'value', 'values')} from "
        f"{counted(printed['work'].nunique(), 'outside source', 'outside sources')}, and "
        f"{whole(libraries['values'].sum())} that "
        + counted(libraries["work"].nunique(), "general library works", "general libraries work")
        + " out in their own way, agree with ours, each as closely as was asked of it."
    )
    remembered = int(rows["source"].str.contains(FROM_MEMORY).sum())
    caveat = (
        f"{remembered} of {len(rows)} comparisons are with values known from memory of the source; "
        "they say so.",
    )
    return Finding(sentence, (*CAVEATS, *(caveat if remembered else ())))


def of_closeness(checked: Checked) -> str:
    """Say when, how closely the comparisons agree, and which is farthest off."""
    rows = checked.outside
    parts = _parts(rows)
    close, far = parts <= MILLIONTH, parts > HUNDREDTH
    texts = [
        f"Checked {dates_of(rows['date'])}. {whole(close.sum())} of the {whole(len(rows))} "
        f"comparisons agree to within a millionth of the value, {whole(far.sum())} differ by more "
        "than a hundredth. What was allowed stands beside each: a part of the value, the digits "
        "a source prints, whole counts, or what drawing at random or stopping early makes unsure."
    ]
    if parts.max() > 0:
        row = rows.loc[parts.idxmax()]
        texts.append(
            f"Farthest off, next to its own size, is a value of '{row['what']}': "
            f"{_short(row['expected'])} there, {_short(row['found'])} here, "
            f"{allowed(row['allowed_abs'], row['allowed_rel'])} allowed."
        )
        if _as_printed(row["found"], row["expected"]):
            texts.append("Rounded to the decimals that the source prints, both are the same.")
    return " ".join(texts)


def of_measured(table: Measured) -> str:
    """Say when a table was measured."""
    return f"Measured {dates_of(table.dates)}."


def of_runs(checked: Checked) -> tuple[str, ...]:
    """Say for each run when it was, of what, and with which versions."""
    return tuple(
        f"{day_of(pd.Timestamp(run.date))}, commit {_commit(run.commit)}: Python {run.python}, "
        f"{run.processors} processors; "
        + ", ".join(f"{name} {version}" for name, version in run.libraries.items())
        + "."
        for run in checked.runs.itertuples(index=False)
    )


def dates_of(dates: Iterable[pd.Timestamp]) -> str:
    """Say on which day, or between which days."""
    first, last = min(dates), max(dates)
    if first == last:
        return f"on {day_of(first)}"
    return f"from {day_of(first)} to {day_of(last)}"


def number(value: float) -> str:
    """Write a number in full, never with an exponent."""
    return np.format_float_positional(float(f"{value:.9g}"), trim="-")


def _short(value: float) -> str:
    """Write a number to the digits that one compares at sight."""
    return number(float(f"{value:.3g}"))


def apart(difference: float) -> str:
    """Write a difference, or that there is none to speak of."""
    if difference == 0:
        return "none"
    return number(difference) if difference >= SMALLEST else f"below {number(SMALLEST)}"


def allowed(absolute: float, relative: float) -> str:
    """Say how large a difference may be."""
    if pd.isna(absolute):
        return f"{number(100 * relative)}%"
    return number(absolute) if absolute else "none"


def _parts(rows: pd.DataFrame) -> pd.Series:
    """Set each difference against its value; nothing where it is too small to speak of."""
    found = rows["difference"].where(rows["difference"] > SMALLEST, 0.0)
    return found.where(found == 0, found / rows["expected"].abs())


def _as_printed(found: float, printed: float) -> bool:
    """Tell whether a value, rounded to the decimals of one in print, is that one."""
    decimals = len(number(printed).partition(".")[2])
    return number(round(found, decimals)) == number(printed)


def _commit(named: str) -> str:
    return f"{named.removesuffix('-dirty')} with changes" if named.endswith("-dirty") else named
