"""Prometheus metrics: the requests as counted by every process, the registry as it stands."""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Iterator
from typing import Final

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.db.models import Count, F, Q
from django.http import HttpRequest, HttpResponse
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from registry.clutches.models import Clutch
from registry.keepers.models import Keeper
from registry.operation.health import PATIENCE_MILLISECONDS
from registry.pools.choices import Source
from registry.pools.models import PooledTarget
from registry.pools.services import flagged_targets

_FORWARDED: Final = ("HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED", "HTTP_X_REAL_IP")


def metrics_answer(request: HttpRequest) -> HttpResponse | None:
    """The metrics; None if they are off or this caller may not see them."""
    if not settings.BROODCOUNT_METRICS or not _may_see(request):
        return None
    registry = CollectorRegistry()
    if settings.BROODCOUNT_METRICS_DIR is None:
        registry.register(_Process())
    else:
        MultiProcessCollector(registry, path=settings.BROODCOUNT_METRICS_DIR)  # type: ignore[no-untyped-call]
    registry.register(RegistryCollector())
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


def _may_see(request: HttpRequest) -> bool:
    """With a token set, whoever sends it; else programs on this machine.

    What a proxy on this machine forwards comes from here as well, and is somebody else's: it
    bears a forwarding header.
    """
    if token := settings.BROODCOUNT_METRICS_TOKEN:
        stated = request.META.get("HTTP_AUTHORIZATION", "")
        return hmac.compare_digest(stated.encode(), f"Bearer {token}".encode())
    if any(name in request.META for name in _FORWARDED):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


class _Process(Collector):
    """What this one process counted."""

    def collect(self) -> Iterator[object]:  # type: ignore[override]
        """All of it."""
        return iter(REGISTRY.collect())


class RegistryCollector(Collector):
    """The registry in numbers, asked of the database at each scrape: eight statements at most.

    No label names a keeper, an animal or a clutch.
    """

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """One gauge each; if the database does not answer, only that."""
        up = GaugeMetricFamily("broodcount_database_up", "1 if the database answers.")
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(f"SET LOCAL statement_timeout = {PATIENCE_MILLISECONDS}")
                counted = list(_counted())
        except DatabaseError:
            connection.close()
            up.add_metric([], 0)
            yield up
            return
        up.add_metric([], 1)
        yield up
        yield from counted


def _counted() -> Iterator[GaugeMetricFamily]:
    by = Clutch.objects.aggregate(
        published=Count("pk", filter=Q(keeper__isnull=True)),
        keepers=Count("pk", filter=Q(keeper__isnull=False)),
    )
    clutches = GaugeMetricFamily(
        "broodcount_clutches", "Clutches stored, by whose they are.", labels=["source"]
    )
    for source in Source:
        clutches.add_metric([source.value], by[source.value])
    yield clutches
    yield GaugeMetricFamily("broodcount_keepers", "Keepers.", Keeper.objects.count())
    yield GaugeMetricFamily(
        "broodcount_targets_stale",
        "Combinations with reports newer than their evidence; the next reader computes them.",
        PooledTarget.objects.filter(assessed_revision__lt=F("revision")).count(),
    )
    flagged = GaugeMetricFamily(
        "broodcount_targets_flagged", "Combinations that are flagged.", labels=["source"]
    )
    for source in Source:
        flagged.add_metric([source.value], len(flagged_targets(source)))
    yield flagged
