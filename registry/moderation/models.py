"""Moderators, and the audit trail of what they did."""

from __future__ import annotations

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

from registry.moderation.choices import (
    DIGEST_LENGTH,
    HANDLE_EXPECTED,
    HANDLE_PATTERN,
    MAX_HANDLE_LENGTH,
    MAX_REASON_LENGTH,
    MIN_REASON_LENGTH,
    Act,
)


class Moderator(AbstractBaseUser):
    """Somebody who may hold keepers' clutches. A handle of their choice, no name, no address."""

    handle = models.CharField(max_length=MAX_HANDLE_LENGTH, unique=True)
    is_active = models.BooleanField(default=True)
    # When somebody was at work is nobody's business; without the column Django does not note it.
    last_login = None

    USERNAME_FIELD = "handle"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects = BaseUserManager()

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="moderator_handle_form",
                condition=models.Q(handle__regex=HANDLE_PATTERN),
                violation_error_message=HANDLE_EXPECTED,
            ),
        )

    def __str__(self) -> str:
        return self.handle

    @property
    def is_staff(self) -> bool:
        """Whether the pages of moderation are open."""
        return self.is_active

    def has_perm(self, permission: str, obj: object = None) -> bool:
        """Everything may be looked at, nothing changed but by the acts."""
        del obj
        return self.is_active and permission.rpartition(".")[2].startswith("view_")

    def has_module_perms(self, app_label: str) -> bool:
        """Every part with a page."""
        del app_label
        return self.is_active


class AuditEntry(models.Model):
    """What a moderator did, and why. Rows are added; a trigger refuses anything else.

    ``about`` is the SHA-256 of the id of the keeper or of the pair of reports: whoever knows the
    id finds the entries, and after an erasure they name nobody. ``sha256`` is over the entry and
    ``previous``, the digest of the entry before, so that one taken away or changed is noticed.
    """

    id = models.BigAutoField(primary_key=True)
    at = models.DateTimeField()
    moderator = models.CharField(max_length=MAX_HANDLE_LENGTH)
    act = models.CharField(max_length=9, choices=Act)
    about = models.CharField(max_length=DIGEST_LENGTH, db_index=True)
    reason = models.CharField(max_length=MAX_REASON_LENGTH)
    previous = models.CharField(max_length=DIGEST_LENGTH, blank=True)
    sha256 = models.CharField(max_length=DIGEST_LENGTH, unique=True)

    class Meta:
        ordering = ("-id",)
        verbose_name_plural = "audit entries"
        constraints = (
            models.CheckConstraint(
                name="audit_entry_act_known", condition=models.Q(act__in=Act.values)
            ),
            models.CheckConstraint(
                name="audit_entry_has_a_reason",
                condition=models.Q(reason__regex=rf"^.{{{MIN_REASON_LENGTH},}}$"),
            ),
        )

    def __str__(self) -> str:
        return f"{self.act} {self.at:%Y-%m-%d}"
