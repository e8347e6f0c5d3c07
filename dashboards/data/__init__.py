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
    is_large,
    recent,
    standing,
    warm,
    warm_record,
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
    "is_large",
    "on_disk",
    "recent",
    "standing",
    "uploaded",
    "warm",
    "warm_record",
]
