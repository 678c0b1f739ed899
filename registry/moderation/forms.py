"""The page that asks a moderator for the reason."""

from __future__ import annotations

from django import forms

from registry.errors import ContradictionError
from registry.moderation.choices import MAX_REASON_LENGTH
from registry.moderation.services import reason_checked


class ReasonForm(forms.Form):
    """Why something is done."""

    reason = forms.CharField(
        max_length=MAX_REASON_LENGTH,
        widget=forms.Textarea(attrs={"rows": 3, "cols": 80}),
        help_text="Kept in the audit trail for good. Whoever is held reads it.",
    )

    def clean_reason(self) -> str:
        """The reason as it is kept."""
        try:
            return reason_checked(self.cleaned_data["reason"])
        except ContradictionError as error:
            raise forms.ValidationError(error.message) from error
