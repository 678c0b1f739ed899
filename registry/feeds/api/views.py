"""The feeds over HTTP."""

from __future__ import annotations

from typing import Any, Final

from django.http import HttpResponseBase
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request

from registry.api.base import ApiView
from registry.api.files import FileRenderer, file_response, made_file
from registry.feeds.atom import atom_bytes
from registry.feeds.selectors import AtomFeed, combination_feed, flags_feed
from registry.feeds.services import states_record


class AtomRenderer(FileRenderer):
    """Atom (RFC 4287)."""

    media_type = "application/atom+xml"
    format = "atom"


RESPONSES: Final[dict[Any, Any]] = {
    (200, AtomRenderer.media_type): OpenApiTypes.STR,
    304: OpenApiResponse(description="The feed has the tag of `If-None-Match`."),
}


class _FeedView(ApiView):
    """A feed."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    renderer_classes: Any = (AtomRenderer,)

    def answer(self, request: Request, feed: AtomFeed) -> HttpResponseBase:
        """The feed as Atom."""

        def address_of(species: str, genes: str) -> str:
            return request.build_absolute_uri(reverse("combination", args=[species, genes]))

        here = request.build_absolute_uri()
        content = atom_bytes(feed, here=here, address_of=address_of)
        return file_response(request, made_file([content]), media_type=AtomRenderer.media_type)


class AllFlagsFeedView(_FeedView):
    """Flags of every species."""

    @extend_schema(operation_id="feed_all_flags", responses=RESPONSES)
    def get(self, request: Request) -> HttpResponseBase:
        """What came on watch, was flagged, or is so no more, in every species; the newest 50."""
        states_record()
        return self.answer(request, flags_feed(None))


class FlagsFeedView(_FeedView):
    """Flags of one species."""

    @extend_schema(operation_id="feed_flags", responses=RESPONSES)
    def get(self, request: Request, species: str) -> HttpResponseBase:
        """What came on watch, was flagged, or is so no more, in one species; the newest 50."""
        states_record(species)
        return self.answer(request, flags_feed(species))


class CombinationFeedView(_FeedView):
    """One combination that is watched."""

    @extend_schema(operation_id="feed_combination", responses=RESPONSES)
    def get(self, request: Request, species: str, genes: str) -> HttpResponseBase:
        """Every change of state of one combination; the newest 50, none if nobody reported it."""
        states_record(species)
        return self.answer(request, combination_feed(species, genes))
