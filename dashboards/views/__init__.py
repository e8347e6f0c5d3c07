"""Pages: selection, result, figure, wording."""

from dashboards.views import causes, comebacks, record, standing

__all__ = ["causes", "comebacks", "record", "standing"]
