"""Not written yet: report."""

from registry.pages.views.base import PageView


class ReportView(PageView):
    """Not written yet."""


class DraftView(PageView):
    """Not written yet."""
