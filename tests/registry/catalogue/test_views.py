"""The catalogue and notation over HTTP."""

from __future__ import annotations

import pytest

from registry.catalogue.services import catalogue_load
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    joined,
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def version():
    return gecko().label


def names(path: str, **query: object) -> list[str]:
    rows = Api().get(path, page_size=200, **query)["results"]
    return [one.get("name", one.get("species")) for one in rows]


def test_species__are_listed_and_filtered(version):
    catalogue_load(FIXTURES / "catalogue")
    assert names("species/") == [
        "ball-python",
        "corn-snake",
        "leopard-gecko",
        "marsh-lantern-gecko",
        "western-hognose",
    ]
    assert names("species/", kind="invented") == [GECKO]
    assert names("species/", name="GECKO") == ["leopard-gecko", GECKO]
    assert names("species/", sex_determination="ZW", kind="kept") == [
        "corn-snake",
        "western-hognose",
    ]
    assert names("species/", ordering="-common_name")[0] == "western-hognose"
    assert [len(page) for page in Api().pages("species/", page_size=2)] == [2, 2, 1]
    one = Api().get(f"species/{GECKO}/")
    assert one.pop("loaded_at").endswith("Z")
    assert one == {
        "species": GECKO,
        "common_name": "marsh lantern gecko",
        "scientific_name": "Nusquamia palustris",
        "sex_determination": "ZW",
        "kind": "invented",
        "catalogue": version,
    }


def test_genes__are_listed_with_what_is_known_of_them(version):
    genes = {one["name"]: one for one in Api().get(f"species/{GECKO}/genes/")["results"]}
    assert list(genes) == [
        "Ashwater",
        "Pale Reed",
        "Quillback",
        "Tidemark",
        "Copperlatch",
        "Brackish",
        "Saltgrass",
        "Peatcoat",
        "Turfcoat",
        "Wickglow",
        "Sedge Ladder",
        "Dewline",
        "Mistveil",
    ]
    assert genes["Copperlatch"] == {
        "name": "Copperlatch",
        "locus": "ml-copperlatch",
        "aliases": [],
        "super_names": [],
        "mode": "dominant",
        "two_copies": "suspected-lethal",
        "sex_linked": False,
        "confidence": "low",
        "why": "Invented doubt: no two-copy animal has been proved.",
        "source": "invented for demonstration",
        "cautions": [
            {
                "about": "Copperlatch",
                "text": "Invented caution: one-copy animals tilt the head when startled.",
                "source": "invented for demonstration",
            }
        ],
        "catalogue": version,
    }
    assert genes["Tidemark"]["super_names"] == ["Floodmark"]
    assert genes["Ashwater"]["aliases"] == ["Ashen Water"]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"mode": "dominant"}, ["Copperlatch"]),
        ({"locus": "ml-estuary"}, ["Brackish", "Saltgrass"]),
        ({"sex_linked": "true"}, ["Wickglow"]),
        ({"confidence": "medium"}, ["Quillback", "Mistveil"]),
        ({"two_copies": "suspected-lethal"}, ["Copperlatch"]),
        ({"name": "reed"}, ["Pale Reed"]),
        ({"locus": "ml-bog", "ordering": "-name"}, ["Turfcoat", "Peatcoat"]),
    ],
)
def test_genes__are_filtered(query, expected):
    assert names(f"species/{GECKO}/genes/", **query) == expected


@pytest.mark.parametrize("path", ["species/corn-snak/", "species/corn-snak/genes/"])
def test_species__that_is_unknown_is_not_found(path):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    problem = Api().refused("get", path)
    assert (problem["status"], problem["code"]) == (404, "not-found")
    assert problem["detail"] == (
        "The catalogue has no species 'corn-snak'. Did you mean corn-snake?"
    )


def test_notation__says_what_the_words_mean(version):
    answer = Api().post("notation/", {"species": GECKO, "text": " 66% het reed, FLOODMARK "})
    assert answer == {
        "species": GECKO,
        "text": "66% het reed, FLOODMARK",
        "genes": [
            {
                "gene": "Pale Reed",
                "locus": "ml-pale-reed",
                "copies": 1,
                "chance": pytest.approx(2 / 3),
                "fraction": "2/3",
                "shows": False,
            },
            {
                "gene": "Tidemark",
                "locus": "ml-tidemark",
                "copies": 2,
                "chance": 1.0,
                "fraction": "1",
                "shows": True,
            },
        ],
        "canonical": "Super Tidemark 66% het Pale Reed",
        "names": [],
        "catalogue": version,
    }


def test_notation__takes_a_possible_het_without_a_number_and_says_so():
    (gene,) = Api().post("notation/", {"species": GECKO, "text": "poss het reed"})["genes"]
    assert (gene["chance"], gene["fraction"], gene["shows"]) == (None, None, False)


@pytest.mark.parametrize(
    ("text", "canonical", "trade"),
    [
        ("nightferry", "Ashwater Pale Reed", ["Nightferry"]),
        ("pale reed ashen-water", "Ashwater Pale Reed", ["Nightferry"]),
        ("lantern & oar", "Pale Reed Tidemark Wickglow", ["Lantern & Oar"]),
        ("drowned bell", "Quillback Super Tidemark", ["Drowned Bell"]),
        ("tidemark x2 quillback", "Quillback Super Tidemark", ["Drowned Bell"]),
        ("bogcoat", "Peatcoat Turfcoat", ["Bogcoat"]),
        ("double het reed ashwater", "het Ashwater het Pale Reed", []),
    ],
)
def test_notation__knows_nicknames_aliases_and_compounds(text, canonical, trade):
    answer = Api().post("notation/", {"species": GECKO, "text": text})
    assert (answer["canonical"], answer["names"]) == (canonical, trade)
    again = Api().post("notation/", {"species": GECKO, "text": canonical})
    assert again["genes"] == answer["genes"]


@pytest.mark.parametrize(
    ("text", "code", "member", "value"),
    [
        ("quilback", "unknown-gene", "suggestions", ["Quillback"]),
        (
            "het reed ashwater",
            "ambiguous-text",
            "readings",
            ["Ashwater het Pale Reed", "het Ashwater het Pale Reed"],
        ),
        ("super saltgrass brackish", "too-many-alleles", "locus", "ml-estuary"),
        ("super quillback", "super-of-recessive", "gene", "Quillback"),
        ("het mistveil", "het-of-visible-gene", "gene", "Mistveil"),
        ("ashwater het ashwater", "contradictory-statement", None, None),
        ("het", "unreadable-text", "word", "het"),
        ("0% het reed", "chance-out-of-range", "chance", "0"),
    ],
)
def test_notation__refuses(text, code, member, value):
    problem = Api().refused("post", "notation/", {"species": GECKO, "text": text})
    assert told(problem) == {("#/text", code)}
    if member is not None:
        assert problem[member] == value


def test_notation__suggests_a_species():
    problem = Api().refused("post", "notation/", {"species": "marsh-lantern", "text": "reed"})
    assert told(problem) == {("#/species", "unknown-species")}
    assert problem["suggestions"] == [GECKO]


def test_every_answer__names_the_version_in_force():
    newer = gecko_changed().label
    parents = {"sire": {"genes": "normal"}, "dam": {"genes": "normal"}}
    body = {"species": GECKO, **parents}
    keeper = joined()
    answers = [
        Api().get(f"species/{GECKO}/"),
        *Api().get("species/")["results"],
        *Api().get(f"species/{GECKO}/genes/")["results"],
        Api().post("notation/", {"species": GECKO, "text": "reed"}),
        Api().post("forecasts/", body)["method"],
        Api().post("clutch-checks/", clutch())["method"],
        Api().combination("reed")["method"],
        keeper.post("clutches/", clutch()),
        keeper.post("pairings/", body | {"season": 2025}),
    ]
    assert {one["catalogue"] for one in answers} == {newer}
