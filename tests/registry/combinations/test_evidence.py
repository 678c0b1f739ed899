"""Evidence over HTTP, held against what the genetics says of the same clutches directly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from genetics.evidence.conditional import specific_evidence
from genetics.evidence.evalue import target_viability
from genetics.evidence.explanations import explanations
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.recovery import recovery_ratio
from genetics.evidence.robustness import declared_only, successes_to_undo, without_top_keeper
from genetics.model.locus import Mode
from genetics.pool.versions import aligned
from registry.pools.bridge import assessments
from tests.factories.evidence import (
    GECKOS,
    Brood,
    Pool,
    e_value_of,
    first_on_watch,
    pool_of,
    report,
)
from tests.factories.registry import (
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    parent,
)

pytestmark = pytest.mark.django_db

PAIR = "Ashwater, Pale Reed"

LETHAL = Brood(
    "2 Ashwater, Pale Reed",
    "Ashwater, 2 Pale Reed",
    {"": 10, "Ashwater": 10, "Pale Reed": 10},
    died=9,
)
"""Each gene half, both together a quarter of what should hatch; those with both do not."""

LETHAL_BESIDE_A_THIRD = Brood(
    "2 Ashwater, Pale Reed, Tidemark",
    "Ashwater, 2 Pale Reed",
    {
        "": 5, "Ashwater": 5, "Pale Reed": 5,
        "Tidemark": 5, "Ashwater, Tidemark": 5, "Pale Reed, Tidemark": 5,
    },
)  # fmt: skip
"""The same with a third gene, in half of the hatchlings."""

SHORT_GENE = Brood(
    "Ashwater, 2 Pale Reed",
    "Ashwater, Pale Reed",
    {"": 21, "Pale Reed": 20, "Ashwater": 2, "Ashwater, Pale Reed": 2},
)
"""Ashwater hatches a third as often as it should, with Pale Reed and without."""

ORDINARY = Brood("Ashwater", "Ashwater", {"": 12, "Ashwater": 4})


@pytest.fixture(autouse=True)
def _species():
    gecko()


@pytest.fixture
def keepers() -> list[Api]:
    return [joined() for _ in range(3)]


def asked(looks: str, **query: Any) -> Any:
    return Api().combination(looks.replace(",", ""), **query)


def flags(**query: Any) -> dict[str, Any]:
    return {one["combination"]: one for one in Api().get("flags/", **query)["results"]}


def close(value: float | None) -> Any:
    """The same number, for sums that were taken in another order."""
    return value if value is None else pytest.approx(value, rel=1e-6)


# --- states -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gene", "sire", "dam"),
    [("Ashwater", "Ashwater", "Ashwater"), ("Tidemark", "Tidemark", "")],
)
def test_state__turns_where_the_e_value_reaches_20(gene, sire, dam):
    n = first_on_watch(gene, lambda n: Brood(sire, dam, {"": n, gene: 1}))
    below, at = (Brood(sire, dam, {"": one, gene: 1}) for one in (n - 1, n))
    assert e_value_of(pool_of(gene, [below])) < 20 <= e_value_of(pool_of(gene, [at]))

    first = joined()
    (withdrawn,) = report(first, below)
    answer = asked(gene)
    # With one hatchling of it among so many it would have been as strong as it can be.
    assert answer["state"] == "too-early"
    assert answer["evidence"]["more_hatchlings_to_signal"] >= 1
    assert answer["advice"] is None
    first.delete(f"clutches/{withdrawn}/")
    report(first, at)
    answer = asked(gene)
    assert answer["state"] == "watch"
    assert answer["evidence"]["e_value"] == close(e_value_of(pool_of(gene, [at])))
    assert answer["evidence"]["more_hatchlings_to_signal"] is None
    assert answer["advice"] is not None


@pytest.mark.parametrize(("gene", "sire", "dam"), [("Ashwater", "Ashwater", "Ashwater")])
def test_state__is_too_early_until_these_clutches_could_signal(gene, sire, dam):
    """As many hatchlings as the first that are on watch, and one less, with more of it hatched."""
    n = first_on_watch(gene, lambda n: Brood(sire, dam, {"": n, gene: 1}))
    for n_hatchlings, state in ((n, "too-early"), (n + 1, "as-expected")):
        for n_hits in (0, n // 4):
            (one,) = report(keeper := joined(), Brood(sire, dam, _two(n_hatchlings, gene, n_hits)))
            answer = asked(gene)
            assert (answer["tried"]["hatchlings"], answer["state"]) == (n_hatchlings, state)
            more = answer["evidence"]["more_hatchlings_to_signal"]
            assert (more is not None) is (state == "too-early")
            keeper.delete(f"clutches/{one}/")


def _two(n_hatchlings: int, gene: str, n_hits: int) -> dict[str, int]:
    counts = {"": n_hatchlings - n_hits, gene: n_hits}
    return {look: n for look, n in counts.items() if n}


def test_state__of_a_gene_that_never_hatched_says_it_is_its_parents():
    """Nothing but the labels speaks for the parents, so no number of normals is evidence."""
    for keeper in (joined(), joined(), joined()):
        report(keeper, Brood("Ashwater", "Ashwater", {"": 60}))
    answer = asked("Ashwater")
    assert answer["state"] == "as-expected"
    assert answer["tried"]["p_value"] < 1e-20
    assert answer["evidence"]["e_value"] <= 1
    assert answer["explanations"][0]["name"] == "parent-not-carrying"
    assert flags() == {}


def test_state__of_a_pair_whose_genes_hatch_apart():
    def brood(k: int) -> Brood:
        counts = {"": 9 * k, "Ashwater": 3 * k, "Pale Reed": 3 * k}
        return Brood(PAIR, PAIR, counts)

    k = first_on_watch(PAIR, brood)
    for one, state in ((k - 1, "too-early"), (k, "watch")):
        keeper = joined()
        (made,) = report(keeper, brood(one))
        assert asked(PAIR)["state"] == state
        keeper.delete(f"clutches/{made}/")


def test_flagged__needs_three_keepers(keepers):
    for number, keeper in enumerate(keepers):
        if number:
            # Already far beyond the level, by two keepers at most.
            answer = asked(PAIR)
            assert answer["state"] == flags()["Ashwater Pale Reed"]["state"] == "watch"
            assert answer["evidence"]["e_value"] > 1e6
            assert answer["evidence"]["sentence"].endswith("A flag needs 3 keepers.")
            assert Api().get("combinations/", state="flagged")["results"] == []
        report(keeper, LETHAL, LETHAL)
    answer = asked(PAIR)
    assert answer["state"] == flags()["Ashwater Pale Reed"]["state"] == "flagged"
    assert answer["evidence"]["sentence"].endswith("stands out among all combinations looked at.")
    (row,) = Api().get("combinations/", state="flagged")["results"]
    assert (row["combination"], row["e_value"]) == (
        "Ashwater Pale Reed",
        close(answer["evidence"]["e_value"]),
    )


def _one_of(n: int) -> Brood:
    return Brood("Ashwater", "Ashwater", {"": n, "Ashwater": 1})


def test_flagged__is_among_all_combinations_of_the_species(keepers):
    """The same e-value is a flag among few combinations, and not among very many."""
    n = next(
        n for n in range(2, 40) if e_value_of(pool_of("Ashwater", [_one_of(n), _one_of(n)])) >= 20
    )
    broods = [_one_of(n) for _ in keepers]
    for keeper, brood in zip(keepers, broods, strict=True):
        report(keeper, brood)
    assert asked("Ashwater")["state"] == "flagged"
    # Two genes in one copy inform dozens of combinations, all as they should be.
    sire = "Tidemark, Mistveil, Quillback, Brackish"
    report(keepers[0], Brood(sire, sire, {"Tidemark, Mistveil": 4, "": 4}))
    answer = asked("Ashwater")
    assert answer["state"] == "watch"
    assert "not a flag yet" in answer["evidence"]["sentence"]
    assert answer["evidence"]["e_value"] == close(e_value_of(pool_of("Ashwater", broods)))


# --- the answer against the genetics ------------------------------------------------------------

DECLARED = Brood(PAIR, PAIR, {"": 15, "Ashwater": 5, "Pale Reed": 6}, died=2, declared=True)
DOUBTFUL = (
    Brood("Ashwater? 2/3, Pale Reed", PAIR, {"": 9, "Ashwater": 3}, names=("m-1", "f-1")),
    Brood(
        "Ashwater? 2/3, Pale Reed",
        PAIR,
        {"": 6, "Pale Reed": 3},
        died=1,
        names=("m-1", "f-2"),
    ),
)
PARTS: list[list[Brood | Sequence[Brood]]] = [
    [LETHAL, LETHAL],
    [DECLARED, DOUBTFUL],
    [Brood(PAIR, PAIR, {"": 8, "Ashwater": 3, "Pale Reed": 2, "Ashwater, Pale Reed": 1}), DECLARED],
]
"""What each of three keepers reports; sequences are families."""


def flat(families: Sequence[Brood | Sequence[Brood]]) -> list[Brood]:
    return [
        brood
        for family in families
        for brood in ([family] if isinstance(family, Brood) else family)
    ]


def undo_of(pool: Pool) -> int:
    hits = pool_hits(pool)
    return successes_to_undo(
        pool_likelihood(pool, target_viability(pool[0][1])),
        hit_chance=float(hits.expected) / hits.n_hatchlings,
    )


@pytest.mark.parametrize("looks", [PAIR, "Ashwater", "Pale Reed"])
def test_evidence__is_what_the_genetics_says_of_the_same_clutches(keepers, looks):
    for keeper, families in zip(keepers, PARTS, strict=True):
        report(keeper, *flat(families))
    pool = pool_of(looks, [family for families in PARTS for family in families])
    answer = asked(looks)
    evidence = answer["evidence"]
    declared, specific = declared_only(pool), specific_evidence(pool)
    assert declared is not None
    assert evidence["e_value"] == close(e_value_of(pool))
    assert evidence["e_value_declared_only"] == close(declared.value)
    assert evidence["e_value_specific"] == close(specific and 10**specific.log10)
    assert (specific is None) is (looks != PAIR)
    assert (evidence["specific"] is None) is (looks != PAIR)
    assert evidence["unreported_successes_to_undo"] == undo_of(pool)
    if evidence["e_value"] >= 20:
        without = without_top_keeper(
            {number: pool_of(looks, families) for number, families in enumerate(PARTS)}
        )
        assert without is not None
        assert evidence["without_top_keeper"] == close(without.value)
        assert evidence["unreported_successes_to_undo"] > 0
    else:
        assert evidence["without_top_keeper"] is None
        assert evidence["unreported_successes_to_undo"] == 0

    recovery = recovery_ratio(pool)
    found = answer["recovery"]
    assert [found[one] for one in ("estimate", "low", "high", "level")] == [
        pytest.approx(getattr(recovery, one), rel=1e-6, abs=1e-9)
        for one in ("estimate", "low", "high", "level")
    ]
    assert found["low"] <= found["estimate"] <= found["high"]

    expected = explanations(pool)
    assert [one["name"] for one in answer["explanations"]] == [str(one.name) for one in expected]
    for said, one in zip(answer["explanations"], expected, strict=True):
        assert said["probability"] == pytest.approx(one.probability, rel=1e-6, abs=1e-12)
        assert said.get("called_as") == one.called_as
        assert said.get("gene") == one.gene
        assert said.get("recombination_fraction") == close(one.recombination_fraction)
        assert said["sentence"].endswith(".")
    assert sum(one["probability"] for one in answer["explanations"]) == pytest.approx(1, abs=1e-9)
    chances = [one["probability"] for one in answer["explanations"]]
    assert chances == sorted(chances, reverse=True)


def test_evidence__of_the_lethal_pair_is_near_a_flag_in_that_comparison(keepers):
    """The comparison above has both sides of its question: the pair is on watch, the genes not."""
    pool = [family for families in PARTS for family in families]
    assert e_value_of(pool_of(PAIR, pool)) >= 20
    assert min(e_value_of(pool_of(gene, pool)) for gene in ("Ashwater", "Pale Reed")) < 20


def test_evidence__of_declared_clutches_counts_those_alone(keepers):
    report(keepers[0], LETHAL)
    assert asked(PAIR)["evidence"]["e_value_declared_only"] is None
    report(keepers[1], DECLARED)
    report(keepers[2], DECLARED)
    declared = asked(PAIR)["evidence"]["e_value_declared_only"]
    assert declared == close(e_value_of(pool_of(PAIR, [DECLARED, DECLARED])))
    assert declared < asked(PAIR)["evidence"]["e_value"]


def test_evidence__of_declared_clutches_in_a_family_with_others():
    """The same animals, declared once and not the other time."""
    first = Brood(PAIR, PAIR, {"": 15, "Ashwater": 5, "Pale Reed": 6}, names=("m-1", "f-1"))
    second = Brood(
        PAIR, PAIR, {"": 9, "Ashwater": 4, "Pale Reed": 3}, names=("m-1", "f-1"), declared=True
    )
    families: list[Sequence[Brood]] = [(first, second)] * 3
    for number, (one, other) in enumerate(families):
        report(joined(), one, other)
        evidence = asked(PAIR)["evidence"]
        assert (evidence["e_value_declared_only"] is None) is (number < 2)
    assert evidence["e_value"] == close(e_value_of(pool_of(PAIR, families)))
    assert evidence["e_value_declared_only"] == close(e_value_of(pool_of(PAIR, [second] * 3)))


def test_without_top_keeper__is_told_from_three_keepers_on(keepers):
    parts = [[LETHAL, LETHAL], [LETHAL], [DECLARED]]
    for number, (keeper, families) in enumerate(zip(keepers, parts, strict=True)):
        report(keeper, *families)
        told = asked(PAIR)["evidence"]["without_top_keeper"]
        assert (told is None) is (number < 2)
    # Without the first, by far the most influential one.
    assert told == close(e_value_of(pool_of(PAIR, [LETHAL, DECLARED])))


def test_uncertain_calls__count_for_what_they_may_be(keepers):
    """A clutch that may hold one of it is weaker evidence than the same clutch without."""
    body = LETHAL.body()
    keepers[0].post("clutches/", body)
    sure = asked(PAIR)["evidence"]["e_value"]
    body["hatchlings"] += [group("normal", 2, "ashwater pale reed")]
    keepers[1].post("clutches/", body)
    answer = asked(PAIR)
    assert (answer["produced"]["answer"], answer["produced"]["hatchlings"]) == ("uncertain", 0)
    assert answer["produced"]["hatchlings_if_uncertain_count"] == 2
    unsure = answer["evidence"]["e_value"]
    keepers[2].post("clutches/", LETHAL.body())
    twice_sure = e_value_of(pool_of(PAIR, [LETHAL, LETHAL]))
    assert sure < unsure < twice_sure
    assert "(and 2 that may be)" in asked(PAIR)["evidence"]["sentence"]


# --- which of several is the news ---------------------------------------------------------------


def test_explained_by__a_lethal_pair_explains_its_single_genes(keepers):
    for keeper in keepers:
        report(keeper, *[LETHAL] * 2, ORDINARY)
    assert e_value_of(pool_of("Ashwater", [LETHAL] * 6 + [ORDINARY] * 3)) >= 20
    pair = asked(PAIR)
    assert (pair["state"], pair["explained_by"]) == ("flagged", None)
    assert pair["explanations"][0]["name"] == "reduced-viability"
    for gene in ("Ashwater", "Pale Reed"):
        answer = asked(gene)
        assert answer["state"] == "watch"
        assert answer["evidence"]["e_value"] >= 20
        found = answer["explained_by"]
        assert found["combination"] == "Ashwater Pale Reed"
        assert found["recovery"] == 0.0
        assert found["e_value_beyond"] < 20
        assert found["sentence"] == (
            "The shortage comes from Ashwater Pale Reed, which never hatches; beyond that it is "
            "no news."
        )
        assert flags()[gene]["reason"].endswith(found["sentence"])
    strengths = [one["e_value"] for one in flags().values()]
    assert strengths == sorted(strengths, reverse=True)
    assert {name: one["state"] for name, one in flags().items()} == {
        "Ashwater Pale Reed": "flagged",
        "Ashwater": "watch",
        "Pale Reed": "watch",
    }


@pytest.mark.parametrize(
    ("hatched", "produced", "often"),
    [
        ([group("ashwater", 2)], "no", "never hatches"),
        ([group("ashwater", 2, "ashwater pale reed")], "uncertain", "never surely hatches"),
        ([group("ashwater pale reed", 1)], "yes", "hardly ever hatches"),
    ],
)
def test_explained_by__does_not_say_never_of_what_was_produced(keepers, hatched, produced, often):
    """Never in the clutches of the triple; a clutch that can not give the triple has one."""
    for keeper in keepers:
        report(keeper, *[LETHAL_BESIDE_A_THIRD] * 2)
    keepers[0].post("clutches/", LETHAL.body() | {"hatchlings": hatched})
    assert asked(PAIR)["produced"]["answer"] == produced
    found = asked("Ashwater, Pale Reed, Tidemark")["explained_by"]
    assert (found["combination"], found["recovery"]) == ("Ashwater Pale Reed", 0.0)
    assert f"which {often};" in found["sentence"]
    assert flags()["Ashwater Pale Reed Tidemark"]["reason"].endswith(found["sentence"])


def test_explained_by__a_short_gene_explains_its_pairs(keepers):
    for keeper in keepers:
        report(keeper, *[SHORT_GENE] * 2)
    assert e_value_of(pool_of(PAIR, [SHORT_GENE] * 6)) >= 20
    gene, pair = asked("Ashwater"), asked(PAIR)
    assert (gene["state"], gene["explained_by"]) == ("flagged", None)
    assert pair["state"] == "watch"
    found = pair["explained_by"]
    assert found["combination"] == "Ashwater"
    # 4 of 45 where 1 in 4 was expected: 4/41 to 1/3 is 0.29.
    assert found["recovery"] == 0.3
    assert found["e_value_beyond"] < 20
    assert pair["explanations"][0]["name"] == "gene-shortage"
    assert pair["explanations"][0]["gene"] == "Ashwater"
    assert pair["evidence"]["e_value_specific"] < 20
    assert "not yet specific" in pair["evidence"]["specific"]
    assert asked("Pale Reed")["state"] == "as-expected"


def test_explained_by__a_lethal_pair_explains_its_triples(keepers):
    """The same with a third gene beside it, in every hatchling or in half of them."""
    for keeper in keepers:
        report(keeper, *[LETHAL_BESIDE_A_THIRD] * 2)
    triple = asked("Ashwater, Pale Reed, Tidemark")
    assert triple["state"] == "watch"
    assert triple["explained_by"]["combination"] == "Ashwater Pale Reed"
    assert triple["explained_by"]["recovery"] == 0.0
    states = {name: one["state"] for name, one in flags().items()}
    assert [name for name, state in states.items() if state == "flagged"] == ["Ashwater Pale Reed"]


def test_explained_by__goes_when_what_explained_it_goes(keepers):
    lethal = [one for keeper in keepers for one in report(keeper, LETHAL, LETHAL)]
    report(keepers[0], ORDINARY)
    assert asked("Ashwater")["explained_by"] is not None
    assert len(lethal) == 6
    # The pair is withdrawn, and the gene with it: nothing of the comparison may stay behind.
    for keeper, own in zip(keepers, (lethal[:2], lethal[2:4], lethal[4:]), strict=True):
        for one in own:
            keeper.delete(f"clutches/{one}/")
    answer = asked("Ashwater")
    assert (answer["state"], answer["explained_by"]) == ("too-early", None)
    # Short by itself now, with the pair as it should be.
    apart = Brood("Ashwater", "Ashwater", {"": 40, "Ashwater": 2})
    for keeper in keepers:
        report(keeper, apart)
    answer = asked("Ashwater")
    assert (answer["state"], answer["explained_by"]) == ("flagged", None)


def test_explained_by__goes_when_the_whole_alone_turns_out_well(keepers):
    """The gene's own pool stays as it is: in the new clutch every hatchling shows it."""
    for keeper in keepers:
        report(keeper, LETHAL, LETHAL)
    before = asked("Ashwater")
    assert before["explained_by"]["combination"] == "Ashwater Pale Reed"
    parent = "2 Ashwater, Pale Reed"
    report(keepers[0], Brood(parent, parent, {"Ashwater": 100, "Ashwater, Pale Reed": 100}))
    assert asked(PAIR)["state"] == "as-expected"
    answer = asked("Ashwater")
    assert answer["tried"] == before["tried"]
    assert answer["evidence"]["e_value"] == close(before["evidence"]["e_value"])
    assert (answer["state"], answer["explained_by"]) == ("flagged", None)


# --- over time ----------------------------------------------------------------------------------


def history(looks: str, **query: Any) -> Any:
    genes = looks.replace(",", "")
    return Api().get(f"combinations/{GECKO}/{genes}/history/", **query)


def test_history__rises_one_clutch_at_a_time_to_the_answer(keepers):
    order: list[tuple[int, Brood]] = []
    for number, families in enumerate(PARTS):
        order += [(number, one) for one in flat(families)]
    order = [*order[::2], *order[1::2], (1, Brood("Quillback", "Quillback", {"": 4}))]
    for number, brood in order:
        report(keepers[number], brood)
    answer, found = asked(PAIR), history(PAIR)
    points = found["points"]
    assert found["combination"] == "Ashwater Pale Reed"
    assert (found["threshold"], found["hidden"], found["first_clutch"]) == (20.0, False, 1)
    assert [one["clutches"] for one in points] == list(range(1, answer["tried"]["clutches"] + 1))
    assert all(one["hatchlings"] < other["hatchlings"] for one, other in pairwise(points))
    assert all(one["hits"] <= other["hits"] for one, other in pairwise(points))
    last = points[-1]
    assert last["e_value"] == close(answer["evidence"]["e_value"])
    assert last["expected"] == close(answer["tried"]["expected"])
    assert (last["hatchlings"], last["hits"]) == (
        answer["tried"]["hatchlings"],
        answer["produced"]["hatchlings"],
    )


def test_history__tells_each_moment_as_it_was(keepers):
    """Each point against the genetics of the clutches so far; two of them become a family."""
    order = [LETHAL, DOUBTFUL[0], DECLARED, LETHAL, DOUBTFUL[1]]
    for place, brood in enumerate(order):
        report(keepers[1 if brood in DOUBTFUL else place % 3], brood)
    families: list[list[Brood | Sequence[Brood]]] = [
        [LETHAL],
        [LETHAL, DOUBTFUL[:1]],
        [LETHAL, DOUBTFUL[:1], DECLARED],
        [LETHAL, DOUBTFUL[:1], DECLARED, LETHAL],
        [LETHAL, DOUBTFUL, DECLARED, LETHAL],
    ]
    assert [one["e_value"] for one in history(PAIR)["points"]] == [
        close(e_value_of(pool_of(PAIR, so_far))) for so_far in families
    ]


def assert_same_points(found: Sequence[dict[str, Any]], expected: Sequence[dict[str, Any]]) -> None:
    """The same points; rows of old families may have been added up in another order."""
    assert found == [
        one
        | {
            "e_value": pytest.approx(one["e_value"], rel=1e-9),
            "expected": pytest.approx(one["expected"], rel=1e-12),
        }
        for one in expected
    ]


def test_history__gives_the_newest_points_of_a_long_one(keepers, monkeypatch):
    for keeper in keepers:
        report(keeper, LETHAL, ORDINARY, LETHAL)
    whole = history("Ashwater")
    assert (len(whole["points"]), whole["first_clutch"]) == (9, 1)
    monkeypatch.setattr("registry.combinations.history.MOST_POINTS", 4)
    for n_read in (1_000, 6, 4):
        monkeypatch.setattr("registry.combinations.history.MOST_READ", n_read)
        newest = history("Ashwater")
        assert newest["first_clutch"] == 6
        assert_same_points(newest["points"], whole["points"][5:])
    monkeypatch.setattr("registry.combinations.history.MOST_READ", 2)
    newest = history("Ashwater")
    assert newest["first_clutch"] == 8
    assert_same_points(newest["points"], whole["points"][7:])


def test_history__of_old_families_is_read_from_their_pools(keepers, monkeypatch):
    """Two versions, growing families and clutches that say nothing: the same points at the end."""
    for number in range(10):
        keeper = keepers[number % 3]
        if number == 5:
            gecko_changed()
        body = clutch(
            parent("66% het ashwater", f"s{number % 4}"), "ashwater", {"normal": 3, "ashwater": 1}
        )
        keeper.post("clutches/", body)
        keeper.post("clutches/", clutch("tidemark", parent("normal", f"n{number}"), {"normal": 2}))
        keeper.post("clutches/", clutch("het ashwater", "het ashwater", {"normal": number + 1}))
    whole = history("Ashwater")
    assert len(whole["points"]) == 20
    for n_read in (30, 12, 5, 1):
        monkeypatch.setattr("registry.combinations.history.MOST_READ", n_read)
        newest = history("Ashwater")
        n_shown = len(newest["points"])
        assert 1 <= n_shown <= n_read
        assert newest["first_clutch"] == newest["points"][0]["clutches"] == 21 - n_shown
        assert_same_points(newest["points"], whole["points"][-n_shown:])


def test_history__is_cut_by_its_counted_work(keepers, monkeypatch):
    for number in range(9):
        keepers[number % 3].post(
            "clutches/",
            clutch(
                parent("66% het ashwater", f"s{number % 3}"),
                parent("66% het ashwater", f"d{number}"),
                {"normal": 4},
            ),
        )
    whole = history("Ashwater")
    computed = []
    numbers = assessments.pool_numbers
    monkeypatch.setattr(
        "registry.combinations.history.pool_numbers",
        lambda pools: computed.append(1) or numbers(pools),
    )
    shown = []
    for allowed in (20_000_000, 100_000, 60_000, 0):
        monkeypatch.setattr("registry.combinations.history.MOST_WORK", allowed)
        computed.clear()
        cut = history("Ashwater")
        assert_same_points(cut["points"], whole["points"][-len(cut["points"]) :])
        assert cut["first_clutch"] == cut["points"][0]["clutches"]
        assert len(computed) == len(cut["points"])
        shown.append(len(computed))
    assert shown[0] == 9 > shown[1] > shown[2] >= shown[3] == 1, shown


def test_history__is_hidden_for_one_or_two_keepers_and_empty_for_nobody(keepers):
    nobody = history(PAIR)
    assert (nobody["points"], nobody["hidden"]) == ([], False)
    for number, keeper in enumerate(keepers):
        report(keeper, LETHAL, DECLARED)
        found = history(PAIR)
        assert found["hidden"] is (number < 2)
        assert len(found["points"]) == (6 if number == 2 else 0)
    assert history(PAIR, source="published")["points"] == []


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        (f"combinations/{GECKO}/quilback/history/", 400, "unknown-gene"),
        ("combinations/no-such-gecko/ashwater/history/", 404, "not-found"),
    ],
)
def test_history__refuses_what_the_answer_refuses(path, status, code):
    problem = Api().refused("get", path)
    assert (problem["status"], problem["code"]) == (status, code)


# --- fresh at every moment ----------------------------------------------------------------------


def test_answers__never_lag_behind_an_acknowledged_clutch(keepers):
    reported: list[tuple[Api, str]] = []
    families: list[Brood] = []
    broods = [ORDINARY, LETHAL, LETHAL, DECLARED, SHORT_GENE, LETHAL]
    for step, brood in enumerate(broods):
        keeper = keepers[step % 3]
        reported += [(keeper, one) for one in report(keeper, brood)]
        families.append(brood)
        _all_say(families)
    while families:
        keeper, one = reported.pop()
        families.pop()
        keeper.delete(f"clutches/{one}/")
        _all_say(families)


def _all_say(families: Sequence[Brood]) -> None:
    """Answer, list and flags, asked in turn first, all tell what these clutches say."""
    paths = ["list", "flags", "answer"]
    first = len(families) % 3
    told: dict[str, dict[str, float]] = {}
    for path in (*paths[first:], *paths[:first]):
        if path == "answer":
            found = {
                name: asked(name)["evidence"]["e_value"]
                for name in ("Ashwater", "Ashwater Pale Reed")
            }
        elif path == "list":
            rows = Api().get("combinations/", page_size=200)["results"]
            found = {one["combination"]: one["e_value"] for one in rows}
        else:
            found = {name: one["e_value"] for name, one in flags().items()}
        told[path] = found
    for looks in ("Ashwater", PAIR):
        pool = pool_of(looks, families)
        name = looks.replace(",", "")
        expected = e_value_of(pool) if pool else 1.0
        assert told["answer"][name] == close(expected)
        assert told["list"].get(name, 1.0) == close(expected)
        assert (name in told["flags"]) is (expected >= 20)
        assert told["flags"].get(name, expected) == close(expected)


def test_answer__after_a_new_catalogue_version_takes_each_clutch_by_its_own(keepers):
    """A recessive gene that is now known to show in one copy: other cells, other chances."""
    old = Brood("Ashwater", "Ashwater", {"": 20, "Ashwater": 1})
    for keeper in keepers[:2]:
        report(keeper, old)

    def shows(content: Any) -> None:
        (locus,) = (one for one in content["loci"] if one["key"] == "ml-ashwater")
        locus["alleles"][0]["mode"] = "incomplete-dominant"

    before = asked("Ashwater")["evidence"]["e_value"]
    gecko_changed(shows)
    assert asked("Ashwater")["evidence"]["e_value"] == close(before)
    new = (
        Brood("Ashwater", "", {"": 20, "Ashwater": 4}),
        Brood("Ashwater", "Ashwater", {"": 6, "Ashwater": 9}),
    )
    for said, brood in (("ashwater", new[0]), ("ashwater", new[1])):
        dam = said if brood.dam else "normal"
        counts = {look.lower() or "normal": n for look, n in brood.hatchlings.items()}
        keepers[2].post("clutches/", clutch(said, dam, counts, season=brood.body()["season"]))
    answer = asked("Ashwater")
    assert answer["tried"]["expected"] == 2 * 21 / 4 + 24 / 2 + 15 / 2
    assert answer["produced"]["hatchlings"] == 2 + 4 + 9

    loci = tuple(
        replace(one, alleles=(replace(one.alleles[0], mode=Mode.INCOMPLETE_DOMINANT),))
        if one.key == "ml-ashwater"
        else one
        for one in GECKOS.loci
    )
    changed = replace(GECKOS, loci=loci)
    apart = [pool_of("Ashwater", [old, old]), pool_of("Ashwater", new, changed)]
    parts = [pool[0] for pool in apart]
    assert parts[0][1].n_cells < parts[1][1].n_cells
    pool = aligned(parts)
    assert answer["evidence"]["e_value"] == close(e_value_of(pool))
    assert answer["evidence"]["unreported_successes_to_undo"] == undo_of(pool)
    assert answer["recovery"]["estimate"] == pytest.approx(recovery_ratio(pool).estimate, rel=1e-6)
    chances = {one["name"]: one["probability"] for one in answer["explanations"]}
    assert chances == {
        str(one.name): pytest.approx(one.probability, rel=1e-6) for one in explanations(pool)
    }
    points = history("Ashwater")["points"]
    assert len(points) == 4
    assert points[-1]["e_value"] == close(answer["evidence"]["e_value"])


def test_answer__after_a_version_that_changes_nothing_here_stays_as_it_was(keepers):
    for keeper in keepers:
        report(keeper, LETHAL, DECLARED)
    before = asked(PAIR)
    newer = gecko_changed().label
    after = asked(PAIR)
    assert after["method"]["catalogue"] == newer != before["method"]["catalogue"]
    assert _without_catalogue(after) == _without_catalogue(before)
    report(keepers[0], LETHAL)
    pool = pool_of(PAIR, [LETHAL, DECLARED] * 3 + [LETHAL])
    assert asked(PAIR)["evidence"]["e_value"] == close(e_value_of(pool))


def _without_catalogue(answer: Any) -> Any:
    return answer | {"method": answer["method"] | {"catalogue": ""}}
