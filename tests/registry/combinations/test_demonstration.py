"""The demo at its usual size: each of its three inventions is found, the right reason first."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from registry.clutches.models import Clutch, LikelyDuplicate, Revision
from registry.clutches.services.reporting import clutch_report
from registry.keepers.models import Keeper
from registry.pages.wording import EXPLANATIONS
from registry.pairings.models import Pairing
from tests.factories.pages import Browser
from tests.factories.registry import GECKO, Api

pytestmark = pytest.mark.django_db


def test_demo__shows_what_it_was_made_to_show():
    told = StringIO()
    call_command("demo", stdout=told)
    assert "150 invented clutches of 12 invented keepers" in told.getvalue()
    assert f"the board is at /watch/?species={GECKO}" in told.getvalue()
    assert "Turfcoat (as-expected): 0 hatched where" in told.getvalue()
    rows = {one["combination"]: one for one in Api().get("flags/", species=GECKO)["results"]}
    pair, look_alike = rows["Ashwater Quillback"], rows["Pale Reed Copperlatch"]
    assert (pair["state"], pair["explanation"]) == ("flagged", "reduced-viability")
    assert (look_alike["state"], look_alike["explanation"]) == ("flagged", "look-alike")
    sire = Api().combination("turfcoat")
    assert sire["produced"]["answer"] == "no"
    assert sire["tried"]["expected"] > 10
    assert sire["explanations"][0]["name"] == "parent-not-carrying"
    assert sire["state"] in {"too-early", "as-expected"}
    assert sire["tried"]["keepers"] is None
    for genes, reason in (
        ("Ashwater Quillback", pair["explanation"]),
        ("Pale Reed Copperlatch", look_alike["explanation"]),
        ("Turfcoat", "parent-not-carrying"),
    ):
        page = Browser().get(f"/combinations/{GECKO}/{genes}/")
        assert "Invented." in page.text
        places = {name: page.text.find(words) for name, words in EXPLANATIONS.items()}
        shown = {name: place for name, place in places.items() if place >= 0}
        assert min(shown, key=shown.__getitem__) == reason
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
    call_command("demo", "--again", "--clutches", "3", "--keepers", "1", stdout=told)
    assert Clutch.objects.count() == n_clutches + 3


def test_demo__spreads_what_it_reports_over_past_years():
    call_command("demo", "--clutches", "90", stdout=StringIO())
    now = timezone.now()
    clutches = Clutch.objects.order_by("reported_at")
    seasons = [one.season for one in clutches]
    assert set(seasons) == set(range(now.year - 6, now.year))
    assert seasons == sorted(seasons)
    for one in clutches.select_related("keeper", "pairing"):
        assert one.reported_at.year == one.season
        assert one.keeper is not None
        assert one.keeper.joined_at < one.reported_at < now
        if one.pairing is not None:
            assert one.is_declared
            assert one.pairing.declared_at < one.reported_at
        made = [state.made_at for state in one.revisions.order_by("number")]
        assert made[0] == one.reported_at
        assert made == sorted(made)
    later = Revision.objects.filter(sheds=2)
    assert len(later) >= 2
    decided = [one for one in later if _n_unsure(one) < _n_unsure(one.clutch.revisions.first())]
    assert decided


def _n_unsure(state: Revision) -> int:
    return sum(len(one["readings"]) > 1 for one in state.content["hatchlings"])


def test_demo__has_a_clutch_that_came_twice():
    call_command("demo", "--clutches", "60", stdout=StringIO())
    twice = LikelyDuplicate.objects.select_related("earlier", "later")
    for one in twice:
        assert one.found_at == one.later.reported_at > one.earlier.reported_at
        assert one.later.is_duplicate
        assert one.state == "likely"
    (of_two,) = (one for one in twice if one.earlier.keeper_id != one.later.keeper_id)
    assert of_two.earlier.n_hatchlings == of_two.later.n_hatchlings > 0
    assert of_two.later.reported_at.month == 12


def test_demo__leaves_nothing_behind_when_it_is_stopped(monkeypatch):
    told = [0]

    def stopped(*_args, **_options):
        told[0] += 1
        if told[0] == 4:
            raise KeyboardInterrupt
        return clutch_report(*_args, **_options)

    monkeypatch.setattr("registry.combinations.demonstration.clutch_report", stopped)
    with pytest.raises(KeyboardInterrupt):
        call_command("demo", "--clutches", "9", stdout=StringIO())
    assert told[0] == 4
    assert not Clutch.objects.exists()
    assert not Keeper.objects.exists()
