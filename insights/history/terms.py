"""When a fault was reported inside a job's own term: the one rule, for the clock and the bench."""

from __future__ import annotations

import numpy as np
import pandas as pd


def reported_inside(
    handed_back: pd.Series, term_days: pd.Series, notified: pd.Series, received: pd.Series
) -> pd.Series:
    """Say which comebacks were reported by the last day of the term.

    Parameters
    ----------
    handed_back, term_days
        Hand-back and term of the earlier job.
    notified, received
        The day the customer reported the fault, and the day the unit arrived, which stands in
        where no report was recorded.

    Returns
    -------
    pandas.Series
        True on or before the last day, which is ``term_days`` after the hand-back; False after
        it, and where hand-back or term is not recorded.
    """
    # Days are compared, not dates: pandas rounds memory that it never filled where it makes spans
    # of time out of numbers some of which are missing, and at times warns of what it finds there.
    days = (notified.fillna(received) - handed_back) / pd.Timedelta(days=1)
    return days <= term_days.astype(float)


def day_of_term(
    handed_back: pd.Timestamp, notified: pd.Timestamp | None, received: pd.Timestamp
) -> int:
    """Count whole days from the hand-back to the report, or to the arrival without one."""
    reported = received if notified is None or pd.isna(notified) else notified
    return int(np.floor((reported - handed_back) / pd.Timedelta(days=1)))
