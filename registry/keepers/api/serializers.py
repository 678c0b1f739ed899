"""Shapes of keepers."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.serializers import StrictSerializer


class KeeperJoinSerializer(StrictSerializer):
    """Nothing is asked of a new keeper."""


class NewKeeperSerializer(serializers.Serializer[Any]):
    """A new keeper. The secrets are shown this once."""

    keeper = serializers.UUIDField()
    token = serializers.CharField(help_text="Send as `Authorization: Bearer <token>`.")
    recovery_code = serializers.CharField(help_text="Keep it apart from the token.")


class KeeperSerializer(serializers.Serializer[Any]):
    """A keeper's own record."""

    keeper = serializers.UUIDField()
    joined_on = serializers.DateField(help_text="Day (UTC).")
    clutches = serializers.IntegerField(help_text="Clutches reported and not withdrawn.")
    pairings = serializers.IntegerField(help_text="Pairings declared.")
