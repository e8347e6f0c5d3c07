"""The dashboard: the same answers as the command line, on screen."""

from dashboards.launching import launch

__all__ = ["launch"]
