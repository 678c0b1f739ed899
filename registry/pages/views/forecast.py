"""Not written yet: forecast."""

from registry.pages.views.base import PageView


class ForecastView(PageView):
    """Not written yet."""
