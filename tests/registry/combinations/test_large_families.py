"""Families joined through shared uncertain parents, over HTTP: exact, and at a counted cost."""

from __future__ import annotations

import pytest

from genetics.evidence import hits, likelihood
from genetics.evidence.hit_laws import family_hits
from genetics.evidence.likelihood import row_terms
from registry.catalogue.services import catalogue_load
from registry.combinations.evidence import pool_of
from registry.pools.models import PooledTarget
from tests.factories.registry import FIXTURES, GECKO, Api, clutch, gecko, group, joined, parent

pytestmark = pytest.mark.django_db

NORMAL = [group("normal", 5)]


def costs(combination: str) -> tuple[int, int]:
    """Terms of the likelihood and products of the law, over all rows of a combination."""
    pools = pool_of(PooledTarget.objects.get(combination=combination))
    rows = [(species, target, row) for species, target, rows in pools for row in rows]
    laws = [family_hits(*one, hits.MOST_PRODUCTS) for one in rows]
    return sum(row_terms(*one) for one in rows), sum(law.n_products for law in laws if law)


def reported(keeper: Api, genes: str, pairs: list[tuple[str, str]], species: str) -> None:
    for sire, dam in pairs:
        body = clutch(parent(genes, sire), parent(genes, dam), NORMAL) | {"species": species}
        keeper.post("clutches/", body)


def test_combination__of_a_sire_of_many_dams_that_have_other_mates():
    """A tree of 26 animals, each of three possible hets: 8 states each, 8**13 for all the sires."""
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    genes = "66% het amel 50% het anery 33% het hypo"
    shared = [("BIG", f"e{number}") for number in (*range(12), 20)]
    others = [(f"B{number}", f"e{number}") for number in range(12)]
    reported(joined(), genes, [*shared, *others], "corn-snake")

    found = Api().get("combinations/corn-snake/amel anery hypo/")
    assert found["tried"]["clutches"] == 25
    assert found["method"]["families_too_large"] == 0
    terms, products = costs(found["combination"])
    assert 0 < terms < likelihood.MOST_TERMS / 20
    assert 0 < products < hits.MOST_PRODUCTS / 2


def test_combination__of_sires_and_dams_paired_every_way_is_cut_and_said():
    """Rings wherever one looks: no order of the animals keeps the tables small."""
    gecko()
    genes = "66% het ashwater 50% het pale reed 33% het quillback"
    pairs = [(f"s{number}", f"d{other}") for number in range(7) for other in range(7)]
    reported(joined(), genes, pairs, GECKO)

    found = Api().combination("ashwater pale reed quillback")
    assert found["tried"]["clutches"] == 49
    assert found["method"]["families_too_large"] == 1
    assert costs(found["combination"]) == (0, 0)
    single = Api().combination("ashwater")
    assert single["method"]["families_too_large"] == 0
    assert single["tried"]["expected"] == pytest.approx(49 * 5 / 9)
