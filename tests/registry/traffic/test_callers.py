"""Who is one caller: by address, by what proxies say, by /64."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import RequestFactory

from registry.traffic.callers import Caller, anonymous_caller


def name_of(address: str, forwarded: str | None = None) -> str:
    headers = {} if forwarded is None else {"X-Forwarded-For": forwarded}
    request = RequestFactory().get("/", REMOTE_ADDR=address, headers=headers)
    return anonymous_caller(request).name


@pytest.mark.parametrize(
    ("n_proxies", "forwarded", "name"),
    [
        (0, "198.51.100.7", "192.0.2.1"),
        (1, "198.51.100.7", "198.51.100.7"),
        (1, "203.0.113.9, 198.51.100.7", "198.51.100.7"),
        (2, "203.0.113.9, 198.51.100.7, 192.0.2.5", "198.51.100.7"),
        (2, "198.51.100.7", "192.0.2.1"),
        (1, None, "192.0.2.1"),
        (1, "203.0.113.9, ", "192.0.2.1"),
        (1, "198.51.100.7:4711", "198.51.100.7"),
        (1, "[2001:db8::5]:4711", "2001:db8::/64"),
        (1, "unknown", "unreadable"),
    ],
)
def test_forwarded_for__is_counted_from_the_right(settings, n_proxies, forwarded, name):
    settings.BROODCOUNT_TRUSTED_PROXIES = n_proxies
    assert name_of("192.0.2.1", forwarded) == name


def test_addresses_of_ipv6__are_one_caller_by_64_bits():
    assert name_of("2001:db8:1:2::1") == name_of("2001:db8:1:2:ffff::9") == "2001:db8:1:2::/64"
    assert name_of("2001:db8:1:3::1") != name_of("2001:db8:1:2::1")
    assert name_of("::ffff:192.0.2.1") == name_of("192.0.2.1")
    assert name_of("fe80::1%eth0") == "fe80::/64"
    assert name_of("") == "unreadable"


def test_digest__differs_by_secret_day_scope_and_kind(settings):
    day = date(2026, 3, 1)
    caller = Caller(is_keeper=False, name="192.0.2.1")
    others = [
        caller.digest("calls", date(2026, 3, 2)),
        caller.digest("clutches", day),
        Caller(is_keeper=True, name="192.0.2.1").digest("calls", day),
        Caller(is_keeper=False, name="192.0.2.2").digest("calls", day),
    ]
    first = caller.digest("calls", day)
    settings.SECRET_KEY = "another"
    others.append(caller.digest("calls", day))
    assert len({first, *others}) == 6
    assert b"192.0.2.1" not in first
