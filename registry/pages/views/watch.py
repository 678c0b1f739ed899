"""Not written yet: watch."""

from registry.pages.views.base import PageView


class WatchView(PageView):
    """Not written yet."""
