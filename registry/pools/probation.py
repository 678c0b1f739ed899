"""Which keepers count towards a flag: not those who have just come."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.db.models import Count, QuerySet
from django.utils import timezone

from registry.keepers.models import Keeper


def keepers_established() -> QuerySet[Keeper]:
    """Keepers whose probation is over: everybody where it is lifted."""
    days = settings.BROODCOUNT_KEEPER_PROBATION_DAYS
    if not days:
        return Keeper.objects.all()
    since = timezone.now() - timedelta(days=days)
    return (
        Keeper.objects.filter(joined_at__lte=since)
        .annotate(n_reported=Count("clutches"))
        .filter(n_reported__gte=settings.BROODCOUNT_KEEPER_PROBATION_CLUTCHES)
    )
