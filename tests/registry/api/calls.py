"""Calls for the tests of the shared part: nothing of the real interface, an invented table."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, ClassVar

import django_filters
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.core.exceptions import ValidationError as ModelValidationError
from django.db import connection, models
from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotAuthenticated, Throttled
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from genetics import errors as genetics
from registry import errors
from registry.api.base import ApiListView, ApiView
from registry.api.bearer import BearerAuthentication
from registry.api.fields import (
    ChanceField,
    CountField,
    FlagField,
    IdField,
    ListOfField,
    NameField,
    ObjectOfField,
    TextField,
)
from registry.api.serializers import StrictSerializer


class Egg(models.Model):
    """A row with equal, missing and unique values."""

    public_id = models.UUIDField(default=uuid.uuid4)
    box = models.IntegerField()
    note = models.TextField(null=True)  # noqa: DJ001 - a missing text, to sort
    weight = models.FloatField(null=True)
    laid_at = models.DateTimeField(null=True)
    price = models.DecimalField(max_digits=8, decimal_places=2, null=True)

    objects: ClassVar[models.Manager[Egg]] = models.Manager()

    class Meta:
        app_label = "api_tests"

    def __str__(self) -> str:
        return f"egg {self.pk} in box {self.box}"


@contextmanager
def egg_table() -> Iterator[None]:
    """The table, inside the transaction of a test."""
    with connection.schema_editor() as editor:
        editor.create_model(Egg)
    yield


class OpenView(ApiView):
    """Anyone may call."""

    authentication_classes = ()
    permission_classes = (AllowAny,)


# --- bodies -----------------------------------------------------------------------------------


class SideSerializer(StrictSerializer):
    genes = TextField(max_length=20)
    proven = FlagField(required=False)


class GroupSerializer(StrictSerializer):
    call = TextField(max_length=20)
    count = CountField(min=1, max=200)
    weights = ListOfField(child=ChanceField(), required=False, max_length=3)


class ReportSerializer(StrictSerializer):
    season = CountField(min=1900, max=2100)
    sex = NameField(["female", "male", "unknown"], required=False)
    sire = SideSerializer()
    groups = ListOfField(child=GroupSerializer())
    lenses = ListOfField(child=TextField(max_length=5), required=False, min_length=2, max_length=2)
    boxes = ObjectOfField(child=TextField(max_length=5), required=False)
    pair = IdField(of="a pair of newts", required=False)
    id = serializers.CharField(read_only=True)


class ReportView(OpenView):
    """Reads a body."""

    @extend_schema(request=ReportSerializer, responses=ReportSerializer)
    def post(self, request: Request) -> Response:
        """Give back what was read."""
        return Response(self.body(ReportSerializer), status=201)


class LargeView(OpenView):
    """Reads larger bodies than others."""

    max_body_bytes = 4_000_000

    @extend_schema(request=OpenApiTypes.OBJECT, responses=OpenApiTypes.OBJECT)
    def post(self, request: Request) -> Response:
        """Say how much was read."""
        return Response({"n": len(dict(request.data)["text"])})


# --- refusals ---------------------------------------------------------------------------------


def _two_places() -> None:
    with errors.gathered() as gathering:
        with gathering.at("sire", "genes"):
            raise genetics.UnknownGeneError(word="glim", species="moss newt", suggestions=["glum"])
        with gathering.at("groups"), errors.at(2, "call"):
            raise genetics.SuperOfRecessiveError(gene="glum")


def _same_codes() -> None:
    with errors.gathered() as gathering:
        for index in (0, 1):
            with gathering.at("groups", index):
                raise genetics.SuperOfRecessiveError(gene="glum")


def _one_place() -> None:
    with errors.at("dam"), errors.at("genes"):
        raise genetics.AmbiguousTextError(text="dusk", readings=["dusk (old)", "dusk (new)"])


def _path_part() -> None:
    with errors.at_parameter("species"):
        raise errors.UnknownSpeciesError(species="moss nevt", suggestions=["moss newt"])


def _bare_model() -> None:
    raise ModelValidationError("Eggs are missing.")


def _field_model() -> None:
    raise ModelValidationError({"eggs": ["Too few."], "season": ["Too late."]})


_BY_INDEX: Any = {"groups": {1: {"count": ["Too few."]}}}

RAISES: dict[str, Any] = {
    "two-places": _two_places,
    "same-codes": _same_codes,
    "one-place": _one_place,
    "path-part": _path_part,
    "bare-model": _bare_model,
    "field-model": _field_model,
    "counts": errors.CountsDoNotAddUpError("Laid 3, expected at least 5.", laid=3, least=5),
    "season": errors.SeasonOutOfRangeError("Season 2999 is in the future."),
    "empty": errors.EmptyClutchError("Neither eggs nor hatchlings were given."),
    "many": errors.TooManyHatchlingsError("Read 10000 hatchlings, expected at most 200."),
    "found": errors.NotFoundError("No clutch has this id."),
    "body": errors.InvalidBodyError("Neither JSON lines nor CSV."),
    "token": errors.UnknownTokenError("The token belongs to no keeper."),
    "nobody": errors.NotAuthenticatedError("This call needs a token."),
    "catalogue": errors.CatalogueFaultError("The species file names a locus twice."),
    "alleles": genetics.TooManyAllelesError(locus="lamp", genes=["glim", "glum", "gleam"]),
    "reserved": genetics.ContradictoryStatementError("Both can not hold.", status="x", word="glim"),
    "rest-nobody": NotAuthenticated(),
    "throttled": Throttled(wait=7.2),
    "http404": Http404("No Egg matches the given query."),
    "denied": PermissionDenied("inside"),
    "suspicious": SuspiciousOperation("inside"),
    "list-of-dicts": serializers.ValidationError({"groups": [{}, {"count": ["Too few."]}]}),
    "dict-by-index": serializers.ValidationError(_BY_INDEX),
    "whole-body": serializers.ValidationError({"non_field_errors": ["Nothing fits."]}),
    "odd-name": serializers.ValidationError({"a/b~c ä": ["Wrong."]}),
    "bug": RuntimeError("secret of the inside"),
}


class RaiseView(OpenView):
    """Raises what its address names."""

    @extend_schema(request=None, responses=OpenApiTypes.OBJECT)
    def post(self, request: Request, name: str) -> Response:
        """Raise."""
        what = RAISES[name]
        if isinstance(what, Exception):
            raise what
        what()
        return Response()

    get = post


class PlainErrorView(OpenView):
    """Answers an error without raising anything."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """A status and a sentence."""
        return Response({"detail": "Busy with another."}, status=409, headers={"X-Kept": "yes"})


def django_error(request: HttpRequest, name: str) -> HttpResponse:
    """A view without REST framework."""
    match name:
        case "teapot":
            return HttpResponse("<h1>no</h1>", status=418, headers={"ETag": '"x"'})
        case "denied":
            raise PermissionDenied("inside")
        case "suspicious":
            raise SuspiciousOperation("inside")
        case "host":
            return HttpResponse(request.get_host())
        case "form":
            return HttpResponse(request.POST.get("a"))
    raise RuntimeError("secret of the inside")


# --- lists ------------------------------------------------------------------------------------


class EggFilter(django_filters.FilterSet):  # type: ignore[misc] # it has no types
    box = django_filters.NumberFilter()
    weight = django_filters.RangeFilter()
    note = django_filters.MultipleChoiceFilter(choices=[("a", "a"), ("b", "b")])


class EggSerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    box = serializers.IntegerField()


class EggListView(OpenView, ApiListView):
    """Model rows."""

    serializer_class = EggSerializer
    filterset_class = EggFilter
    known_parameters = ("lens",)
    ordering_fields: ClassVar = {
        "box": "box",
        "text": "note",
        "weight": "weight",
        "laid": "laid_at",
        "price": "price",
        "public": "public_id",
    }
    ordering = ("box",)
    queryset = Egg.objects.all()


class EggValuesView(EggListView):
    """Dict rows."""

    def get_queryset(self) -> Any:
        """Rows without their primary key."""
        return Egg.objects.values("box", "note", "public_id")


class BoxListView(OpenView, ApiListView):
    """Grouped rows."""

    ordering_fields = ("n",)
    ordering = ("-n",)
    page_key = ("box",)
    serializer_class = EggSerializer

    def get_queryset(self) -> Any:
        """Eggs a box."""
        return Egg.objects.values("box").annotate(n=Count("id"))


# --- tokens -----------------------------------------------------------------------------------


class OneToken(BearerAuthentication):
    """Knows one token."""

    def owner_of(self, token: str) -> tuple[Any, Any] | None:
        """Somebody, for the right token."""
        return {"good": ("somebody", token)}.get(token)


class KeptView(ApiView):
    """Needs a token."""

    authentication_classes = (OneToken,)
    permission_classes = ()

    @extend_schema(responses=EggSerializer)
    def get(self, request: Request) -> Response:
        """Who asks."""
        if request.user is None or request.auth is None:
            raise NotAuthenticated
        return Response({"who": request.user})


urlpatterns = [
    path("api/v1/reports/", ReportView.as_view()),
    path("api/v1/large/", LargeView.as_view()),
    path("api/v1/raise/<str:name>/", RaiseView.as_view()),
    path("api/v1/plain-error/", PlainErrorView.as_view()),
    path("api/v1/eggs/", EggListView.as_view()),
    path("api/v1/egg-values/", EggValuesView.as_view()),
    path("api/v1/boxes/", BoxListView.as_view()),
    path("api/v1/kept/", KeptView.as_view()),
    path("django/<str:name>/", django_error),
]

handler400 = "registry.api.problems.bad_request"
handler403 = "registry.api.problems.permission_denied"
handler404 = "registry.api.problems.not_found"
handler500 = "registry.api.problems.server_error"
