"""A keeper's whole life over HTTP, then its erasure: nothing of it is left anywhere.

Every word that the keeper writes is one that nobody else has; every id, token and code that it is
told is noted. All of them are searched for in every table, in the log, in the ledger of erasures,
in the open data, in the feeds and in what else everybody may read.
"""

from __future__ import annotations

import io
import logging
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.api.scrubbing import SecretsFilter
from registry.clutches.models import Draft
from registry.clutches.services import reporting
from registry.feeds.models import StateChange
from registry.moderation.models import Moderator
from registry.operation.logs import JsonFormatter
from registry.pairings.models import Animal
from registry.traffic.models import StoredAnswer
from tests.factories.registry import ANY_STATE, GECKO, Api, clutch, gecko, group, joined, parent
from tests.factories.traces import Kept, NotedKeeper, leaks
from tests.registry.records.test_erasing import erase, traces

pytestmark = pytest.mark.django_db

EGGS: Final = {"laid": 14, "infertile": 1, "died": 1}
RARE: Final = {"ashwater": 3, "pale reed": 2, "normal": 3, "ashwater pale reed": 4}
"""Calls that two clutches rarely have in common."""
SHORT: Final = {"normal": 12, "ashwater": 12, "quillback": 12}
"""A quarter should show both genes, and none does."""
PASSWORD: Final = "a long one, and odd: 7/3"
NEVER_STORED: Final = {"secret", "token", "recovery code", "key of a retry"}

GONE_BEFORE: Final = {
    "id",
    "digest of a key",  # the key is noted as the keeper's and as nobody's
    "label of a token revoked",
    "code withdrawn",
    "word of a refused call",
    "label of a call that fails",
}


@pytest.fixture
def log(settings: Any) -> Iterator[io.StringIO]:
    """What the service logs as JSON, with a line for each request."""
    settings.MIDDLEWARE = [
        "registry.operation.request_log.RequestLogMiddleware",
        *settings.MIDDLEWARE,
    ]
    (handler,) = [
        one
        for one in logging.getLogger().handlers
        if any(isinstance(part, SecretsFilter) for part in one.filters)
    ]
    assert isinstance(handler, logging.StreamHandler)
    text, formatter = io.StringIO(), handler.formatter
    former = handler.setStream(text)
    handler.setFormatter(JsonFormatter())
    yield text
    handler.setFormatter(formatter)
    handler.setStream(former)


@pytest.fixture
def kept(settings: Any, tmp_path: Path, log: io.StringIO) -> Kept:
    """The service as it is served: limits, moderation, a ledger, a log."""
    settings.BROODCOUNT_ERASURE_LEDGER = tmp_path / "erasures.txt"
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_ADMIN = True
    gecko()
    return Kept(settings.BROODCOUNT_ERASURE_LEDGER, tmp_path / "exports", log)


# --- a life -------------------------------------------------------------------------------------


def tokens_and_codes(keeper: NotedKeeper) -> None:
    """Tokens in use and revoked; all of them lost, and recovered; a new recovery code."""
    for what in ("label of a token", "label of a token revoked"):
        made = keeper.made("keepers/me/tokens/", {"label": keeper.word(what)})
    keeper.delete(f"keepers/me/tokens/{made['id']}/")
    back = keeper.made("keepers/recoveries/", {"recovery_code": keeper.recovery_code})
    keeper.token = back["token"]
    new = keeper.made("keepers/me/recovery-code/", {})
    keeper.recovery_code = new["recovery_code"]
    for one in keeper.get("keepers/me/tokens/")["results"]:
        keeper.noted[one["starts_with"]] = "start of a token"


def pairs(keeper: NotedKeeper) -> dict[str, Any]:
    """A sire and a dam with labels."""
    return {
        "sire": parent("ashwater 66% het reed", keeper.word("label of a sire")),
        "dam": parent("reed het ashwater", keeper.word("label of a dam")),
    }


def declared_and_bred(keeper: NotedKeeper) -> str:
    """A declared pairing with its clutch, one with a code that is revised; the id of the second."""
    animals = pairs(keeper)
    said = {"species": GECKO, "season": timezone.now().year, **animals}
    pairing = keeper.made("pairings/", said)["id"]
    body = clutch(None, None, {"ashwater": 4}, pairing=pairing, season=said["season"])
    keeper.made("clutches/", body)
    calls = [group("ashwater", 3, basis=keeper.word("basis")), group("normal", 2)]
    made = keeper.made(
        "clutches/", clutch(**animals, hatchlings=calls, clutch_code=keeper.word("code"))
    )
    path = f"clutches/{made['id']}/"
    again = {
        "kind": "correction",
        "basis": keeper.word("basis of a revision"),
        "hatchlings": [group("ashwater", 4), group("normal", 1)],
    }
    keeper.made(f"{path}revisions/", again, **ANY_STATE)
    for animal in keeper.get("animals/")["results"]:
        if animal["label"] == animals["sire"]["animal"]:
            proven = {"gene": "pale reed", "status": "proven"}
            keeper.made(f"animals/{animal['id']}/statuses/", proven, **ANY_STATE)
    return str(made["id"])


def many_at_once(keeper: NotedKeeper) -> None:
    """Two uploads, one of them tried before, and a line that is refused."""
    bodies = [clutch(**pairs(keeper), clutch_code=keeper.word("code of a line")) for _ in range(2)]
    keeper.bulk([*bodies, clutch("wildfire")], validate_only="true")
    keeper.bulk([*bodies, clutch("wildfire")])
    table = (
        "species,season,sire,dam,sire_animal,dam_animal,hatchlings,clutch_code\n"
        f"{GECKO},2024,het ashwater,ashwater,{keeper.word('cell of a sire')},,"
        f"3 ashwater ({keeper.word('cell of a basis')}),{keeper.word('cell of a code')}\n"
    )
    assert keeper.bulk(table, "text/csv")[-1]["summary"]["accepted"] == 1


def with_another(keeper: NotedKeeper, other: Api) -> None:
    """Second opinions both ways, one of them taken over; duplicates both ways, both decided."""
    both = {"species": GECKO, "season": 2025}
    theirs = other.post("clutches/", clutch(clutch_code="their code"))["id"]
    calls = [group("normal", 3), group("ashwater", 3)]
    opinion = both | {"clutch_code": "their code", "hatchlings": calls}
    keeper.made("second-opinions/", opinion)
    (seen,) = other.get(f"clutches/{theirs}/opinions/")["results"]
    path = f"clutches/{theirs}/revisions/"
    taken = other.send("post", path, {"opinion": seen["id"]}, headers=ANY_STATE)
    assert taken.status_code == 201
    keeper.made("second-opinions/", opinion | {"basis": keeper.word("basis of an opinion")})
    code = keeper.word("code for an opinion")
    mine = keeper.made("clutches/", clutch(clutch_code=code))["id"]
    other.post("second-opinions/", opinion | {"clutch_code": code})
    assert len(keeper.get(f"clutches/{mine}/opinions/")["results"]) == 1
    for n, order in enumerate(((keeper, other), (other, keeper))):
        for one in order:
            sent = clutch(
                "ashwater het reed", "reed het ashwater", RARE, eggs=EGGS, season=2020 + n
            )
            one.post("clutches/", sent)
    found = keeper.get("duplicates/")["results"]
    assert len(found) == 2
    for who, verdict in ((keeper, "same"), (other, "different")):
        for pair in found:
            answer = who.send(
                "put", f"duplicates/{pair['id']}/", {"verdict": verdict}, headers=ANY_STATE
            )
            assert answer.status_code == 200


def rare(season: int) -> dict[str, Any]:
    """A clutch that another report is hardly equal to by chance."""
    return clutch("ashwater het reed", "reed het ashwater", RARE, eggs=EGGS, season=season)


def on_the_pages(keeper: NotedKeeper) -> None:
    """Signed in on the pages: one report that is handed in, one that stays a draft."""
    browser = Client()
    browser.post(reverse("pages:sign-in"), {"token": keeper.token, "stay": "yes"})
    for act in ("hand-in", "look"):
        typed = {
            "species": GECKO,
            "season": "2025",
            "sire": "het ashwater",
            "sire_animal": keeper.word("sire of the pages"),
            "dam": "ashwater",
            "hatchlings": f"3 ashwater ({keeper.word('basis of the pages')})",
            "clutch_code": keeper.word("code of the pages"),
        }
        kept = browser.post(reverse("pages:report"), typed)
        draft = kept.headers["Location"]
        looked_at = browser.get(draft).context["state"]
        answer = browser.post(draft, typed | {"act": act, "state": looked_at}, follow=True)
        assert answer.status_code == 200, answer.content
        assert typed["clutch_code"] in answer.content.decode()
    assert Draft.objects.filter(keeper=keeper.keeper, clutch=None).count() == 1
    keeper.noted |= dict.fromkeys(map(str, Draft.objects.values_list("pk", flat=True)), "draft")


def moderated(keeper: NotedKeeper) -> None:
    """Held on the pages of moderation, read the reason, released, held again."""
    made = Moderator(handle="marsh warden")
    made.set_password(PASSWORD)
    made.save()
    client = Client()
    client.post("/moderation/login/", {"username": made.handle, "password": PASSWORD})
    for action in ("hold", "release", "hold"):
        form = {"action": action, "_selected_action": keeper.keeper, "confirmed": "yes"}
        reason = {"reason": f"A good reason to {action}."}
        client.post("/moderation/keepers/keeper/", form | reason)
        held = keeper.get("keepers/me/")["held"]
        assert (held is None) is (action == "release")
    client.get(f"/moderation/keepers/keeper/{keeper.keeper}/change/")


def refused_and_failing(keeper: NotedKeeper, monkeypatch: pytest.MonkeyPatch) -> None:
    """Calls that are refused with the keeper's words in them, and one that fails inside."""
    word = keeper.word("word of a refused call")
    for body in (clutch(word), clutch(parent("het ashwater", word * 9)), {word: word}):
        assert keeper.send("post", "clutches/", body).status_code == 400
    keeper.refused("get", f"clutches/{uuid.uuid4()}/", query={"x": word})

    def fail(*_args: Any, **_given: Any) -> None:
        raise RuntimeError(f"nobody has {keeper.token}, not even {keeper.keeper}")

    with monkeypatch.context() as patched:
        patched.setattr(reporting, "season_checked", fail)
        body = clutch(parent("ashwater", keeper.word("label of a call that fails")))
        assert keeper.send("post", "clutches/", body).status_code == 500


def lived(keeper: NotedKeeper, other: Api, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """A whole life; all that must be nowhere after it: value -> what it is."""
    tokens_and_codes(keeper)
    declared_and_bred(keeper)
    many_at_once(keeper)
    with_another(keeper, other)
    on_the_pages(keeper)
    moderated(keeper)
    refused_and_failing(keeper, monkeypatch)
    withdrawn = keeper.made("clutches/", clutch(clutch_code=keeper.word("code withdrawn")))
    keeper.delete(f"clutches/{withdrawn['id']}/")
    for query in ({}, {"form": "csv"}):
        assert keeper.read("keepers/me/export/", query=query)
    return keeper.noted | traces(keeper)


# --- what is left -------------------------------------------------------------------------------


def test_erasure__of_a_whole_life_leaves_nothing_anywhere(kept, monkeypatch):
    other = joined()
    for one in (other, joined(), joined()):
        one.post("clutches/", clutch())
        one.post("clutches/", clutch("ashwater het quillback", "quillback het ashwater", SHORT))
    keeper = NotedKeeper()
    gone = lived(keeper, other, monkeypatch)
    call_command("states", "record", stdout=io.StringIO())
    before = leaks({one: one for one in gone}, kept.places())
    assert {place for place, _one in before if not place.startswith("table ")} == set()
    # The search finds all that is stored: everything but secrets, and what was gone already.
    missed = Counter(gone[one] for one in set(gone) - {one for _place, one in before})
    assert set(missed) == NEVER_STORED | GONE_BEFORE
    # Of the revoked token, the withdrawn clutch, and a clutch that was never there.
    assert missed["id"] == 3
    n_others = len(other.get("clutches/")["results"])
    erase(keeper)
    call_command("states", "record", stdout=io.StringIO())
    assert leaks(gone, kept.places()) == set()
    # There was something to search in, and others have what is theirs.
    texts = dict(kept.places())
    assert '"code": 500' in texts["log"]
    assert "RuntimeError: nobody has bck_..., not even [id]" in texts["log"]
    assert "<entry" in texts["feeds/flags.atom"]
    assert texts["erasures.txt"].count("\n") == 1
    assert texts[f"exports/pools/{GECKO}.csv"].count("\n") > 1
    assert len(other.get("clutches/")["results"]) == n_others


PLANTED: Final[dict[str, Callable[[Kept, str], object]]] = {
    "table pairings_animal": lambda _kept, text: Animal.objects.update(label=text),
    "table traffic_storedanswer": lambda _kept, text: StoredAnswer.objects.create(
        key_sha256=b"k" * 32, sealed=b"\0" + text.encode() + b"\xff", stored_at=timezone.now()
    ),
    "log": lambda _kept, text: logging.getLogger("registry").error("read %s", text),
    "erasures.txt": lambda kept, text: kept.ledger.write_text(text),
    f"feeds/combinations/{GECKO}/ashwater.atom": lambda _kept, text: StateChange.objects.update(
        combination=text
    ),
}


@pytest.mark.parametrize("place", PLANTED)
def test_search__finds_what_is_planted(kept, place):
    other, keeper = joined(), NotedKeeper()
    other.post("clutches/", clutch(parent("het ashwater", "theirs")))
    call_command("states", "record", stdout=io.StringIO())
    label = keeper.word("label")
    keeper.made("clutches/", clutch(parent("het ashwater", label)))
    gone = keeper.noted | traces(keeper)
    erase(keeper)
    assert leaks(gone, kept.places()) == set()
    PLANTED[place](kept, label)
    assert (place, "label") in leaks(gone, kept.places())


def test_search__finds_a_file_an_id_without_hyphens_and_other_cases(kept):
    keeper = NotedKeeper()
    keeper.word("label")
    erase(keeper)
    list(kept.places())
    assert keeper.keeper
    (kept.exports / "more.txt").write_text(keeper.keeper.replace("-", "").upper())
    assert leaks(keeper.noted, kept.files()) == {("more.txt", "id")}
