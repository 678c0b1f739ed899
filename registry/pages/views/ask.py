"""Not written yet: ask."""

from registry.pages.views.base import PageView


class AskView(PageView):
    """Not written yet."""


class AnswerView(PageView):
    """Not written yet."""


class EvidenceOverTimeView(PageView):
    """Not written yet."""


class EvidencePictureView(PageView):
    """Not written yet."""
