"""The audit trail: entries appended, each tied to the one before, and the chain checked."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from dataclasses import dataclass
from typing import Final

from django.db import connection
from django.utils import timezone

from registry.moderation.choices import Act
from registry.moderation.models import AuditEntry

_LOCK: Final = 0x61756469742D2D31  # of those who append, against each other
_BATCH: Final = 1_000


def digest_of_id(about: uuid.UUID) -> str:
    """What an entry keeps of the id of what it is about."""
    return hashlib.sha256(str(about).encode()).hexdigest()


def digest_of_text(text: str) -> str:
    """The digest for an id in any of its spellings; another text as it is."""
    try:
        return digest_of_id(uuid.UUID(text.strip()))
    except ValueError:
        return text


def audit_append(*, moderator: str, act: Act, about: uuid.UUID, reason: str) -> AuditEntry:
    """Append an entry, inside the transaction of the act it tells of. Three statements."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
    last = AuditEntry.objects.order_by("-pk").values_list("sha256", flat=True).first()
    entry = AuditEntry(
        at=timezone.now(),
        moderator=moderator,
        act=act,
        about=digest_of_id(about),
        reason=reason,
        previous=last or "",
    )
    entry.sha256 = _digest(entry)
    entry.full_clean(validate_unique=False)
    entry.save(force_insert=True)
    return entry


def _digest(entry: AuditEntry) -> str:
    at = entry.at.astimezone(dt.UTC).isoformat()
    said = [entry.previous, at, entry.moderator, str(entry.act), entry.about, entry.reason]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class AuditCheck:
    """What a check of the trail found. ``last`` is the newest digest, empty without entries."""

    n_entries: int
    last: str
    faults: tuple[str, ...]


def audit_check(*, noted: str | None = None) -> AuditCheck:
    """Whether each entry is as it was written, and after the one that it was written after.

    Parameters
    ----------
    noted
        The last digest of an earlier check, kept elsewhere. Entries taken away at the end leave a
        chain that is whole, and so does a chain computed anew from a changed entry on: only this
        shows either.
    """
    previous, n_entries, faults = "", 0, []
    is_noted_met = noted is None
    for one in AuditEntry.objects.order_by("pk").iterator(chunk_size=_BATCH):
        n_entries += 1
        if one.previous != previous:
            faults.append(f"entry {one.pk}: what came before it is not what it was written after")
        if one.sha256 != _digest(one):
            faults.append(f"entry {one.pk}: it was changed after it was written")
        previous = one.sha256
        is_noted_met = is_noted_met or previous == noted
    if not is_noted_met:
        faults.append(f"no entry has the noted digest {noted}: it was changed or taken away")
    return AuditCheck(n_entries=n_entries, last=previous, faults=tuple(faults))
