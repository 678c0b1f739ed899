"""Not written yet: account."""

from registry.pages.views.base import PageView


class AccountView(PageView):
    """Not written yet."""


class TokensView(PageView):
    """Not written yet."""


class ExportView(PageView):
    """Not written yet."""


class EraseView(PageView):
    """Not written yet."""


class RecoverView(PageView):
    """Not written yet."""


class ErasedView(PageView):
    """Not written yet."""
