"""Not written yet: suggestions."""

from registry.pages.views.base import PageView


class SuggestionsView(PageView):
    """Not written yet."""
