"""Settings of gunicorn, from the environment; where it listens is told on its command line."""

from __future__ import annotations

import os
from typing import Any

from registry.server.children import GRACE_SECONDS
from registry.settings.environment import METRICS_DIR, read_environment

_environment = read_environment(os.environ)

worker_class = "gthread"
workers = _environment.workers
threads = _environment.threads
graceful_timeout = GRACE_SECONDS
loglevel = "warning"
# No access log: its lines are the callers' addresses.
accesslog = None
logger_class = "registry.server.private_log.PrivateLogger"
control_socket_disable = True
# Behind proxies every call comes from one; without, nobody's word on the scheme is taken.
forwarded_allow_ips = "*" if _environment.trusted_proxies else ""
secure_scheme_headers = {"X-FORWARDED-PROTO": "https"}
# By default a proxy could also move the addresses of calls.
forwarder_headers = ""


def child_exit(server: Any, worker: Any) -> None:
    """Take an ended worker's share out of the gauges of those alive."""
    if os.environ.get(METRICS_DIR):
        from prometheus_client.multiprocess import mark_process_dead  # noqa: PLC0415 - see below

        # Imported only now, with the folder known: the library looks at it when it is imported.
        mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]
