"""The same calls beside the interface's own index, document and page."""

from django.urls import include, path

from tests.registry.api import calls
from tests.registry.api.calls import handler400, handler403, handler404, handler500

__all__ = ["handler400", "handler403", "handler404", "handler500", "urlpatterns"]

urlpatterns = [path("api/v1/", include("registry.api.urls")), *calls.urlpatterns]
