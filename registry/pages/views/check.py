"""Not written yet: check."""

from registry.pages.views.base import PageView


class CheckView(PageView):
    """Not written yet."""
