# ruff: noqa: INP001 - a file that gunicorn reads, no part of a package
"""For a gunicorn of your own: gunicorn --config deploy/gunicorn.conf.py registry.wsgi:application.

`broodcount serve` needs no such file: it starts gunicorn itself, after it has migrated the
database and granted the web server's role its rights. With a gunicorn of your own, do that first:
`broodcount migrate`, `broodcount roles grant ROLE`, `broodcount catalogue load fixtures/catalogue`.
Everything but the address comes from the BROODCOUNT_* variables, as README lists them. For metrics
set PROMETHEUS_MULTIPROC_DIR to a folder that is emptied before every start.
"""

from registry.server.gunicorn_settings import *  # noqa: F403 - all settings but the address

bind = "127.0.0.1:8000"
