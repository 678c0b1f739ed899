"""Not written yet: pairings."""

from registry.pages.views.base import PageView


class PairingsView(PageView):
    """Not written yet."""


class DeclareView(PageView):
    """Not written yet."""
