"""Calls about what is said of a clutch later."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView, ApiView
from registry.api.conditions import Precondition, conditional_edit
from registry.clutches.api.filters import DuplicateFilter
from registry.clutches.api.revision_serializers import (
    DuplicateSerializer,
    LookAlikeSerializer,
    OpinionGivenSerializer,
    OpinionInSerializer,
    OpinionSerializer,
    RevisionInSerializer,
    RevisionSerializer,
    VerdictSerializer,
)
from registry.clutches.api.serializers import ClutchSerializer
from registry.clutches.api.views import clutch_shown
from registry.clutches.choices import Verdict
from registry.clutches.models import LikelyDuplicate, Opinion, Revision
from registry.clutches.selectors import (
    duplicate_answer,
    duplicate_get,
    duplicate_list,
    opinion_answer,
    opinion_list,
    revision_answer,
    revision_list,
)
from registry.clutches.services.breeding import animal_bred
from registry.clutches.services.duplicates import duplicate_decide
from registry.clutches.services.opinions import opinion_give
from registry.clutches.services.revising import clutch_revise
from registry.keepers.models import Keeper
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.pairings.api.serializers import AnimalSerializer, BredInSerializer
from registry.pairings.api.views import animal_shown
from registry.pools.look_alikes import look_alike_answers, look_alike_list
from registry.pools.models import CallChange
from registry.traffic.callers import caller_of_call
from registry.traffic.idempotency import answered_once
from registry.traffic.limits import REVISIONS, capped


class RevisionsView(ApiListView):
    """States of one of the keeper's clutches."""

    permission_classes = (IsKeeper,)
    serializer_class = RevisionSerializer
    ordering = ("number",)

    def get_queryset(self) -> QuerySet[Revision]:
        """Those of the clutch."""
        if getattr(self, "swagger_fake_view", False):
            return Revision.objects.none()
        return revision_list(keeper_of(self.request), self.kwargs["clutch_id"])

    def row(self, one: Any) -> Any:
        """One state."""
        return RevisionSerializer(revision_answer(one)).data

    @extend_schema(operation_id="revision_list")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Every state of the clutch, the report first. Nothing is ever overwritten."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="clutch_revise",
        request=RevisionInSerializer,
        responses={201: ClutchSerializer},
    )
    @conditional_edit
    @answered_once
    def post(self, request: Request, clutch_id: uuid.UUID) -> Response:
        """Say what the hatchlings are called now. The pools follow at once; the old calls stay.

        `If-Match` is the ETag of the clutch.
        """
        precondition = Precondition(request)
        given = self.body(RevisionInSerializer)
        with capped(REVISIONS, caller_of_call(request)):
            clutch = clutch_revise(
                keeper_of(request),
                clutch_id,
                given,
                unchanged=lambda now: precondition.check(clutch_shown(now)),
            )
        return Response(clutch_shown(clutch), status=201)


class ClutchOpinionsView(ApiListView):
    """Second opinions on one of the keeper's clutches."""

    permission_classes = (IsKeeper,)
    serializer_class = OpinionSerializer
    ordering = ("-given_at",)

    def get_queryset(self) -> QuerySet[Opinion]:
        """Those on the clutch."""
        if getattr(self, "swagger_fake_view", False):
            return Opinion.objects.none()
        return opinion_list(keeper_of(self.request), self.kwargs["clutch_id"])

    def row(self, one: Any) -> Any:
        """One opinion."""
        return OpinionSerializer(opinion_answer(one)).data

    @extend_schema(operation_id="clutch_opinion_list")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """What other keepers call these hatchlings. POST a revision with `opinion` to agree."""
        return super().get(request, *args, **kwargs)


class OpinionsView(ApiView):
    """A second opinion on somebody else's clutch."""

    permission_classes = (IsKeeper,)

    @extend_schema(
        operation_id="opinion_give",
        request=OpinionInSerializer,
        responses={201: OpinionGivenSerializer},
    )
    @answered_once
    def post(self, request: Request) -> Response:
        """Call the hatchlings of a clutch whose code you were told. Its keeper decides."""
        given = self.body(OpinionInSerializer)
        with capped(REVISIONS, caller_of_call(request)):
            opinion = opinion_give(keeper_of(request), given)
        answer = {"id": opinion.pk, "given_on": opinion.given_at.date()}
        return Response(OpinionGivenSerializer(answer).data, status=201)


class AnimalStatusesView(ApiView):
    """What breeding has shown of one of the keeper's animals."""

    permission_classes = (IsKeeper,)

    @extend_schema(
        operation_id="animal_bred", request=BredInSerializer, responses={201: AnimalSerializer}
    )
    @conditional_edit
    @answered_once
    def post(self, request: Request, animal_id: uuid.UUID) -> Response:
        """Say that a gene is proven or disproved. All clutches of the animal follow at once.

        `If-Match` is the ETag of the animal.
        """
        precondition = Precondition(request)
        given = self.body(BredInSerializer)
        with capped(REVISIONS, caller_of_call(request)):
            animal = animal_bred(
                keeper_of(request),
                animal_id,
                given,
                unchanged=lambda now: precondition.check(animal_shown(now)),
            )
        return Response(animal_shown(animal), status=201)


class DuplicatesView(ApiListView):
    """Pairs of reports that may be of one clutch."""

    permission_classes = (IsKeeper,)
    serializer_class = DuplicateSerializer
    filterset_class = DuplicateFilter
    ordering = ("-found_at",)

    def get_queryset(self) -> QuerySet[LikelyDuplicate]:
        """Those with a report of the keeper."""
        if getattr(self, "swagger_fake_view", False):
            return LikelyDuplicate.objects.none()
        return duplicate_list(keeper_of(self.request))

    def row(self, one: Any) -> Any:
        """One pair."""
        return _pair_shown(keeper_of(self.request), one)

    @extend_schema(operation_id="duplicate_list")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Pairs of reports that are likely of one clutch; the later one waits for your word."""
        return super().get(request, *args, **kwargs)


class DuplicateView(ApiView):
    """One such pair."""

    permission_classes = (IsKeeper,)

    @extend_schema(operation_id="duplicate_read", responses=DuplicateSerializer)
    def get(self, request: Request, duplicate_id: uuid.UUID) -> Response:
        """The pair."""
        keeper = keeper_of(request)
        return Response(_pair_shown(keeper, duplicate_get(keeper, duplicate_id)))

    @extend_schema(
        operation_id="duplicate_decide", request=VerdictSerializer, responses=DuplicateSerializer
    )
    @conditional_edit
    def put(self, request: Request, duplicate_id: uuid.UUID) -> Response:
        """Say whether the two are one clutch. One counts then, or both."""
        precondition = Precondition(request)
        keeper, given = keeper_of(request), self.body(VerdictSerializer)
        pair = duplicate_decide(
            keeper,
            duplicate_id,
            same=given["verdict"] == Verdict.SAME,
            unchanged=lambda now: precondition.check(_pair_shown(keeper, now)),
        )
        return Response(_pair_shown(keeper, pair))


def _pair_shown(keeper: Keeper, pair: LikelyDuplicate) -> Any:
    return DuplicateSerializer(duplicate_answer(keeper, pair)).data


class LookAlikesView(ApiListView):
    """What calls became."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    serializer_class = LookAlikeSerializer
    ordering = ("-hatchlings",)
    page_key = ("called", "became")

    def get_queryset(self) -> QuerySet[CallChange, Any]:
        """Changes of the species that three keepers or more saw."""
        if getattr(self, "swagger_fake_view", False):
            return CallChange.objects.none()
        return look_alike_list(self.kwargs["species"])

    def page_rows(self, page: Any) -> Any:
        """Rows with the shares."""
        return look_alike_answers(self.kwargs["species"], page)

    @extend_schema(operation_id="look_alike_list")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """How often a call of one look became another, and after how many sheds."""
        return super().get(request, *args, **kwargs)
