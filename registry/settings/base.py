"""Settings that hold everywhere."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, Final

from registry.settings.database import parse_database_url
from registry.settings.environment import REPOSITORY, THREAD_LIMITS, read_environment

for _name, _value in THREAD_LIMITS.items():
    os.environ.setdefault(_name, _value)

ENVIRONMENT: Final = read_environment(os.environ)

BASE_DIR: Final = REPOSITORY
BROODCOUNT_DATA_DIR: Final = ENVIRONMENT.data_dir
BROODCOUNT_ERASURE_LEDGER: Path | None = ENVIRONMENT.erasure_ledger
BROODCOUNT_FIXTURES: Final = ENVIRONMENT.fixtures
BROODCOUNT_KEEPER_PROBATION_DAYS = ENVIRONMENT.keeper_probation_days
BROODCOUNT_KEEPER_PROBATION_CLUTCHES = ENVIRONMENT.keeper_probation_clutches
BROODCOUNT_RATE_LIMITS = ENVIRONMENT.rate_limits
BROODCOUNT_RATE_KEEPER: Final = ENVIRONMENT.rate_keeper
BROODCOUNT_RATE_ANONYMOUS: Final = ENVIRONMENT.rate_anonymous
BROODCOUNT_DAILY_KEEPERS: Final = ENVIRONMENT.daily_keepers
BROODCOUNT_DAILY_CLUTCHES: Final = ENVIRONMENT.daily_clutches
BROODCOUNT_DAILY_REVISIONS: Final = ENVIRONMENT.daily_revisions
BROODCOUNT_TRUSTED_PROXIES: Final = ENVIRONMENT.trusted_proxies
BROODCOUNT_IDEMPOTENCY_HOURS: Final = ENVIRONMENT.idempotency_hours

DEBUG = False
ALLOWED_HOSTS = list(ENVIRONMENT.allowed_hosts)

# Low to high: an app may import only from those above it.
INSTALLED_APPS = [
    "django.contrib.contenttypes",
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
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "registry.api.middleware.ProblemMiddleware",
    "registry.traffic.middleware.CallsLeftMiddleware",
    "registry.api.conditions.ConditionalReadMiddleware",
    "django.middleware.common.CommonMiddleware",
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

TEMPLATES = [{"BACKEND": "django.template.backends.django.DjangoTemplates", "APP_DIRS": True}]

X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"

REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["registry.api.parsers.StrictJSONParser"],
    "DEFAULT_AUTHENTICATION_CLASSES": ["registry.keepers.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.AllowAny"],
    "DEFAULT_THROTTLE_CLASSES": ["registry.traffic.throttling.CallsThrottle"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "registry.api.problems.problem_response",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    # Keepers are no users of django.contrib.auth, which is not installed.
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

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "filters": {"secrets": {"()": "registry.api.scrubbing.SecretsFilter"}},
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "plain", "filters": ["secrets"]}
    },
    "root": {"handlers": ["stderr"], "level": "WARNING"},
}
