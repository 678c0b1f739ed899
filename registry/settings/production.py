"""Settings of a served registry, and of every command."""

from __future__ import annotations

from django.core.exceptions import ImproperlyConfigured

from registry.settings.base import *  # noqa: F403 - the way Django's settings build on others
from registry.settings.base import ENVIRONMENT
from registry.settings.secret import stored_secret


def _secret_key() -> str:
    """The stated key, or one made once and kept in the data folder."""
    if ENVIRONMENT.secret_key:
        return ENVIRONMENT.secret_key
    try:
        ENVIRONMENT.data_dir.mkdir(parents=True, exist_ok=True, mode=0o711)
        return stored_secret(ENVIRONMENT.data_dir / "secret-key")
    except (OSError, ValueError) as error:
        message = f"No secret key: {error} Set BROODCOUNT_SECRET_KEY, or BROODCOUNT_DATA_DIR."
        raise ImproperlyConfigured(message) from error


SECRET_KEY = _secret_key()
