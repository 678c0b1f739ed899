"""Calls about forecasts."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiView
from registry.forecasts.api.serializers import ForecastInSerializer, ForecastSerializer
from registry.forecasts.selectors import forecast_answer


class ForecastsView(ApiView):
    """What a pairing can give."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="forecast", request=ForecastInSerializer, responses=ForecastSerializer
    )
    def post(self, _request: Request) -> Response:
        """Looks with chances and hidden hets, waits for what is wanted, cautions."""
        answer = forecast_answer(self.body(ForecastInSerializer))
        return Response(ForecastSerializer(answer).data)
