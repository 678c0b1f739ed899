"""Shapes of keepers and their tokens."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.fields import CountField, DayField, FlagField, TextField
from registry.api.serializers import StrictSerializer
from registry.keepers.choices import (
    MAX_RECOVERY_LENGTH,
    MAX_TOKEN_DAYS,
    MAX_TOKEN_LABEL_LENGTH,
)


class KeeperJoinSerializer(StrictSerializer):
    """Nothing is asked of a new keeper."""


class NewKeeperSerializer(serializers.Serializer[Any]):
    """A new keeper. The secrets are shown this once."""

    keeper = serializers.UUIDField()
    token = serializers.CharField(help_text="Send as `Authorization: Bearer <token>`.")
    recovery_code = serializers.CharField(help_text="Keep it apart from the token.")


class TokenInSerializer(StrictSerializer):
    """Another token; give at most one of the two expiries."""

    label = TextField(  # type: ignore[assignment] # the metaclass takes it: no attribute remains
        max_length=MAX_TOKEN_LABEL_LENGTH,
        required=False,
        allow_null=True,
        help_text="Your own words; shown to nobody else.",
    )
    expires_on = DayField(
        required=False, allow_null=True, help_text="Last day (UTC) on which it is taken."
    )
    expires_in_days = CountField(
        min=1, max=MAX_TOKEN_DAYS, required=False, allow_null=True, help_text="Instead of a day."
    )


class TokenSerializer(serializers.Serializer[Any]):
    """A token without its secret."""

    id = serializers.UUIDField()
    label = serializers.CharField(allow_null=True)  # type: ignore[assignment] # likewise
    starts_with = serializers.CharField(
        allow_null=True, help_text="First characters; null for a token from before they were kept."
    )
    created_on = serializers.DateField(help_text="Day (UTC).")
    last_used_on = serializers.DateField(
        allow_null=True, help_text="Day (UTC), never a time; null if it was never used."
    )
    expires_on = serializers.DateField(
        allow_null=True, help_text="Last day (UTC) on which it is taken; null if it has none."
    )
    expired = serializers.BooleanField()
    current = serializers.BooleanField(help_text="Whether this call came with it.")


class NewTokenSerializer(TokenSerializer):
    """A new token. The secret is shown this once."""

    token = serializers.CharField(help_text="Send as `Authorization: Bearer <token>`.")


class RecoveryInSerializer(StrictSerializer):
    """The code that joining, or the latest recovery, gave."""

    recovery_code = TextField(max_length=MAX_RECOVERY_LENGTH)
    revoke_tokens = FlagField(
        required=False, default=False, help_text="Revoke all tokens but the new one."
    )


class RecoveryCodeInSerializer(StrictSerializer):
    """Nothing is asked."""


class RecoveryCodeSerializer(serializers.Serializer[Any]):
    """A new recovery code, shown this once; the former one is no longer taken."""

    recovery_code = serializers.CharField()


class ErasureSerializer(serializers.Serializer[Any]):
    """That the keeper of a receipt was erased."""

    receipt = serializers.CharField(help_text="SHA-256 of the keeper's id, as text.")
    erased_on = serializers.DateField(help_text="Day (UTC).")
