"""The demo at its usual size: each of its three inventions is found, the right reason first."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from registry.clutches.models import Clutch, Revision
from registry.pairings.models import Pairing
from tests.factories.pages import Browser
from tests.factories.registry import GECKO, Api

pytestmark = pytest.mark.django_db


def test_demo__shows_what_it_was_made_to_show():
    told = StringIO()
    call_command("demo", stdout=told)
    assert "150 invented clutches of 12 invented keepers" in told.getvalue()
    rows = {one["combination"]: one for one in Api().get("flags/", species=GECKO)["results"]}
    pair, look_alike = rows["Ashwater Quillback"], rows["Pale Reed Copperlatch"]
    assert (pair["state"], pair["explanation"]) == ("flagged", "reduced-viability")
    assert (look_alike["state"], look_alike["explanation"]) == ("flagged", "look-alike")
    sire = Api().combination("turfcoat")
    assert sire["produced"]["answer"] == "no"
    assert sire["tried"]["expected"] > 10
    assert sire["explanations"][0]["name"] == "parent-not-carrying"
    assert sire["state"] in {"too-early", "as-expected"}
    board = Browser().get("/watch/", species=GECKO)
    assert "Invented." in board.text
    assert pair["reason"] in board.text

    assert Clutch.objects.filter(is_declared=True).count() >= 30
    assert Pairing.objects.filter(clutches=None).exists()
    assert Revision.objects.filter(sheds=2).exists()
    assert Api().combination("ashwater quillback")["evidence"]["e_value_declared_only"] > 1
    unsure = [
        one
        for one in Api().get("combinations/", species=GECKO)["results"]
        if one["produced"]["hatchlings_if_uncertain_count"] > one["produced"]["hatchlings"]
    ]
    assert unsure

    with pytest.raises(CommandError, match="already"):
        call_command("demo", stdout=told)
    n_clutches = Clutch.objects.count()
    call_command("demo", "--keep", stdout=told)
    assert Clutch.objects.count() == n_clutches
    call_command("demo", "--again", "--clutches", "3", "--keepers", "2", stdout=told)
    assert Clutch.objects.count() == n_clutches + 3
