"""Not written yet: own."""

from registry.pages.views.base import PageView


class ClutchesView(PageView):
    """Not written yet."""


class ClutchView(PageView):
    """Not written yet."""


class ReviseView(PageView):
    """Not written yet."""


class WithdrawView(PageView):
    """Not written yet."""


class DuplicatesView(PageView):
    """Not written yet."""
