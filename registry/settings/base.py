"""Settings that hold everywhere."""

from __future__ import annotations

import logging
import os
from pathlib import Path
from typing import Any, Final

from registry.settings.database import parse_database_url
from registry.settings.environment import REPOSITORY, THREAD_LIMITS, read_environment
from registry.settings.logs import logging_settings

for _name, _value in THREAD_LIMITS.items():
    os.environ.setdefault(_name, _value)

ENVIRONMENT: Final = read_environment(os.environ)

BASE_DIR: Final = REPOSITORY
BROODCOUNT_DATA_DIR: Final = ENVIRONMENT.data_dir
BROODCOUNT_POSTGRES_BIN: Final = ENVIRONMENT.postgres_bin
BROODCOUNT_HTTPS: Final = ENVIRONMENT.https
BROODCOUNT_LOG_FORMAT: Final = ENVIRONMENT.log_format
BROODCOUNT_METRICS: Final = ENVIRONMENT.metrics
BROODCOUNT_METRICS_TOKEN: Final = ENVIRONMENT.metrics_token
BROODCOUNT_METRICS_DIR: Final = ENVIRONMENT.metrics_dir
BROODCOUNT_UNKNOWN_VARIABLES: Final = ENVIRONMENT.unknown
BROODCOUNT_SEPARATE_OWNER: Final = ENVIRONMENT.owner_database_url is not None
BROODCOUNT_ERASURE_LEDGER: Path | None = ENVIRONMENT.erasure_ledger
BROODCOUNT_FIXTURES: Final = ENVIRONMENT.fixtures
BROODCOUNT_KEEPER_PROBATION_DAYS = ENVIRONMENT.keeper_probation_days
BROODCOUNT_KEEPER_PROBATION_CLUTCHES = ENVIRONMENT.keeper_probation_clutches
BROODCOUNT_ADMIN = ENVIRONMENT.admin
BROODCOUNT_RATE_LIMITS = ENVIRONMENT.rate_limits
BROODCOUNT_RATE_KEEPER: Final = ENVIRONMENT.rate_keeper
BROODCOUNT_RATE_ANONYMOUS: Final = ENVIRONMENT.rate_anonymous
BROODCOUNT_DAILY_KEEPERS: Final = ENVIRONMENT.daily_keepers
BROODCOUNT_DAILY_CLUTCHES: Final = ENVIRONMENT.daily_clutches
BROODCOUNT_DAILY_REVISIONS: Final = ENVIRONMENT.daily_revisions
BROODCOUNT_DAILY_SIGN_INS: Final = ENVIRONMENT.daily_sign_ins
BROODCOUNT_TRUSTED_PROXIES: Final = ENVIRONMENT.trusted_proxies
BROODCOUNT_IDEMPOTENCY_HOURS: Final = ENVIRONMENT.idempotency_hours

ONE_YEAR_SECONDS: Final = 365 * 24 * 3600

DEBUG = False
ALLOWED_HOSTS = list(ENVIRONMENT.allowed_hosts)

# Low to high: an app may import only from those above it.
INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.admin.apps.SimpleAdminConfig",
    "django.contrib.postgres",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "registry.api",
    "registry.traffic",
    "registry.catalogue",
    "registry.keepers",
    "registry.pairings",
    "registry.pools",
    "registry.clutches",
    "registry.combinations",
    "registry.forecasts",
    "registry.records",
    "registry.moderation",
    "registry.exports",
    "registry.feeds",
    "registry.operation",
    "registry.pages",
]

_LOGGING_MIDDLEWARE: Final = (
    ["registry.operation.request_log.RequestLogMiddleware"]
    if BROODCOUNT_LOG_FORMAT == "json"
    else []
)
_COUNTING_MIDDLEWARE: Final = (
    [
        "django_prometheus.middleware.PrometheusBeforeMiddleware",
        "django_prometheus.middleware.PrometheusAfterMiddleware",
    ]
    if BROODCOUNT_METRICS
    else []
)
MIDDLEWARE = [
    "registry.api.head.HeadMiddleware",
    # Probes call by address, over plain HTTP: answered before names and schemes are looked at.
    "registry.operation.middleware.OperationMiddleware",
    *_LOGGING_MIDDLEWARE,
    *_COUNTING_MIDDLEWARE[:1],
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "registry.pages.middleware.PageErrorsMiddleware",
    "registry.api.middleware.ProblemMiddleware",
    "registry.traffic.middleware.CallsLeftMiddleware",
    "registry.api.conditions.ConditionalReadMiddleware",
    "django.middleware.common.CommonMiddleware",
    # Sessions are for moderators only: the interface knows tokens, the pages of keepers a cookie.
    "registry.moderation.middleware.ModerationMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    *_COUNTING_MIDDLEWARE[1:],
]

ROOT_URLCONF = "registry.urls"
WSGI_APPLICATION = "registry.wsgi.application"
# A redirect to the address with a slash would lose the body of a POST.
APPEND_SLASH = False

# Without an address any query fails with Django's own clear text; checks and types need none.
DATABASES: dict[str, dict[str, Any]] = {
    "default": parse_database_url(ENVIRONMENT.database_url) if ENVIRONMENT.database_url else {}
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000_000

STATIC_URL = "/static/"
WHITENOISE_USE_FINDERS = True

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]

_OWN = ["'self'"]
# Nothing from elsewhere and nothing inline. The page that tries calls, and the framework's pages of
# moderation, are other people's work with styles of their own.
CONTENT_SECURITY_POLICY = {
    "EXCLUDE_URL_PREFIXES": ["/api/v1/docs/", "/moderation/"],
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "style-src": _OWN,
        "script-src": _OWN,
        "img-src": _OWN,
        "connect-src": _OWN,
        "form-action": _OWN,
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    },
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_PATH = "/moderation/"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Strict"
SESSION_COOKIE_AGE = 8 * 3600
SESSION_EXPIRE_AT_BROWSER_CLOSE = True
AUTH_USER_MODEL = "moderation.Moderator"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
SESSION_COOKIE_SECURE = BROODCOUNT_HTTPS
CSRF_FAILURE_VIEW = "registry.pages.views.refusals.form_refused"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Strict"
CSRF_COOKIE_SECURE = BROODCOUNT_HTTPS
# The scheme comes from gunicorn, which believes X-Forwarded-Proto of the trusted proxies only.
SECURE_SSL_REDIRECT = BROODCOUNT_HTTPS
SECURE_HSTS_SECONDS = ONE_YEAR_SECONDS if BROODCOUNT_HTTPS else 0
# Both speak for names other than the service's own, which the owner of the domain decides.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["registry.api.parsers.StrictJSONParser"],
    "DEFAULT_AUTHENTICATION_CLASSES": ["registry.keepers.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.AllowAny"],
    "DEFAULT_THROTTLE_CLASSES": ["registry.traffic.throttling.CallsThrottle"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "registry.api.problems.problem_response",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    # Keepers are no users of django.contrib.auth, which only moderators are.
    "UNAUTHENTICATED_USER": None,
    "URL_FORMAT_OVERRIDE": None,
}

SPECTACULAR_SETTINGS = {
    "TITLE": "Broodcount",
    "DESCRIPTION": (
        "Clutches from many keepers, pooled: has anyone produced this combination, how often "
        "against what the genetics lead one to expect, and what explains a shortage."
    ),
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "ENUM_NAME_OVERRIDES": {
        "SexEnum": "registry.pairings.choices.Sex",
        "HatchlingSexEnum": "registry.clutches.choices.HatchlingSex",
        "ProducedEnum": "registry.combinations.choices.Produced",
        "DuplicateStateEnum": "registry.clutches.choices.DuplicateState",
        "RevisionKindEnum": "registry.clutches.choices.RevisionKind",
        "StateEnum": "registry.pools.choices.State",
        "ExplanationEnum": "registry.pools.choices.ExplanationName",
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "registry.api.schema.add_shared_parts",
    ],
}

LOGGING = logging_settings(BROODCOUNT_LOG_FORMAT)
DJANGO_STRUCTLOG_IP_LOGGING_ENABLED = False
DJANGO_STRUCTLOG_USER_ID_FIELD = None
# A refusal is the caller's affair.
DJANGO_STRUCTLOG_STATUS_4XX_LOG_LEVEL = logging.INFO

# Seconds; few, because each is a series for every call and worker.
PROMETHEUS_LATENCY_BUCKETS = (0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0, float("inf"))
