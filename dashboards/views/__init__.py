"""Pages: selection, result, figure, wording."""

from dashboards.views import causes, comebacks, practice, record, standing

__all__ = ["causes", "comebacks", "practice", "record", "standing"]
