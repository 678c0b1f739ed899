"""What the feeds tell: that the state of a combination changed, and on which day."""

import uuid

from django.db import models

from registry.pools.choices import Source, State


class StateChange(models.Model):
    """One change of the state that is shown of a combination.

    Only states are kept, and the day. No count is: a count would go on telling what a keeper who
    is erased had brought in. No time of day either: a state changes when somebody's clutch comes
    in, and when that was is nobody's business.

    ``id`` orders the changes; ``public_id`` is what a feed shows. ``key`` is the target's, so that
    a change outlives the row of the pool.
    """

    id = models.BigAutoField(primary_key=True)
    public_id = models.UUIDField(default=uuid.uuid4, editable=False)
    species = models.ForeignKey("catalogue.Species", on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=10, choices=Source, default=Source.KEEPERS)
    key = models.TextField()
    combination = models.TextField()
    factors = models.JSONField(help_text="As those of a pooled target.")
    before = models.CharField(max_length=12, choices=State)
    after = models.CharField(max_length=12, choices=State)
    recorded_on = models.DateField()

    class Meta:
        ordering = ("-id",)
        constraints = (
            models.UniqueConstraint(fields=("public_id",), name="state_change_public_id_once"),
            models.CheckConstraint(
                name="state_change_source_known", condition=models.Q(source__in=Source.values)
            ),
            models.CheckConstraint(
                name="state_change_states_known",
                condition=models.Q(before__in=State.values, after__in=State.values),
            ),
            models.CheckConstraint(
                name="state_change_is_one", condition=~models.Q(before=models.F("after"))
            ),
        )
        indexes = (
            models.Index(fields=("species", "source", "key", "-id"), name="state_change_newest"),
        )

    def __str__(self) -> str:
        return f"{self.combination}: {self.before} to {self.after}"
