"""Facts about a job to group or choose by, as questions to the database.

The same facts under the same names as :meth:`insights.followup.Followup.values` gives.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import CTE, ColumnElement, Text, case, cast, func, literal
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import GenericFunction

from insights.errors import RequestError
from insights.grouping import AGE_BAND_EDGES_YEARS, DERIVED, NOT_RECORDED, STEPS, age_band_labels
from insights.history.book.tables import FAMILIES, versions
from insights.history.schema import column
from insights.survival.clock_in_book import repair_number

Expression = ColumnElement[Any]


class _FamilyValue(GenericFunction[str]):
    """One of the open columns, out of the text they are kept in; null where it is not there."""

    type = Text()
    name = "family_value"
    inherit_cache = True


@compiles(_FamilyValue, "sqlite")
def _in_a_file(element: Any, compiler: Any, **words: Any) -> str:
    kept, name = (compiler.process(part, **words) for part in element.clauses)
    return f"json_extract({kept}, '$.' || {name})"


@compiles(_FamilyValue, "postgresql")
def _on_a_server(element: Any, compiler: Any, **words: Any) -> str:
    kept, name = element.clauses
    return (
        f"(CAST({compiler.process(kept, **words)} AS JSON) ->> {compiler.process(name, **words)})"
    )


def recorded(name: str) -> Expression:
    """Write a fact that the record holds, over ``versions``.

    Parameters
    ----------
    name
        A column to group by, or a derived fact; of those, what it is derived from.

    Raises
    ------
    RequestError
        There is no such column, or it is not one to group by.
    """
    if name == "age_band":
        return versions.c.unit_age_years
    if name in DERIVED:  # from the day of hand-back, or from the unit's other jobs
        return cast(literal(None), Text)
    described = column(name)
    if described is None or (described.kind not in ("code", "choice") and name not in STEPS):
        raise RequestError(
            f"Can't group by '{name}'. Give a column of codes or choices, or one of: "
            f"{', '.join((*STEPS, *DERIVED))}."
        )
    if name.startswith(FAMILIES):
        return _FamilyValue(versions.c.families, cast(literal(name), Text))
    return versions.c[name]


def value(name: str, clocks: CTE) -> Expression:
    """Write a fact's value as text, over rows of the clock that carry :func:`recorded`."""
    fact = clocks.c[name]
    if name == "age_band":
        label = _age_band(fact)
    elif name == "repair_number":
        number = repair_number(clocks)
        label = case((number >= 3, "3+"), else_=cast(number, Text))
    elif name in DERIVED:
        label = _period(name, clocks.c.handed_back_day)
    else:
        label = cast(fact, Text)
    return func.coalesce(label, NOT_RECORDED)


def order_of(name: str, values: list[str]) -> list[str]:
    """Put a fact's values into the order of its groups: what is not recorded comes last."""
    bands = age_band_labels() if name == "age_band" else []
    place = {band: float(number) for number, band in enumerate(bands)}
    if name in STEPS:
        place = {label: float(label) for label in values if label != NOT_RECORDED}
    return sorted(values, key=lambda label: (label == NOT_RECORDED, place.get(label, 0), label))


def _age_band(years: Expression) -> Expression:
    labels = age_band_labels()
    edges = AGE_BAND_EDGES_YEARS[1:]
    below = [(years < edge, label) for edge, label in zip(edges, labels, strict=False)]
    return case((years.is_(None), None), *below, else_=labels[-1])


def _period(name: str, day: Expression) -> Expression:
    """Write a day's month, quarter or year, by arithmetic that every engine has.

    Days are counted in years that begin in March, as leap days then come last.
    """
    shifted = day + 719_468  # from 1 March of the year 0
    era = shifted // 146_097  # of 400 years
    in_era = shifted - era * 146_097
    year_of_era = (in_era - in_era // 1460 + in_era // 36_524 - in_era // 146_096) // 365
    in_year = in_era - (365 * year_of_era + year_of_era // 4 - year_of_era // 100)
    from_march = (5 * in_year + 2) // 153
    month = case((from_march < 10, from_march + 3), else_=from_march - 9)
    year = year_of_era + era * 400 + case((from_march < 10, 0), else_=1)
    written = cast(year, Text)
    if name == "year":
        return written
    if name == "quarter":
        return written + "Q" + cast((month + 2) // 3, Text)
    return written + "-" + case((month < 10, literal("0")), else_="") + cast(month, Text)
