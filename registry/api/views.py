"""The interface about itself: index, OpenAPI document, a page to try the calls."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.views.generic import TemplateView
from drf_spectacular.renderers import OpenApiJsonRenderer2
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.schemas.generators import EndpointEnumerator

from registry.api import schema  # noqa: F401 - its extensions register themselves
from registry.api.base import ApiView
from registry.api.counting import RefusalsCountMixin
from registry.api.parameters import KnownParametersMixin


class IndexSerializer(serializers.Serializer[Any]):
    """Where things are."""

    openapi = serializers.URLField(help_text="The OpenAPI document.")
    docs = serializers.URLField(help_text="A page to read about the calls and try them.")
    calls = serializers.DictField(
        child=serializers.URLField(), help_text="Every call whose address has no variable part."
    )


class IndexView(ApiView):
    """Addresses of the document, the page and the calls."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(operation_id="index", responses=IndexSerializer)
    def get(self, request: Request) -> Response:
        """Addresses to start from."""
        here = reverse("api:index")
        found: list[tuple[str, str, Any]] = EndpointEnumerator().get_api_endpoints()
        paths = sorted({path for path, _method, _view in found})
        calls = {
            path.removeprefix(here): request.build_absolute_uri(path)
            for path in paths
            if path.startswith(here) and path != here and "{" not in path
        }
        calls.pop(reverse("api:openapi").removeprefix(here), None)
        return Response(
            {
                "openapi": request.build_absolute_uri(reverse("api:openapi")),
                "docs": request.build_absolute_uri(reverse("api:docs")),
                "calls": calls,
            }
        )


class OpenApiView(RefusalsCountMixin, KnownParametersMixin, SpectacularAPIView):
    """The OpenAPI document as JSON, the same for everybody."""

    renderer_classes = [OpenApiJsonRenderer2]
    authentication_classes = ()
    permission_classes = (AllowAny,)
    serve_public = True


class DocsView(TemplateView):
    """A page to read about the calls and try them; every file of it comes from here."""

    template_name = "api/docs.html"
    http_method_names = ("get", "head", "options")
