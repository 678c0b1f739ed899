"""Clutches that are refused: what the problem says, and that nothing of them is stored."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
import time_machine

from registry.catalogue.services import catalogue_load
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    parent,
    stored,
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _species():
    gecko()


@pytest.fixture
def keeper() -> Api:
    return joined()


def refused(keeper: Api, body: Any = None, path: str = "clutches/", **given: Any) -> dict[str, Any]:
    """The problem of a refused report; no table has a row more or less."""
    before = stored()
    problem = keeper.refused("post", path, body, **given)
    assert stored() == before
    return problem


BAD = [
    pytest.param(
        clutch(eggs={"laid": 6, "infertile": 1, "died": 2}, hatchlings={"normal": 4}),
        ("#/eggs/laid", "counts-do-not-add-up"),
        "eggs/laid: 6 eggs laid, but 1 never developed, 2 died and 4 hatched make 7.",
        id="laid fewer than what became of them",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", -1)]),
        ("#/hatchlings/0/count", "invalid-body"),
        "hatchlings/0/count: Read -1, expected a whole number from 1 to 1000000.",
        id="negative hatchlings",
    ),
    pytest.param(
        clutch(eggs={"laid": -3}),
        ("#/eggs/laid", "invalid-body"),
        "eggs/laid: Read -3, expected a whole number from 0 to 1000000.",
        id="negative eggs",
    ),
    pytest.param(
        clutch(season=2027),
        ("#/season", "season-out-of-range"),
        "season: The season is 2027; a season is a year from 1990 to 2026.",
        id="season in the future",
    ),
    pytest.param(
        clutch(season=1989),
        ("#/season", "season-out-of-range"),
        "season: The season is 1989; a season is a year from 1990 to 2026.",
        id="season before the first",
    ),
    pytest.param(
        clutch(species="marsh-lantern-geco"),
        ("#/species", "unknown-species"),
        "species: The catalogue has no species 'marsh-lantern-geco'. Did you mean "
        "marsh-lantern-gecko?",
        id="unknown species",
    ),
    pytest.param(
        clutch(hatchlings=[]),
        ("#", "empty-clutch"),
        "The clutch has neither hatchlings nor eggs. A clutch in which nothing hatched is welcome: "
        "give the eggs laid, those that never developed or those that died.",
        id="empty clutch",
    ),
    pytest.param(
        clutch(hatchlings=[], eggs={"laid": 0}),
        ("#", "empty-clutch"),
        "The clutch has neither hatchlings nor eggs. A clutch in which nothing hatched is welcome: "
        "give the eggs laid, those that never developed or those that died.",
        id="empty clutch with zeros",
    ),
    pytest.param(
        clutch(hatchlings={"normal": 10_000}),
        ("#/hatchlings", "too-many-hatchlings"),
        "hatchlings: 10000 hatchlings are more than the 300 that one clutch can have; report each "
        "clutch by itself.",
        id="10,000 hatchlings",
    ),
    pytest.param(
        clutch(hatchlings={"normal": 200, "ashwater": 101}),
        ("#/hatchlings", "too-many-hatchlings"),
        "hatchlings: 301 hatchlings are more than the 300 that one clutch can have; report each "
        "clutch by itself.",
        id="301 hatchlings",
    ),
    pytest.param(
        clutch(eggs={"laid": 10_000}),
        ("#/eggs", "too-many-hatchlings"),
        "eggs: 10000 eggs are more than the 300 that one clutch can have; report each clutch by "
        "itself.",
        id="10,000 eggs",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", 1, "ashwater", weights=[1])]),
        ("#/hatchlings/0/weights", "counts-do-not-add-up"),
        "hatchlings/0/weights: 1 weight for 2 readings: give one for the call and one for each of "
        "'or', in this order, or none at all.",
        id="weights of the wrong length",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", 1, "ashwater", weights=[0, 1])]),
        ("#/hatchlings/0/weights", "counts-do-not-add-up"),
        "hatchlings/0/weights: A weight of 0 says that the reading is not meant: leave the reading "
        "out instead.",
        id="weight of zero",
    ),
    pytest.param(
        clutch(parent("normal", "m-1"), parent("normal", "m-1"), {"normal": 3}),
        ("#/dam/animal", "contradictory-statement"),
        "dam/animal: 'm-1' is named as sire and as dam; they are two animals.",
        id="one label for both parents",
    ),
    pytest.param(
        clutch("het aswater"),
        ("#/sire/genes", "unknown-gene"),
        "sire/genes: 'aswater' is no known gene or nickname of the marsh lantern gecko. Did you "
        "mean Ashwater?",
        id="unknown gene of a parent",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", 1, "asen water")]),
        ("#/hatchlings/0/or/0", "unknown-gene"),
        "hatchlings/0/or/0: 'asen water' is no known gene or nickname of the marsh lantern gecko. "
        "Did you mean Ashen Water?",
        id="unknown gene of a reading",
    ),
    pytest.param(
        clutch("het ashwater pale reed"),
        ("#/sire/genes", "ambiguous-text"),
        "sire/genes: 'het ashwater pale reed' can be read in 2 ways: Pale Reed het Ashwater; het "
        "Ashwater het Pale Reed. Write the one that is meant.",
        id="ambiguous text",
    ),
    pytest.param(
        clutch("possible het ashwater"),
        ("#/sire/genes", "possible-het-needs-a-number"),
        "sire/genes: A possible het Ashwater needs its chance: write '66% het Ashwater' (one of a "
        "het x het clutch), '50% het Ashwater' (one parent het), or state the pedigree.",
        id="possible het without a number",
    ),
    pytest.param(
        clutch("super ashwater"),
        ("#/sire/genes", "super-of-recessive"),
        "sire/genes: Ashwater is recessive and has no super form: a visual animal already has two "
        "copies. Write 'Ashwater' for a visual, 'het Ashwater' for one copy.",
        id="super of a recessive",
    ),
    pytest.param(
        clutch("het tidemark"),
        ("#/sire/genes", "het-of-visible-gene"),
        "sire/genes: Tidemark shows in one copy, so nothing can be het Tidemark unseen. Write "
        "'Tidemark' for one copy, 'super Tidemark' for two.",
        id="het of a visible gene",
    ),
    pytest.param(
        clutch("super brackish saltgrass"),
        ("#/sire/genes", "too-many-alleles"),
        "sire/genes: An animal carries at most 2 alleles at the locus ml-estuary, but Brackish, "
        "Brackish and Saltgrass make 3.",
        id="three alleles at one locus",
    ),
    pytest.param(
        clutch(parent("ashwater", unproven=["quillback"])),
        ("#/sire/genes", "contradictory-statement"),
        "sire/genes: Quillback is given a phase, an origin or as unproven, but is not among the "
        "genes stated of this animal.",
        id="unproven gene that is not stated",
    ),
    pytest.param(
        clutch(parent("ashwater", unproven=["brackish tidemark"])),
        ("#/sire/unproven/0", "contradictory-statement"),
        "sire/unproven/0: 'brackish tidemark' names Tidemark and Brackish; one gene is expected "
        "here.",
        id="two genes where one is meant",
    ),
    pytest.param(
        clutch(parent("ashwater", proven=["quillback"])),
        ("#/sire/genes", "contradictory-statement"),
        "sire/genes: Quillback is said to be proven, but is not among the genes stated of this "
        "animal.",
        id="proven gene that is not stated",
    ),
    pytest.param(
        clutch(clutch_kode="a"),
        ("#/clutch_kode", "unknown-field"),
        "clutch_kode: There is no field 'clutch_kode' here; known are species, sire, dam, eggs, "
        "hatchlings, clutch_code, season and pairing. Did you mean clutch_code?",
        id="unknown field",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", 1, colour="dark")]),
        ("#/hatchlings/0/colour", "unknown-field"),
        "hatchlings/0/colour: There is no field 'colour' here; known are call, count, sex, basis, "
        "weights and or.",
        id="unknown field of hatchlings",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", 1, sex="femal")]),
        ("#/hatchlings/0/sex", "invalid-body"),
        "hatchlings/0/sex: Read 'femal', expected male, female or unknown.",
        id="unknown sex",
    ),
    pytest.param(
        clutch(hatchlings=[group("normal", True)]),
        ("#/hatchlings/0/count", "invalid-body"),
        "hatchlings/0/count: Read true, expected a whole number from 1 to 1000000.",
        id="count that is none",
    ),
    pytest.param(
        [clutch()],
        ("#", "invalid-body"),
        "Read a list, expected an object.",
        id="a list of clutches",
    ),
    pytest.param(
        clutch(pairing=str(uuid.UUID(int=7))) | {"sire": None, "dam": None},
        ("#/pairing", "contradictory-statement"),
        "pairing: You declared no pairing 00000000-0000-0000-0000-000000000007.",
        id="pairing that does not exist",
    ),
]


@pytest.mark.parametrize(("body", "place", "detail"), BAD)
def test_report__refuses(keeper, body, place, detail):
    with time_machine.travel("2026-06-01T00:00:00Z"):
        problem = refused(keeper, body)
    assert problem["detail"] == detail
    assert problem["status"] == 400
    assert told(problem) == {place}
    assert problem["code"] == place[1]


@pytest.mark.parametrize(
    ("body", "place", "detail"), [one for one in BAD if "pairing" not in (one.id or "")]
)
def test_check__refuses_what_a_report_refuses(keeper, body, place, detail):
    if place in {("#/season", "season-out-of-range"), ("#/dam/animal", "contradictory-statement")}:
        # A check needs no season and knows no animals.
        before = stored()
        keeper.post("clutch-checks/", body, status=200)
        assert stored() == before
        return
    problem = refused(keeper, body, path="clutch-checks/")
    assert (
        problem["detail"].partition(" here; known are ")[0]
        == detail.partition(" here; known are ")[0]
    )


def test_report__names_every_fault_at_once(keeper):
    body = clutch(
        "het asen water",
        "super ashwater",
        [group("normal", 8), group("sedge", 1)],
        season=1980,
        eggs={"laid": 3},
    )
    problem = refused(keeper, body)
    assert told(problem) == {
        ("#/season", "season-out-of-range"),
        ("#/eggs/laid", "counts-do-not-add-up"),
        ("#/sire/genes", "unknown-gene"),
        ("#/dam/genes", "super-of-recessive"),
    }
    assert problem["code"] == "invalid-body"
    assert problem["detail"].startswith("4 faults were found. The first: season: ")


def test_report__names_the_readings_of_ambiguous_text_and_each_is_accepted(keeper):
    problem = refused(keeper, clutch("het ashwater pale reed"))
    assert problem["readings"] == ["Pale Reed het Ashwater", "het Ashwater het Pale Reed"]
    for reading in problem["readings"]:
        assert keeper.post("clutches/", clutch(reading))["sire"]["genes"] == reading


def test_report__tells_a_gene_of_another_species(keeper):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    problem = refused(keeper, clutch("tessera"))
    assert told(problem) == {("#/sire/genes", "gene-of-another-species")}
    assert problem["detail"] == (
        "sire/genes: 'tessera' is not a gene of the marsh lantern gecko; it is known in the corn "
        "snake."
    )
    assert problem["known_in"] == ["corn snake"]


def test_report__suggests_species_and_genes(keeper):
    assert refused(keeper, clutch(species="marsh lantern"))["suggestions"] == [GECKO]
    assert refused(keeper, clutch("het quilback"))["suggestions"] == ["Quillback"]


def test_report__refuses_a_body_that_is_no_json(keeper):
    problem = refused(keeper, content=b'{"species": "marsh-lantern-gecko",')
    assert (problem["code"], problem["status"]) == ("not-json", 400)
    assert problem["detail"].startswith("The body is not JSON: ")
    assert (problem["line"], problem["column"]) == (1, 35)


def test_report__refuses_a_body_of_5_megabytes(keeper):
    problem = refused(keeper, content=b'{"species": "' + b"x" * 5_000_000 + b'"}')
    assert (problem["code"], problem["status"]) == ("body-too-large", 413)
    assert problem["detail"] == "The body has more than the 1000000 bytes that are read."
    assert problem["limit"] == 1_000_000


def test_report__refuses_a_body_of_another_kind(keeper):
    problem = refused(keeper, content=b"species=x", content_type="text/csv")
    assert (problem["code"], problem["status"]) == ("unsupported-media-type", 415)
    assert problem["detail"] == "The body was sent as 'text/csv'; this call reads application/json."


def test_report__needs_a_token():
    problem = refused(Api(), clutch())
    assert (problem["code"], problem["status"]) == ("not-authenticated", 401)
    assert problem["detail"] == (
        "This call needs 'Authorization: Bearer <token>'; POST keepers/ gives a token."
    )


@pytest.mark.parametrize(
    ("header", "detail"),
    [
        ("Bearer bck_nobody", "The token belongs to no keeper."),
        ("Bearer nobody", "The token belongs to no keeper."),
        (
            "Basic bck_nobody",
            "The Authorization header can not be read; expected 'Bearer <token>'.",
        ),
        ("Bearer", "The Authorization header can not be read; expected 'Bearer <token>'."),
    ],
)
def test_report__refuses_an_unknown_token(header, detail):
    problem = refused(Api(), clutch(), headers={"Authorization": header})
    assert (problem["code"], problem["status"], problem["detail"]) == ("unknown-token", 401, detail)


def test_report__refuses_a_recovery_code_as_token():
    new = Api().post("keepers/", {})
    assert refused(Api(new["recovery_code"]), clutch())["code"] == "unknown-token"


def test_report__refuses_an_unknown_parameter(keeper):
    problem = refused(keeper, clutch(), query={"season": 2025})
    assert told(problem) == {("season", "unknown-parameter")}
    assert problem["detail"] == (
        "parameter season: There is no parameter 'season' here; this call knows no parameter."
    )


def test_list__refuses_an_unknown_parameter(keeper):
    problem = keeper.refused("get", "clutches/", query={"saeson": 2025})
    assert told(problem) == {("saeson", "unknown-parameter")}
    assert problem["suggestions"] == ["season"]


def test_report__refuses_a_label_of_the_other_sex(keeper):
    keeper.post("clutches/", clutch(parent("het ashwater", "x-1")))
    before = stored()
    problem = keeper.refused("post", "clutches/", clutch(dam=parent("het ashwater", "x-1")))
    assert told(problem) == {("#/dam/animal", "contradictory-statement")}
    assert problem["detail"] == (
        "dam/animal: You reported 'x-1' as a male before, and it is named as the dam here. Use "
        "another label, or correct the parents."
    )
    assert stored() == before


def test_report__of_the_other_sex_does_not_change_what_is_known_of_the_animal(keeper):
    keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed", "x-1"), "dam": parent("reed")},
    )
    keeper.refused("post", "clutches/", clutch(dam=parent("het quillback", "x-1")))
    from registry.pairings.models import Animal  # noqa: PLC0415 - only this test looks inside

    assert Animal.objects.get(label="x-1").genes == "Pale Reed"


@pytest.mark.parametrize(
    ("entry", "pointer", "reading"),
    [
        (group("ashwater", 1, "Ashen Water"), "#/hatchlings/0/or/0", "Ashwater"),
        (group("normal", 1, "ashwater", "ashwater"), "#/hatchlings/0/or/1", "Ashwater"),
        (group("super tidemark", 1, "tidemark", "floodmark"), "#/hatchlings/0/or/1",
         "Floodmark"),
    ],
)  # fmt: skip
def test_report__refuses_a_reading_given_twice(keeper, entry, pointer, reading):
    problem = refused(keeper, clutch("het ashwater tidemark", "het ashwater tidemark", [entry]))
    assert told(problem) == {(pointer, "contradictory-statement")}
    assert problem["reading"] == reading
    assert f"reads as {reading}, and so does a reading of this entry before it" in problem["detail"]


def test_report__takes_readings_that_look_alike(keeper):
    """A visual and a het animal called by its genes are two readings, if of one look."""
    keeper.post("clutches/", clutch(hatchlings=[group("normal", 2, "normal het ashwater")]))


def test_report__says_what_a_pairing_is(keeper):
    problem = refused(keeper, clutch(None, None, {"normal": 1}, pairing="zzz"))
    assert told(problem) == {("#/pairing", "invalid-body")}
    assert problem["detail"] == (
        "pairing: Read 'zzz', expected the id of a pairing that you declared, such as "
        "'01234567-89ab-4def-8123-456789abcdef'."
    )


def test_report__of_another_keepers_pairing_is_refused(keeper):
    theirs = joined().post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )["id"]
    problem = refused(keeper, clutch(None, None, {"reed": 2}, pairing=theirs))
    assert told(problem) == {("#/pairing", "contradictory-statement")}
    assert problem["detail"] == f"pairing: You declared no pairing {theirs}."


def test_report__with_a_pairing_takes_no_parents_beside_it(keeper):
    own = keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )["id"]
    problem = refused(keeper, clutch("reed", "reed", {"reed": 2}, pairing=own))
    assert told(problem) == {
        ("#/sire", "contradictory-statement"),
        ("#/dam", "contradictory-statement"),
    }
    assert problem["errors"][0]["detail"] == (
        "The parents of a declared pairing are those of its declaration: leave sire out, or leave "
        "pairing out."
    )


def test_report__of_another_species_than_the_pairing_is_refused(keeper):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    own = keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )["id"]
    body = clutch(None, None, {"normal": 2}, pairing=own, species="corn-snake")
    problem = refused(keeper, body)
    assert told(problem) == {("#/species", "contradictory-statement")}
    assert problem["detail"] == (
        "species: The pairing was declared for marsh-lantern-gecko, not for corn-snake."
    )


def test_report__takes_the_largest_clutch(keeper):
    answer = keeper.post(
        "clutches/", clutch(hatchlings={"normal": 300}, eggs={"laid": 300, "died": 0})
    )
    assert answer["eggs"]["laid"] == 300


def test_report__takes_a_clutch_whose_eggs_just_add_up(keeper):
    body = clutch(hatchlings={"normal": 4}, eggs={"laid": 7, "infertile": 1, "died": 2})
    keeper.post("clutches/", body, status=201)
