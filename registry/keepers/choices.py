"""Form of the keepers' secrets, and their limits."""

TOKEN_PREFIX = "bck_"  # noqa: S105 - the start of every token, no secret
RECOVERY_PREFIX = "bcr_"
SECRET_BYTES = 32
"""Random bytes of a token or recovery code; too many to guess, so a plain digest is enough."""
SHOWN_LENGTH = 10
"""Characters of a token that are kept, so that its keeper can tell it from others: the prefix and
36 of its 256 random bits."""

MAX_TOKENS = 20
MAX_TOKEN_LABEL_LENGTH = 60
MAX_TOKEN_DAYS = 3650
MAX_RECOVERY_LENGTH = 200
"""Of what is read as a recovery code, longer than any."""
DIGEST_LENGTH = 64
