"""Published crosses through the whole service, over HTTP.

Sources are named in the files of ``fixtures/published``; p-values printed in a publication stand
in ``published_tests`` there, recomputed ones in ``computed_tests``.
"""

from __future__ import annotations

import copy
import json
from fractions import Fraction
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from rest_framework.test import APIClient
from scipy import stats

from registry.catalogue.services import catalogue_load, species_load
from registry.clutches.models import Clutch, PublishedSource
from registry.clutches.services.publishing import published_load
from registry.errors import PublishedFaultError
from registry.pools.models import Contribution, PooledTarget, PoolRow

PUBLISHED = Path(settings.BROODCOUNT_FIXTURES) / "published"
API = "/api/v1/"

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    return APIClient()


@pytest.fixture
def loaded(db):
    return published_load(PUBLISHED)


def ask(client, species, genes, source="published"):
    answer = client.get(f"{API}combinations/{species}/{genes}/", {"source": source})
    assert answer.status_code == 200, answer.content
    return answer.json()


def content_of(name):
    return json.loads((PUBLISHED / f"{name}.json").read_text())


def species_content(name):
    return json.loads((PUBLISHED / "species" / f"{name}.json").read_text())


def load_cross_alone(tmp_path, name, *, species=None):
    """One publication in an otherwise empty registry, with a species file of the test's choice."""
    given = species or species_content(content_of(name)["species"])
    species_load(given)
    path = tmp_path / f"{name}.json"
    path.write_text(json.dumps(content_of(name)))
    published_load(path)


MENDEL = {
    "Wrinkled": "mendel-1866-seed-form",
    "Green Seed": "mendel-1866-seed-colour",
    "White Flower": "mendel-1866-flower-colour",
    "Constricted Pod": "mendel-1866-pod-form",
    "Yellow Pod": "mendel-1866-pod-colour",
    "Terminal Flower": "mendel-1866-flower-position",
    "Short Stem": "mendel-1866-stem-length",
}


@pytest.mark.parametrize(("gene", "name"), MENDEL.items())
def test_mendel__each_cross_is_as_expected_and_matches_scipy(client, tmp_path, gene, name):
    load_cross_alone(tmp_path, name)
    answer = ask(client, "garden-pea", gene)
    groups = [one for cross in content_of(name)["crosses"] for one in cross["hatchlings"]]
    n = sum(one["count"] for one in groups)
    hits = sum(one["count"] for one in groups if one["call"] == gene)
    assert answer["state"] == "as-expected"
    assert (answer["produced"]["hatchlings"], answer["tried"]["hatchlings"]) == (hits, n)
    assert answer["tried"]["expected"] == n / 4
    assert answer["tried"]["p_value"] == pytest.approx(
        stats.binomtest(hits, n, 0.25, alternative="less").pvalue, rel=1e-9
    )


def test_mendel__pooled_over_all_publications_is_as_expected(client, loaded):
    rows = client.get(
        f"{API}combinations/", {"species": "garden-pea", "source": "published", "page_size": 200}
    ).json()["results"]
    assert {row["combination"] for row in rows} >= set(MENDEL)
    assert {row["state"] for row in rows} == {"as-expected"}
    trihybrid = ask(client, "garden-pea", "wrinkled green seed white flower")
    assert trihybrid["tried"]["expected"] == pytest.approx(639 / 64)
    assert trihybrid["produced"]["hatchlings"] == 7


def test_mendel__plant_by_plant_no_plant_is_unusual(client, loaded):
    token = client.post(f"{API}keepers/", {}, format="json").json()["token"]
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    plants = [c for c in content_of("mendel-1866-seed-form")["crosses"] if "plant" in c["name"]]
    assert len(plants) >= 10
    for cross in plants[:10]:
        parents = {"species": "garden-pea", "sire": cross["sire"], "dam": cross["dam"]}
        body = parents | {"hatchlings": cross["hatchlings"]}
        check = client.post(f"{API}clutch-checks/", body, format="json").json()
        # The smallest of ten p-values is below 0.05 / 10 once in twenty such sets.
        assert check["surprise"]["probability"] > 0.05 / 10
        counts = {one["call"]: one["count"] for one in cross["hatchlings"]}
        expected = stats.binomtest(counts["Wrinkled"], sum(counts.values()), 0.25).pvalue
        assert check["surprise"]["probability"] == pytest.approx(expected, rel=1e-9)
        report = client.post(f"{API}clutches/", body | {"season": 2020}, format="json")
        assert report.status_code == 201, report.content
    pooled = ask(client, "garden-pea", "wrinkled", source="keepers")
    assert pooled["state"] == "as-expected"
    assert (pooled["produced"]["hatchlings"], pooled["tried"]["hatchlings"]) == (101, 437)
    # The published crosses, loaded as well, are told apart and not added.
    assert pooled["published"]["hatchlings"] == 8727


def test_knockout__is_flagged_as_lethal_and_its_published_p_value_is_reproduced(client, loaded):
    answer = ask(client, "house-mouse", "super gt")
    assert answer["state"] == "flagged"
    assert answer["explanations"][0]["name"] == "reduced-viability"
    assert answer["recovery"]["estimate"] == 0
    assert answer["produced"]["answer"] == "no"
    assert answer["tried"]["expected"] == 34.75
    computed = content_of("macfarlane-2009-mthfd1")["computed_tests"]
    tail = next(one for one in computed if one["test"] == "binomial lower tail")
    assert answer["tried"]["p_value"] == pytest.approx(tail["p_value"], rel=1e-9)
    assert answer["advice"]
    assert any("essential" in one["text"] for one in answer["cautions"])
    flags = client.get(f"{API}flags/", {"species": "house-mouse", "source": "published"}).json()
    assert [one["combination"] for one in flags["results"]] == ["Super gt"]

    # The printed 2.7e-11 is a chi-square against 1:2:1; the ratio comes from our own forecast.
    forecast = client.post(
        f"{API}forecasts/",
        {"species": "house-mouse", "sire": {"genes": "gt"}, "dam": {"genes": "gt"}},
        format="json",
    ).json()
    chances = {one["look"]: Fraction(one["fraction"]) for one in forecast["looks"]}
    seen = {"Normal": 39, "gt": 100, "Super gt": 0}
    expected = [float(chances[look] * 139) for look in seen]
    p_value = stats.chisquare(list(seen.values()), expected).pvalue
    (printed,) = [
        one["p_value"]
        for one in content_of("macfarlane-2009-mthfd1")["published_tests"]
        if one["ratio"] == [1, 2, 1]
    ]
    assert float(f"{p_value:.1e}") == printed == 2.7e-11


def test_keepers__are_not_told_of_published_crosses_as_their_own(client, loaded):
    answer = ask(client, "house-mouse", "super gt", source="keepers")
    assert answer["state"] == "no-reports"
    assert answer["tried"]["clutches"] == answer["method"]["pool"] == 0
    assert answer["published"]["state"] == "flagged"
    assert "MacFarlane" in answer["published"]["citations"][0]["citation"]
    assert client.get(f"{API}combinations/").json()["results"] == []


@pytest.mark.parametrize(
    ("name", "species", "genes"),
    [
        ("castle-wright-1919-english", "rabbit", "english spotting"),
        ("platinum-fox", "fox", "platinum"),
    ],
)
def test_controls__segregating_dominants_are_not_on_watch(client, tmp_path, name, species, genes):
    load_cross_alone(tmp_path, name)
    assert ask(client, species, genes)["state"] == "as-expected"


def with_linkage(name, fraction):
    """The species file with its one linkage at another fraction, or with none."""
    content = copy.deepcopy(species_content(name))
    if fraction is None:
        content["linkage"] = []
    else:
        content["linkage"][0]["recombination_fraction"] = fraction
    return content


def without_phase(cross):
    return {
        **cross,
        "sire": {"genes": cross["sire"]["genes"]},
        "dam": {"genes": cross["dam"]["genes"]},
    }


def test_barley_in_repulsion__is_a_deficit_only_while_linkage_is_unknown(
    client, tmp_path, monkeypatch
):
    """r by maximum likelihood from these plants: 0.244342682437 (Robertson 1944, as recomputed)."""
    load_cross_alone(
        tmp_path,
        "robertson-1944-barley-repulsion",
        species=with_linkage("barley", "244342682437/1000000000000"),
    )
    linked = ask(client, "barley", "v f")
    assert linked["state"] == "as-expected"
    assert linked["tried"]["expected"] == pytest.approx(1415 * 0.244342682437**2 / 4)
    assert linked["tried"]["p_value"] > 0.3

    # Without linkage in the file there is no phase to state, and the same plants look lethal.
    content = content_of("robertson-1944-barley-repulsion")
    content["crosses"] = [without_phase(one) for one in content["crosses"]]
    species_load(with_linkage("barley", None))
    path = tmp_path / "robertson-1944-barley-repulsion.json"
    path.write_text(json.dumps(content))
    published_load(path)
    unlinked = ask(client, "barley", "v f")
    assert unlinked["state"] == "flagged"
    # The reason comes first, and the fraction that is printed for these plants with it.
    first = unlinked["explanations"][0]
    assert first["name"] == "linked-in-repulsion"
    assert first["recombination_fraction"] == pytest.approx(0.2443, abs=0.003)
    assert unlinked["tried"]["p_value"] == pytest.approx(
        stats.binom.cdf(19, 1415, 1 / 16), rel=1e-6
    )


def test_barley_both_phases__pooled_at_the_published_fraction_is_as_expected(client, loaded):
    answer = ask(client, "barley", "v f")
    assert answer["state"] == "as-expected"
    r = 0.303
    expected = 1415 * r**2 / 4 + 1764 * (1 - r) ** 2 / 4
    assert answer["tried"]["expected"] == pytest.approx(expected)
    assert answer["produced"]["hatchlings"] == 19 + 218


def test_sweet_pea__linkage_turns_an_excess_into_the_shortage_of_its_single_genes(client, loaded):
    """381 plants: 55 with both, 76 with either gene; unlinked, 23.8 with both are expected.

    With linkage both are on watch because each gene alone is short (76 of 381, p 0.012), not
    because the pair is: of the 76 red plants 55 are round, and 72.4 of 95.25 were expected.
    """
    pair = ask(client, "sweet-pea", "red flower round pollen")
    red = ask(client, "sweet-pea", "red flower")
    assert red["tried"]["p_value"] == pytest.approx(stats.binom.cdf(76, 381, 0.25), rel=1e-9)
    chance = (1 - 0.128) ** 2 / 4
    assert pair["tried"]["expected"] == pytest.approx(381 * chance)
    assert pair["tried"]["p_value"] == pytest.approx(stats.binom.cdf(55, 381, chance), rel=1e-9)
    among_red = stats.binomtest(
        pair["produced"]["hatchlings"],
        red["produced"]["hatchlings"],
        pair["tried"]["expected"] / red["tried"]["expected"],
        alternative="less",
    )
    assert among_red.pvalue > 0.05
    assert pair["tried"]["p_value"] == pytest.approx(red["tried"]["p_value"], rel=0.1)


def test_fruit_fly__white_series_gives_no_wild_type_and_counts_by_sex(client, loaded):
    cherry = content_of("morgan-bridges-1916-white-cherry")["crosses"][0]
    check = client.post(
        f"{API}clutch-checks/",
        {
            "species": "fruit-fly",
            "sire": cherry["sire"],
            "dam": cherry["dam"],
            "hatchlings": [{"call": "normal", "count": 1}],
        },
        format="json",
    ).json()
    # Two mutants of one series: 623 young and no wild type (Morgan & Bridges 1916, table 30).
    assert [one["call"] for one in check["not_possible"]] == ["normal"]
    compound = ask(client, "fruit-fly", "white cherry")
    # With the sexes known, every daughter and no son must show it: no clutch could signal.
    assert compound["state"] == "too-early"
    assert compound["produced"]["hatchlings"] == compound["tried"]["expected"] == 321


def abo_table():
    path = Path(settings.BROODCOUNT_FIXTURES) / "reference" / "abo_children.json"
    return json.loads(path.read_text())


def test_blood_groups__parents_give_exactly_the_textbook_children(client):
    catalogue_load(PUBLISHED / "species" / "human-blood-group.json")
    table = abo_table()
    looks_of = {"O": "Normal"}
    assert len(table["genotype_crosses"]) == 21
    for cross in table["genotype_crosses"]:
        sire, dam = ({"genes": table["genotypes"][one]["genes"]} for one in cross["parents"])
        answer = client.post(
            f"{API}forecasts/",
            {"species": "human-blood-group", "sire": sire, "dam": dam},
            format="json",
        )
        assert answer.status_code == 200, answer.content
        looks = {one["look"]: one["fraction"] for one in answer.json()["looks"]}
        assert looks == {looks_of.get(one, one): c for one, c in cross["children"].items()}


def test_published_load__again_replaces_and_leaves_nothing_double(loaded):
    def state():
        return (
            Clutch.objects.count(),
            Contribution.objects.count(),
            PoolRow.objects.count(),
            list(PooledTarget.objects.order_by("key").values_list("key", flat=True)),
        )

    before = state()
    published_load(PUBLISHED)
    assert state() == before
    assert before[0] > 40


def test_published_load__figures_from_memory_are_kept_out_of_the_pools(loaded):
    source = PublishedSource.objects.get(pk="sweet-pea-large")
    assert source.from_memory
    assert not source.clutches.exists()


def test_published_load__names_file_and_place_of_a_fault_and_stores_nothing(tmp_path):
    catalogue_load(PUBLISHED / "species" / "garden-pea.json")
    content = content_of("mendel-1866-stem-length")
    content["crosses"][0]["hatchlings"][0]["call"] = "no such look"
    path = tmp_path / "wrong.json"
    path.write_text(json.dumps(content))
    with pytest.raises(PublishedFaultError, match=r"wrong\.json: /crosses/0/hatchlings/0/call: "):
        published_load(path)
    with pytest.raises(CommandError, match="no such look"):
        call_command("published", "load", str(path))
    path.write_text("{")
    with pytest.raises(PublishedFaultError, match=r"wrong\.json"):
        published_load(path)
    assert not PublishedSource.objects.exists()
    assert not Clutch.objects.exists()
