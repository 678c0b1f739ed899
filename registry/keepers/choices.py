"""Form of the keepers' secrets."""

TOKEN_PREFIX = "bck_"  # noqa: S105 - the start of every token, no secret
RECOVERY_PREFIX = "bcr_"
SECRET_BYTES = 32
"""Random bytes of a token or recovery code; too many to guess, so a plain digest is enough."""
