"""What moderators see, and the acts they have: doors to the same services, and no others."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.contrib import admin, messages
from django.db.models import Count, Exists, Model, OuterRef, QuerySet
from django.http import HttpRequest, HttpResponse
from django.template.response import TemplateResponse

from registry.clutches.models import Clutch, LikelyDuplicate
from registry.errors import RegistryError
from registry.keepers.models import Keeper
from registry.keepers.selectors import hold_list
from registry.moderation.audit import digest_of_text
from registry.moderation.choices import MOST_AT_ONCE, Act
from registry.moderation.forms import ReasonForm
from registry.moderation.models import AuditEntry
from registry.moderation.seen import clutch_seen, hold_seen
from registry.moderation.services import hold, judge, release
from registry.moderation.site import site
from registry.pools.probation import keepers_established

Service = Callable[[Any, Any, str], Any]


if TYPE_CHECKING:
    _Admin = admin.ModelAdmin[Any]
else:
    _Admin = admin.ModelAdmin


class LookingOnly(_Admin):
    """Rows to look at; nothing is added, changed or deleted here."""

    list_per_page = 50

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Never."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Never."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Never."""
        return False

    def lookup_allowed(self, lookup: str, value: Any, request: HttpRequest | None = None) -> bool:
        """The filters beside the list, and nothing else.

        Django lets an address filter by any column of a listed table, shown or not. By asking
        ``?recovery_sha256__startswith=a``, then ``b``, a moderator could read out digests of
        secrets, clutch codes and what parents are called, letter by letter.
        """
        column, _, how = lookup.partition("__")
        return column in self.list_filter and how in {"", "exact", "isnull"}

    def get_readonly_fields(self, request: HttpRequest, obj: Model | None = None) -> Any:
        """All that is shown."""
        return self.fields or ()


def _with_reason(
    model_admin: LookingOnly,
    request: HttpRequest,
    chosen: QuerySet[Any],
    *,
    action: str,
    service: Service,
) -> HttpResponse | None:
    """Ask for the reason, then do it for each one by itself; None leads back to the list."""
    if (n_chosen := chosen.count()) > MOST_AT_ONCE:
        messages.error(
            request,
            f"{n_chosen} are chosen; one reason is for {MOST_AT_ONCE} at most. Nothing was done.",
        )
        return None
    confirmed = request.POST.get("confirmed") == "yes"
    form = ReasonForm(request.POST if confirmed else None)
    if not confirmed or not form.is_valid():
        context = {
            **model_admin.admin_site.each_context(request),
            "title": "The reason",
            "act": getattr(type(model_admin), action).short_description,
            "action": action,
            "chosen": chosen,
            "form": form,
        }
        return TemplateResponse(request, "moderation/reason.html", context)
    for one in chosen:
        try:
            service(request.user, one.pk, form.cleaned_data["reason"])
        except RegistryError as error:
            messages.error(request, error.message)
        else:
            messages.success(request, f"Done for {one.pk}.")
    return None


@admin.register(Keeper, site=site)
class KeeperAdmin(LookingOnly):
    """Keepers by their random id."""

    list_display = ("id", "joined_on", "n_clutches", "is_established", "is_held")
    list_filter = ("is_held",)
    search_fields = ("=id",)
    search_help_text = "The whole id."
    ordering = ("-joined_at",)
    fields = ("id", "joined_on", "n_clutches", "is_established", "is_held", "holds_so_far")
    actions = ("hold", "release")

    def get_queryset(self, request: HttpRequest) -> QuerySet[Keeper]:
        """With the number of clutches, and whether the probation is over."""
        found: QuerySet[Keeper] = super().get_queryset(request)
        established = keepers_established().filter(pk=OuterRef("pk"))
        return found.annotate(n=Count("clutches"), established=Exists(established))

    @admin.display(description="joined on")
    def joined_on(self, one: Keeper) -> str:
        """Day."""
        return one.joined_at.date().isoformat()

    @admin.display(description="clutches")
    def n_clutches(self, one: Any) -> int:
        """Reported and not withdrawn, held ones and copies included."""
        return int(one.n)

    @admin.display(description="counts towards flags", boolean=True)
    def is_established(self, one: Any) -> bool:
        """Whether the probation is over."""
        return bool(one.established)

    @admin.display(description="holds so far")
    def holds_so_far(self, one: Keeper) -> str:
        """Each hold, oldest first."""
        return "; ".join(map(hold_seen, hold_list(one)))

    @admin.action(description="Hold their clutches", permissions=["view"])
    def hold(self, request: HttpRequest, chosen: QuerySet[Keeper]) -> HttpResponse | None:
        """Out of every pool, until released."""
        return _with_reason(self, request, chosen, action="hold", service=hold)

    @admin.action(description="Release their clutches", permissions=["view"])
    def release(self, request: HttpRequest, chosen: QuerySet[Keeper]) -> HttpResponse | None:
        """Back into the pools."""
        return _with_reason(self, request, chosen, action="release", service=release)


@admin.register(LikelyDuplicate, site=site)
class LikelyDuplicateAdmin(LookingOnly):
    """Pairs of reports that may be of one clutch."""

    list_display = (
        "id",
        "state",
        "reason",
        "chance",
        "earlier_says",
        "later_says",
        "moderator_says",
    )
    list_filter = ("state", "reason")
    fields = (
        "id",
        "state",
        "reason",
        "chance",
        "earlier",
        "earlier_report",
        "earlier_says",
        "later",
        "later_report",
        "later_says",
        "moderator_says",
    )
    actions = ("same", "different", "take_back")

    @admin.display
    def earlier_report(self, one: LikelyDuplicate) -> str:
        """What was reported first."""
        return clutch_seen(one.earlier)

    @admin.display
    def later_report(self, one: LikelyDuplicate) -> str:
        """What was reported second."""
        return clutch_seen(one.later)

    def _judged(
        self, request: HttpRequest, chosen: QuerySet[LikelyDuplicate], action: str, act: Act
    ) -> HttpResponse | None:
        def service(moderator: Any, pair: Any, reason: str) -> None:
            judge(moderator, pair, act, reason)

        return _with_reason(self, request, chosen, action=action, service=service)

    @admin.action(description="They are one clutch", permissions=["view"])
    def same(self, request: HttpRequest, chosen: QuerySet[LikelyDuplicate]) -> HttpResponse | None:
        """The earlier one counts."""
        return self._judged(request, chosen, "same", Act.SAME)

    @admin.action(description="They are two clutches", permissions=["view"])
    def different(
        self, request: HttpRequest, chosen: QuerySet[LikelyDuplicate]
    ) -> HttpResponse | None:
        """Both count."""
        return self._judged(request, chosen, "different", Act.DIFFERENT)

    @admin.action(description="Take the word back", permissions=["view"])
    def take_back(
        self, request: HttpRequest, chosen: QuerySet[LikelyDuplicate]
    ) -> HttpResponse | None:
        """The keepers' words hold again."""
        return self._judged(request, chosen, "take_back", Act.TAKE_BACK)


@admin.register(Clutch, site=site)
class ClutchAdmin(LookingOnly):
    """Numbers of clutches, without labels and notes: enough to see what does not fit."""

    list_display = (
        "id",
        "keeper",
        "species",
        "season",
        "n_hatchlings",
        "eggs_laid",
        "reported_on",
        "is_held",
    )
    list_select_related = ("keeper", "version")
    search_fields = ("=keeper__id", "=id")
    search_help_text = "The whole id of a keeper or clutch."
    ordering = ("-reported_at",)
    fields = (
        "id",
        "keeper",
        "species",
        "season",
        "report",
        "n_hatchlings",
        "eggs_laid",
        "eggs_infertile",
        "eggs_died",
        "is_declared",
        "is_duplicate",
        "is_held",
        "revision",
        "reported_on",
    )

    def get_queryset(self, request: HttpRequest) -> QuerySet[Clutch]:
        """Of keepers; nobody is held for a published cross."""
        found: QuerySet[Clutch] = super().get_queryset(request)
        return found.exclude(keeper=None)

    @admin.display(ordering="version__species")
    def species(self, one: Clutch) -> str:
        """Its key."""
        return str(one.version.species_id)

    @admin.display
    def report(self, one: Clutch) -> str:
        """Parents' genes, eggs and calls, as they are now."""
        return clutch_seen(one)

    @admin.display(description="reported on")
    def reported_on(self, one: Clutch) -> str:
        """Day."""
        return one.reported_at.date().isoformat()


@admin.register(AuditEntry, site=site)
class AuditEntryAdmin(LookingOnly):
    """What was done, by whom and why."""

    list_display = ("at", "moderator", "act", "about", "reason")
    list_filter = ("act", "moderator")
    search_fields = ("=about",)
    search_help_text = "The whole id of a keeper or of a pair of reports, or the SHA-256 of it."
    show_full_result_count = False
    fields = ("at", "moderator", "act", "about", "reason", "previous", "sha256")

    def get_search_results(
        self, request: HttpRequest, queryset: QuerySet[AuditEntry], search_term: str
    ) -> tuple[QuerySet[AuditEntry], bool]:
        """By the digest; an id is turned into its digest first."""
        return super().get_search_results(request, queryset, digest_of_text(search_term))
