"""Two reports of one clutch: found, held back, told apart; and how well they are found."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.services import duplicates
from registry.clutches.services.duplicates import duplicate_moderate
from registry.clutches.services.holding import keeper_hold, keeper_release
from registry.clutches.services.rebuilding import pools_differences
from registry.clutches.services.reporting import clutch_report
from registry.combinations.bridge.community import community_clutches
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_join
from tests.factories.registry import ANY_STATE, GECKO, Api, clutch, gecko, group, joined, parent

pytestmark = pytest.mark.django_db

EGGS = {"laid": 12, "infertile": 2, "died": 1}


@pytest.fixture(autouse=True)
def _species():
    gecko()


def body(**change: Any) -> dict[str, Any]:
    hatchlings = {"ashwater": 3, "pale reed": 2, "normal": 3, "ashwater pale reed": 1}
    return (
        clutch("ashwater het reed", "reed het ashwater", hatchlings, eggs=EGGS, season=2024)
        | change
    )


def tried(genes: str = "ashwater reed") -> int:
    return int(Api().combination(genes)["tried"]["clutches"])


def decided(keeper: Api, verdict: str) -> dict[str, Any]:
    (pair,) = keeper.get("duplicates/")["results"]
    path = f"duplicates/{pair['id']}/"
    etag = keeper.send("get", path).headers["ETag"]
    answer = keeper.send("put", path, {"verdict": verdict}, headers={"If-Match": etag})
    assert answer.status_code == 200, answer.content
    assert answer.json() == keeper.get(path)
    return answer.json()  # type: ignore[no-any-return]


def test_same_counts__wait_and_both_keepers_see_the_pair():
    first, second = joined(), joined()
    one = first.post("clutches/", body())
    other = second.post("clutches/", body())
    assert (one["held"], other["held"]) == (None, "duplicate")
    assert tried() == 1
    (seen,) = first.get("duplicates/")["results"]
    assert (seen["earlier"], seen["later"], seen["state"]) == (one["id"], None, "likely")
    (seen,) = second.get("duplicates/", state="likely")["results"]
    assert (seen["earlier"], seen["later"], seen["reason"]) == (None, other["id"], "same-counts")
    assert joined().get("duplicates/")["results"] == []
    assert pools_differences() == []


def test_trial_of_many__knows_copies_of_what_is_stored_and_not_of_its_own_lines():
    """As fixtures/bulk/README.md says."""
    keeper = joined()
    animals = {"sire": parent("het ashwater", "m-1"), "dam": parent("het ashwater", "f-1")}
    stored, new = (clutch(**animals, clutch_code=code) for code in ("stored", "new"))
    keeper.post("clutches/", stored)
    tried = keeper.bulk([stored, new, new], validate_only="true")[:-1]
    assert [one["held"] for one in tried] == ["duplicate", None, None]
    real = keeper.bulk([stored, new, new])[:-1]
    assert [one["held"] for one in real] == ["duplicate", None, "duplicate"]


@pytest.mark.parametrize(
    ("says", "state", "n_clutches"),
    [
        ([("later", "different")], "dismissed", 2),
        ([("later", "same")], "confirmed", 1),
        ([("earlier", "same")], "confirmed", 1),
        ([("earlier", "different")], "likely", 1),
        ([("later", "different"), ("earlier", "same")], "confirmed", 1),
        ([("earlier", "same"), ("later", "different"), ("earlier", "different")], "dismissed", 2),
    ],
)
def test_verdicts__of_the_two_keepers(says, state, n_clutches):
    keepers = {"earlier": joined(), "later": joined()}
    for one in keepers.values():
        one.post("clutches/", body())
    for who, verdict in says:
        answer = decided(keepers[who], verdict)
    assert (answer["state"], answer["you_say"]) == (state, says[-1][1])
    assert tried() == n_clutches
    assert pools_differences() == []


def test_verdict__of_a_moderator_goes_before_both():
    first, second = joined(), joined()
    first.post("clutches/", body())
    second.post("clutches/", body())
    decided(second, "different")
    pair = LikelyDuplicate.objects.get()
    duplicate_moderate(pair.pk, same=True)
    assert tried() == 1
    assert decided(second, "different")["state"] == "confirmed"
    duplicate_moderate(pair.pk, same=None)
    assert tried() == 2
    assert pools_differences() == []


def test_verdict__needs_the_state_it_is_based_on():
    first, second = joined(), joined()
    first.post("clutches/", body())
    second.post("clutches/", body())
    (pair,) = second.get("duplicates/")["results"]
    path = f"duplicates/{pair['id']}/"
    assert second.refused("put", path, {"verdict": "same"})["status"] == 428
    old = second.send("get", path).headers["ETag"]
    decided(second, "same")
    answer = second.refused("put", path, {"verdict": "different"}, headers={"If-Match": old})
    assert answer["status"] == 412


def test_shared_code__counts_once():
    first, second = joined(), joined()
    first.post("clutches/", clutch(clutch_code="one of us"))
    later = second.post("clutches/", clutch(clutch_code="one of us", hatchlings={"normal": 7}))
    assert later["held"] == "duplicate"
    assert tried("ashwater") == 1
    (seen,) = second.get("duplicates/")["results"]
    assert (seen["state"], seen["reason"]) == ("confirmed", "shared-code")
    assert decided(second, "different")["state"] == "dismissed"
    assert tried("ashwater") == 2


@pytest.mark.parametrize(
    "change",
    [
        {"season": 2023},
        {"eggs": EGGS | {"laid": 13}},
        {"eggs": EGGS | {"infertile": 1}},
        {"eggs": None},
        {"hatchlings": [group("ashwater", 5), group("pale reed", 4)]},
        {"sire": parent("ashwater")},
    ],
)
def test_other_clutches__count(change):
    joined().post("clutches/", body())
    assert joined().post("clutches/", body(**change))["held"] is None
    assert not LikelyDuplicate.objects.exists()


def test_one_call_apart__may_still_be_the_same():
    joined().post("clutches/", body())
    calls = {"ashwater": 4, "pale reed": 1, "normal": 3, "ashwater pale reed": 1}
    other = body(hatchlings=[group(call, n) for call, n in calls.items()])
    later = joined().post("clutches/", other)
    pair = LikelyDuplicate.objects.first()
    assert (later["held"] == "duplicate") is (pair is not None)
    if pair is not None:
        assert pair.chance < 0.95


def test_own_animals__by_other_labels_are_other_clutches():
    keeper = joined()
    for n in range(2):
        labelled = body(
            sire=parent("ashwater het reed", f"m-{n}"), dam=parent("reed het ashwater", f"f-{n}")
        )
        assert keeper.post("clutches/", labelled | {"clutch_code": "all alike"})["held"] is None
    again = keeper.post("clutches/", labelled)
    assert again["held"] == "duplicate"


@pytest.mark.parametrize("leaving", ["withdraw", "erase"])
def test_earlier_report__that_leaves_sets_the_later_one_free(leaving):
    first, second = joined(), joined()
    one = first.post("clutches/", body())["id"]
    later = second.post("clutches/", body())["id"]
    if leaving == "withdraw":
        first.delete(f"clutches/{one}/")
    else:
        assert first.send("delete", "keepers/me/", headers=ANY_STATE).status_code == 200
    assert second.get(f"clutches/{later}/")["held"] is None
    assert tried() == 1
    assert pools_differences() == []


def test_earlier_report__that_leaves_two_copies_leaves_one_that_counts():
    keepers = [joined() for _ in range(3)]
    made = [one.post("clutches/", body() | {"clutch_code": "of us three"})["id"] for one in keepers]
    keepers[0].delete(f"clutches/{made[0]}/")
    assert tried() == 1
    held = [
        one.get(f"clutches/{clutch_id}/")["held"]
        for one, clutch_id in zip(keepers[1:], made[1:], strict=True)
    ]
    assert held == [None, "duplicate"]
    (pair,) = keepers[2].get("duplicates/")["results"]
    assert (pair["later"], pair["state"]) == (made[2], "confirmed")
    assert pools_differences() == []


def test_earlier_report__that_is_held_lets_the_later_one_count_meanwhile():
    first, second = joined(), joined()
    first.post("clutches/", body())
    later = second.post("clutches/", body())["id"]
    pk = Keeper.objects.get(pk=first.keeper).pk
    keeper_hold(pk)
    assert second.get(f"clutches/{later}/")["held"] is None
    assert tried() == 1
    keeper_release(pk)
    assert second.get(f"clutches/{later}/")["held"] == "duplicate"
    assert tried() == 1
    assert pools_differences() == []


def test_report__of_what_a_held_keeper_reported_counts_until_the_release():
    first, second = joined(), joined()
    first.post("clutches/", body() | {"clutch_code": "held"})
    pk = Keeper.objects.get(pk=first.keeper).pk
    keeper_hold(pk)
    later = second.post("clutches/", body() | {"clutch_code": "held"})
    assert later["held"] is None
    assert tried() == 1
    keeper_release(pk)
    assert second.get(f"clutches/{later['id']}/")["held"] == "duplicate"
    assert tried() == 1
    assert pools_differences() == []


def test_later_report__that_is_withdrawn_takes_the_pair_along():
    first, second = joined(), joined()
    first.post("clutches/", body())
    later = second.post("clutches/", body())["id"]
    second.delete(f"clutches/{later}/")
    assert first.get("duplicates/")["results"] == []
    assert tried() == 1


def community(seed: int, *, n_clutches: int, n_copies: int) -> tuple[set[Any], set[Any]]:
    """(planted, held back) copies in a simulated community; copies come from other keepers."""
    loaded, random = species_loaded(GECKO), Random(seed)
    keepers = [keeper_join().keeper for _ in range(20)]
    planted = set()
    bodies = list(
        community_clutches(
            loaded,
            names_elsewhere(GECKO),
            n_keepers=20,
            n_clutches=n_clutches,
            seed=seed,
            last_season=2025,
        )
    )
    copied = set(random.sample(range(n_clutches), n_copies))
    for number, (owner, one) in enumerate(bodies):
        clutch_report(keepers[owner], one)
        if number in copied:
            stranger = keepers[(owner + 1 + random.randrange(19)) % 20]
            parents = {
                role: {"genes": one[role]["genes"], "animal": f"copy {number} {role}"}
                for role in ("sire", "dam")
            }
            planted.add(clutch_report(stranger, one | parents).clutch_id)
    held = set(Clutch.objects.filter(is_duplicate=True).values_list("pk", flat=True))
    Keeper.objects.filter(pk__in=[one.pk for one in keepers]).delete()
    return planted, held


def test_planted_copies__are_found():
    """Of copies by other keepers, 90 % are held back, and half of what is held back is a copy."""
    n_planted = n_found = n_held = 0
    for seed in range(3):
        planted, held = community(seed, n_clutches=150, n_copies=12)
        n_planted += len(planted)
        n_found += len(planted & held)
        n_held += len(held)
    assert n_found >= 0.9 * n_planted
    assert n_found >= 0.5 * n_held


def test_copies_of_a_held_report__count_once_between_them():
    first, second, third = joined(), joined(), joined()
    for one in (first, second, third):
        one.post("clutches/", body())

    def counting() -> list[bool]:
        every = Clutch.objects.order_by("reported_at").select_related("keeper")
        return [not (one.is_duplicate or one.is_held) for one in every]

    assert counting() == [True, False, False]
    keeper_hold(Keeper.objects.get(pk=first.keeper).pk)
    assert counting() == [False, True, False]
    keeper_hold(Keeper.objects.get(pk=second.keeper).pk)
    assert counting() == [False, False, True]
    keeper_release(Keeper.objects.get(pk=second.keeper).pk)
    assert counting() == [False, True, False]
    standing = second.get("clutches/")["results"][0]["id"]
    second.delete(f"clutches/{standing}/")
    assert counting() == [False, True]
    keeper_release(Keeper.objects.get(pk=first.keeper).pk)
    assert counting() == [True, False]
    first.delete(f"clutches/{first.get('clutches/')['results'][0]['id']}/")
    assert counting() == [True]
    assert pools_differences() == []


def test_shared_code__is_found_among_any_number_of_like_parents(monkeypatch):
    """Many clutches of a season have the same parents; the one with the code may be a late one."""
    monkeypatch.setattr(duplicates, "_MOST_TWINS", 2)
    for n_laid in (10, 11, 12):
        joined().post("clutches/", body(eggs={"laid": n_laid, "infertile": 0, "died": 0}))
    coded = body(clutch_code="one of many", eggs=None)
    joined().post("clutches/", coded)
    eggs = {"laid": 20, "infertile": 0, "died": 0}
    assert joined().post("clutches/", coded | {"eggs": eggs})["held"] == "duplicate"


def chain() -> list[tuple[Api, str]]:
    """Three reports of one clutch: the third a copy of the second, and that one of the first."""
    keepers = [joined() for _ in range(3)]
    coded = body() | {"clutch_code": "chain"}
    made = [one.post("clutches/", coded)["id"] for one in keepers[:2]]
    decided(keepers[1], "different")
    held = Keeper.objects.get(pk=keepers[0].keeper).pk
    keeper_hold(held)
    made.append(keepers[2].post("clutches/", coded)["id"])
    keeper_release(held)
    decided(keepers[0], "same")
    pairs = LikelyDuplicate.objects.exclude(state="dismissed").order_by("later__reported_at")
    found = [(str(one.earlier_id), str(one.later_id)) for one in pairs]
    assert found == [(made[0], made[1]), (made[1], made[2])]
    assert tried() == 1
    return list(zip(keepers, made, strict=True))


@pytest.mark.parametrize("held", [(1,), (0,), (0, 1), (1, 0), (0, 1, 2), (1, 2), (2, 0)])
def test_copy_of_a_copy__waits_whoever_is_held(held):
    keepers = [Keeper.objects.get(pk=one.keeper).pk for one, _ in chain()]
    for n, place in enumerate(held, start=1):
        keeper_hold(keepers[place])
        assert tried() == (1 if n < len(keepers) else 0)
    for place in held:
        keeper_release(keepers[place])
        assert tried() == 1
    assert pools_differences() == []


@pytest.mark.parametrize("leaving", [(1,), (0,), (1, 0), (0, 1), (2, 1)])
@pytest.mark.parametrize("way", ["withdraw", "erase"])
def test_copy_of_a_copy__counts_once_whoever_leaves(leaving, way):
    links = chain()
    for place in leaving:
        keeper, made = links[place]
        if way == "withdraw":
            keeper.delete(f"clutches/{made}/")
        else:
            assert keeper.send("delete", "keepers/me/", headers=ANY_STATE).status_code == 200
        assert tried() == 1
    assert pools_differences() == []
