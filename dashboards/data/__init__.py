"""What the pages show, kept between clicks: the only home of caching."""

from dashboards.data.answers import (
    Facts,
    causes,
    curves,
    curves_if_doubtful_are_linked,
    facts,
    followup,
    headings,
    history,
    recent,
    standing,
    warm,
)
from dashboards.data.sources import (
    Source,
    again,
    first_source,
    in_book,
    invented,
    on_disk,
    uploaded,
)

__all__ = [
    "Facts",
    "Source",
    "again",
    "causes",
    "curves",
    "curves_if_doubtful_are_linked",
    "facts",
    "first_source",
    "followup",
    "headings",
    "history",
    "in_book",
    "invented",
    "on_disk",
    "recent",
    "standing",
    "uploaded",
    "warm",
]
