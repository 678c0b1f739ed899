"""The index, the document and the page to try the calls."""

from __future__ import annotations

import re

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

pytestmark = pytest.mark.urls("tests.registry.api.calls_with_index")


def test_index__gives_addresses_that_are_there() -> None:
    read = Client().get("/api/v1/").json()
    assert read["openapi"] == "http://testserver/api/v1/openapi.json"
    assert Client().get(read["openapi"]).status_code == 200
    assert Client().get(read["docs"]).status_code == 200
    assert read["calls"]["eggs/"] == "http://testserver/api/v1/eggs/"
    assert not [name for name in read["calls"] if "{" in name]


@pytest.mark.parametrize("address", ["/api/v1/?x=1", "/api/v1/openapi.json?version=2"])
def test_index_and_document__know_no_parameters(address: str) -> None:
    assert Client().get(address).json()["code"] == "unknown-parameter"


def test_docs__needs_no_outside_file_and_no_inline_script() -> None:
    page = Client().get("/api/v1/docs/").content.decode()
    sources = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert len(sources) == 5
    assert all(source.startswith("/") and not source.startswith("//") for source in sources)
    assert re.findall(r"<script(?![^>]*src=)|<style|\son\w+=|javascript:", page) == []
    files = [source.removeprefix("/static/") for source in sources if "/static/" in source]
    assert len(files) == 4
    assert all(finders.find(name) for name in files)


def test_docs_script__asks_no_outside_validator() -> None:
    found = finders.find("api/docs.js")
    assert found is not None
    with open(found, encoding="utf-8") as script:  # noqa: PTH123 - a path of the finder
        assert "validatorUrl: null" in script.read()
