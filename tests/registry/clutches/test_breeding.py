"""What breeding shows of an animal: its clutches and pools follow."""

from __future__ import annotations

from typing import Any

import pytest

from registry.clutches.models import Revision
from registry.clutches.services import reporting
from registry.clutches.services.rebuilding import pools_differences
from registry.pairings.models import AnimalStatus, Pairing
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    parent,
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Api:
    gecko()
    return joined()


def animal_of(keeper: Api, label: str) -> dict[str, Any]:
    (found,) = keeper.get("animals/", label=label)["results"]
    return found  # type: ignore[no-any-return]


def bred(keeper: Api, label: str, gene: str, status: str, **more: Any) -> dict[str, Any]:
    path = f"animals/{animal_of(keeper, label)['id']}/"
    etag = keeper.send("get", path).headers["ETag"]
    response = keeper.send(
        "post",
        f"{path}statuses/",
        {"gene": gene, "status": status, **more},
        headers={"If-Match": etag},
    )
    assert response.status_code == 201, response.content
    assert response.json() == keeper.get(path)
    return response.json()  # type: ignore[no-any-return]


def test_proven__is_certain_in_every_clutch_of_the_animal(keeper):
    sire = parent("66% het ashwater", "m-1")
    made = [keeper.post("clutches/", clutch(sire, "ashwater", {"normal": n}))["id"] for n in (2, 3)]
    other = keeper.post("clutches/", clutch(parent("66% het ashwater", "m-2"), "ashwater"))["id"]
    before = keeper.combination("ashwater")["tried"]["expected"]
    after = bred(keeper, "m-1", "ashwater", "proven", basis="a third clutch")
    assert after["genes"] == "het Ashwater"
    assert [(one["gene"], one["status"], one["basis"]) for one in after["statuses"]] == [
        ("Ashwater", "proven", "a third clutch")
    ]
    for one in made:
        assert keeper.get(f"clutches/{one}/")["sire"]["genes"] == "het Ashwater"
        first, second = keeper.get(f"clutches/{one}/revisions/")["results"]
        assert (first["sire"], second["sire"]) == ("66% het Ashwater", "het Ashwater")
        assert (second["kind"], second["basis"]) == ("breeding", "a third clutch")
    assert keeper.get(f"clutches/{other}/")["sire"]["genes"] == "66% het Ashwater"
    # 5 hatchlings at 1/2 now, at 1/3 before; the other clutch of 6 stays at 1/3.
    assert before == pytest.approx(11 / 3)
    assert keeper.combination("ashwater")["tried"]["expected"] == pytest.approx(5 / 2 + 2)
    assert pools_differences() == []


def test_disproved__takes_the_clutches_out_of_the_pools_of_the_gene(keeper):
    sire = parent("het ashwater, het reed", "m-1")
    made = keeper.post("clutches/", clutch(sire, "ashwater, reed", {"normal": 6, "reed": 6}))["id"]
    assert keeper.combination("ashwater")["tried"]["clutches"] == 1
    bred(keeper, "m-1", "ashwater", "disproved")
    assert keeper.combination("ashwater")["tried"]["clutches"] == 0
    assert keeper.combination("reed")["tried"]["clutches"] == 1
    assert keeper.get(f"clutches/{made}/")["sire"]["genes"] == "het Pale Reed"
    assert pools_differences() == []


def test_disproved__calls_are_held_against_the_parents_anew(keeper):
    sire = parent("het ashwater", "m-1")
    made = keeper.post("clutches/", clutch(sire, "ashwater", {"normal": 3, "ashwater": 3}))["id"]
    bred(keeper, "m-1", "ashwater", "disproved")
    now = keeper.get(f"clutches/{made}/")["hatchlings"]
    assert [one["contradicts_parents"] for one in now] == [False, True]
    assert "Ashwater can not come from these parents" in now[1]["reason"]
    assert [one["call"] for one in now] == ["normal", "ashwater"]


def test_proven__reads_stored_states_that_would_be_refused_today(keeper):
    """An entry of a time at which one reading could be given twice."""
    sire, unsure = parent("66% het ashwater", "m-1"), group("normal", 3, "ashwater")
    made = keeper.post("clutches/", clutch(sire, "ashwater", [unsure]))["id"]
    state = Revision.objects.get(clutch=made)
    first, _other = state.content["hatchlings"][0]["readings"]
    state.content["hatchlings"][0]["readings"] = [first, first]
    Revision.objects.filter(pk=state.pk).update(content=state.content)
    bred(keeper, "m-1", "ashwater", "proven")
    found = keeper.get(f"clutches/{made}/")
    assert (found["revision"], found["sire"]["genes"]) == (2, "het Ashwater")


def test_proven__of_an_unproven_gene_takes_the_mark_away(keeper):
    sire = parent("het ashwater", "m-1", unproven=["ashwater"])
    made = keeper.post("clutches/", clutch(sire, "ashwater"))["id"]
    bred(keeper, "m-1", "ASHEN-WATER", "proven")
    assert keeper.get(f"clutches/{made}/")["sire"]["unproven"] == []
    assert pools_differences() == []


def test_proven__after_it_was_disproved_gives_the_gene_back(keeper):
    """Twelve hatchlings without it, and then one with it: the animal carries it after all."""
    sire = parent("66% het ashwater, het reed", "m-1")
    keeper.post(
        "pairings/", {"species": GECKO, "season": 2026, "sire": sire, "dam": parent("ashwater")}
    )
    made = keeper.post("clutches/", clutch(sire, "ashwater", {"normal": 12}))["id"]
    bred(keeper, "m-1", "ashwater", "disproved")
    later = keeper.post("clutches/", clutch(parent("het reed", "m-1"), "ashwater"))["id"]
    assert bred(keeper, "m-1", "ashwater", "proven")["genes"] == "het Ashwater het Pale Reed"
    for one in (made, later):
        assert keeper.get(f"clutches/{one}/")["sire"]["genes"] == "het Ashwater het Pale Reed"
    (declared,) = keeper.get("pairings/")["results"]
    assert declared["sire"]["genes"] == "het Ashwater het Pale Reed"
    assert keeper.combination("ashwater")["tried"]["clutches"] == 2
    assert pools_differences() == []


STALE = [
    ("proven", "66% het ashwater, het reed", "het Ashwater het Pale Reed", "carries Ashwater"),
    ("proven", "het reed", "het Ashwater het Pale Reed", "carries Ashwater"),
    ("disproved", "66% het ashwater, het reed", "het Pale Reed", "does not carry Ashwater"),
    ("disproved", "het ashwater", "Normal", "does not carry Ashwater"),
]


@pytest.mark.parametrize(("status", "stale", "right", "noted"), STALE)
def test_report__does_not_undo_what_breeding_has_shown(keeper, status, stale, right, noted):
    keeper.post("clutches/", clutch(parent("66% het ashwater, het reed", "m-1"), "ashwater"))
    bred(keeper, "m-1", "ashwater", status)
    for path, body in (
        ("clutches/", clutch(parent(stale, "m-1"), "ashwater", {"normal": 3})),
        (
            "pairings/",
            {
                "species": GECKO,
                "season": 2026,
                "sire": parent(stale, "m-1"),
                "dam": parent("ashwater"),
            },
        ),
    ):
        known = animal_of(keeper, "m-1")
        (fault,) = keeper.refused("post", path, body)["errors"]
        assert (fault["pointer"], fault["genes"]) == ("#/sire/genes", right)
        assert f"you noted that 'm-1' {noted}" in fault["detail"]
        assert f"Write its genes as {right!r}." in fault["detail"]
        assert animal_of(keeper, "m-1") == known
        body["sire"]["genes"] = right
        assert keeper.post(path, body)["sire"]["genes"] == right
    assert Revision.objects.filter(kind="report").count() == 2
    # The same words under another label are another animal's.
    keeper.post("clutches/", clutch(parent(stale, "m-2"), "ashwater", {"normal": 5}))


def test_report__is_told_of_every_gene_and_parent_at_odds_at_once(keeper):
    sire, dam = parent("66% het ashwater, het reed", "m-1"), parent("66% het reed", "f-1")
    keeper.post("clutches/", clutch(sire, dam))
    for label, gene, status in (
        ("m-1", "ashwater", "proven"),
        ("m-1", "reed", "disproved"),
        ("f-1", "reed", "disproved"),
        ("f-1", "reed", "proven"),
    ):
        bred(keeper, label, gene, status)
    faults = keeper.refused("post", "clutches/", clutch(sire, dam, {"normal": 7}))["errors"]
    assert [(one["pointer"], one["genes"]) for one in faults] == [
        ("#/sire/genes", "het Ashwater"),
        ("#/dam/genes", "het Pale Reed"),
    ]
    for words in ("carries Ashwater", "does not carry Pale Reed; if it gave the gene after all"):
        assert words in faults[0]["detail"]


def test_report__of_a_gene_that_breeding_said_nothing_of_states_it_anew(keeper):
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1"), "ashwater"))
    bred(keeper, "m-1", "ashwater", "proven")
    keeper.post("clutches/", clutch(parent("het ashwater, het reed", "m-1"), "reed", {"reed": 2}))
    assert animal_of(keeper, "m-1")["genes"] == "het Ashwater het Pale Reed"


def test_status__reaches_declared_pairings_and_every_version(keeper):
    sire = parent("66% het ashwater", "m-1")
    keeper.post("clutches/", clutch(sire, "ashwater"))
    gecko_changed()
    keeper.post("clutches/", clutch(sire, "ashwater"))
    declared = keeper.post(
        "pairings/", {"species": GECKO, "season": 2026, "sire": sire, "dam": parent("ashwater")}
    )
    bred(keeper, "m-1", "ashwater", "disproved")
    assert Revision.objects.filter(kind="breeding").count() == 2
    assert Pairing.objects.get().targets == []
    joining = clutch(None, None, {"normal": 4}, pairing=declared["id"], season=2026)
    assert keeper.post("clutches/", joining)["sire"]["genes"] == "Normal"
    assert pools_differences() == []


@pytest.mark.parametrize(
    ("gene", "status", "code"),
    [
        ("reed", "proven", "contradictory-statement"),
        ("reed", "disproved", "contradictory-statement"),
        ("ashwater", "proven", "contradictory-statement"),
        ("wildfire", "proven", "unknown-gene"),
        ("ashwater reed", "proven", "contradictory-statement"),
    ],
)
def test_status__that_says_nothing_new_is_refused(keeper, gene, status, code):
    keeper.post("clutches/", clutch(parent("het ashwater", "m-1"), "ashwater"))
    path = f"animals/{animal_of(keeper, 'm-1')['id']}/statuses/"
    body = {"gene": gene, "status": status}
    problem = keeper.refused("post", path, body, headers=ANY_STATE)
    assert told(problem) == {("#/gene", code)}
    assert not AnimalStatus.objects.exists()
    assert Revision.objects.count() == 1


def test_status__needs_the_state_it_is_based_on(keeper):
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1"), "ashwater"))
    path = f"animals/{animal_of(keeper, 'm-1')['id']}/"
    old = keeper.send("get", path).headers["ETag"]
    bred(keeper, "m-1", "ashwater", "proven")
    body = {"gene": "ashwater", "status": "disproved"}
    assert keeper.refused("post", f"{path}statuses/", body)["status"] == 428
    refused = keeper.refused("post", f"{path}statuses/", body, headers={"If-Match": old})
    assert refused["status"] == 412


SERIES = [
    ("66% het peatcoat", "peatcoat", "turfcoat", "Peatcoat Turfcoat"),
    ("66% het peatcoat", "peatcoat", "50% het turfcoat", "het Peatcoat 50% het Turfcoat"),
    ("brackish", "brackish", "super saltgrass", "Brackish Saltgrass"),
]


@pytest.mark.parametrize(("stated", "gene", "stale", "right"), SERIES)
def test_report__keeps_a_proven_allele_beside_another_of_its_locus(
    keeper, stated, gene, stale, right
):
    """Of the two copies one is the proven one, so the other allele is there once."""
    keeper.post("clutches/", clutch(parent(stated, "m-1", unproven=[gene])))
    bred(keeper, "m-1", gene, "proven")
    body = clutch(parent(stale, "m-1"), hatchlings={"normal": 3})
    (fault,) = keeper.refused("post", "clutches/", body)["errors"]
    assert (fault["code"], fault["genes"]) == ("contradictory-statement", right)
    body["sire"]["genes"] = right
    assert keeper.post("clutches/", body)["sire"]["genes"] == right


def test_proven__after_it_was_disproved_takes_the_place_of_another_allele(keeper):
    keeper.post("clutches/", clutch(parent("66% het peatcoat", "m-1")))
    bred(keeper, "m-1", "peatcoat", "disproved")
    made = keeper.post("clutches/", clutch(parent("turfcoat", "m-1"), hatchlings={"normal": 3}))
    assert bred(keeper, "m-1", "peatcoat", "proven")["genes"] == "Peatcoat Turfcoat"
    assert keeper.get(f"clutches/{made['id']}/")["sire"]["genes"] == "Peatcoat Turfcoat"
    assert pools_differences() == []


def test_proven__beside_two_other_alleles_is_for_the_keeper_to_mend(keeper):
    def more_alleles(content):
        estuary = next(one for one in content["loci"] if one["key"] == "ml-estuary")
        estuary["alleles"].append({**estuary["alleles"][0], "gene": "Reedsalt"})

    gecko_changed(more_alleles)
    keeper.post("clutches/", clutch(parent("reedsalt", "m-1")))
    bred(keeper, "m-1", "reedsalt", "disproved")
    two_others = clutch(parent("brackish saltgrass", "m-1"), hatchlings={"normal": 3})
    keeper.post("clutches/", two_others)
    path = f"animals/{animal_of(keeper, 'm-1')['id']}/statuses/"
    said = {"gene": "reedsalt", "status": "proven"}
    refused = keeper.refused("post", path, said, headers=ANY_STATE)
    assert told(refused) == {("#/gene", "contradictory-statement")}
    assert "Brackish and Saltgrass are stated of it" in refused["detail"]

    keeper.post("clutches/", clutch(parent("reedsalt", "m-2", unproven=["reedsalt"])))
    bred(keeper, "m-2", "reedsalt", "proven")
    two_others["sire"]["animal"] = "m-2"
    (fault,) = keeper.refused("post", "clutches/", two_others)["errors"]
    assert (fault["pointer"], "genes" in fault) == ("#/sire/genes", False)
    assert "you noted that 'm-2' carries Reedsalt" in fault["detail"]
    assert "leave out what it has not" in fault["detail"]


def test_report__does_not_call_unproven_what_was_proven(keeper):
    keeper.post("clutches/", clutch(parent("het ashwater", "m-1", unproven=["ashwater"])))
    bred(keeper, "m-1", "ashwater", "proven")
    body = clutch(parent("het ashwater", "m-1", unproven=["ashwater"]), hatchlings={"normal": 3})
    (fault,) = keeper.refused("post", "clutches/", body)["errors"]
    assert (fault["pointer"], fault["proven"]) == ("#/sire/unproven", ["Ashwater"])
    table = f"species,season,sire,sire_animal,sire_unproven,dam,hatchlings\n{GECKO},2025,"
    line, _sum = keeper.bulk(f"{table}het ashwater,m-1,ashwater,normal,3 normal\n", "text/csv")
    assert line["problem"]["errors"][0]["column"] == "sire_unproven"
    del body["sire"]["unproven"]
    keeper.post("clutches/", body)


def test_report__of_a_declaration_reads_what_breeding_showed_in_between(keeper, monkeypatch):
    """A declaration is read before its keeper is locked; a status may come in between."""
    sire = parent("66% het ashwater", "m-1")
    declared = {"species": GECKO, "season": 2026, "sire": sire, "dam": parent("ashwater")}
    pairing = keeper.post("pairings/", declared)["id"]
    read = reporting._read

    def read_early(*given):
        monkeypatch.undo()
        found = read(*given)
        bred(keeper, "m-1", "ashwater", "proven")
        return found

    monkeypatch.setattr(reporting, "_read", read_early)
    body = {"species": GECKO, "season": 2026, "hatchlings": [group("normal", 4)]}
    made = keeper.post("clutches/", body | {"pairing": pairing})
    assert made["sire"]["genes"] == "het Ashwater"
    assert (made["declared"], Revision.objects.count()) == (True, 1)
    assert keeper.combination("ashwater")["tried"]["expected"] == pytest.approx(2)
    assert pools_differences() == []
