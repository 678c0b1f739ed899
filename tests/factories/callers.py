"""Everybody who may call, and a keeper with something of everything to be called about."""

from __future__ import annotations

import datetime as dt
from typing import Final

from django.test import Client

from registry.clutches.services.holding import keeper_hold
from registry.keepers.models import Keeper, KeeperToken
from registry.keepers.selectors import today
from registry.moderation.models import Moderator
from tests.factories.registry import ANY_STATE, GECKO, Api, clutch, gecko, joined, parent

CALLERS: Final = (
    "anonymous",
    "other",
    "owner",
    "moderator",
    "held",
    "expired",
    "revoked",
    "unknown",
)

LABEL: Final = "label of the owner"
SHARED: Final = "code of the owner"
CODED: Final = clutch(clutch_code="of the table", hatchlings={"normal": 4}, season=2020)


class Scene:
    """A keeper with something of everything, and all who may ask for it."""

    def __init__(self) -> None:
        gecko()
        joined().post("clutches/", CODED)
        owner = joined()
        own = owner.post("clutches/", clutch(parent("66% het reed", LABEL), "reed"))
        shared = clutch(clutch_code=SHARED, season=2021)
        joined().post("clutches/", shared)
        owner.post("clutches/", shared)
        gone = joined()
        receipt = gone.send("delete", "keepers/me/", headers=ANY_STATE).json()["receipt"]
        spare = owner.post("keepers/me/tokens/", {})
        self.owner = owner
        self.ids = {
            "species": GECKO,
            "genes": "ashwater",
            "receipt": receipt,
            "clutch_id": own["id"],
            "token_id": spare["id"],
            "animal_id": owner.get("animals/")["results"][0]["id"],
            "duplicate_id": owner.get("duplicates/")["results"][0]["id"],
        }
        secrets = (owner.keeper, owner.token, owner.recovery_code, spare["token"], LABEL, SHARED)
        named = (value for name, value in self.ids.items() if name.endswith("_id"))
        self.own = [str(one) for one in (*secrets, *named)]
        """What nobody else is ever told: ids, secrets, labels and clutch codes of the owner."""

    def caller(self, name: str) -> Api:
        """Somebody, ready to call."""
        keeper = Keeper.objects.get(pk=self.owner.keeper)
        if name == "anonymous":
            return Api()
        if name == "other":
            return joined()
        if name == "moderator":
            asker = Api()
            asker.client = Client(raise_request_exception=False)
            asker.client.force_login(Moderator.objects.create(handle="warden"))
            return asker
        if name == "unknown":
            return Api(f"bck_{'x' * 43}")
        if name == "held":
            keeper_hold(keeper.pk)
        if name in {"expired", "revoked"}:
            made = self.owner.post("keepers/me/tokens/", {})
            stored = KeeperToken.objects.filter(pk=made["id"])
            if name == "revoked":
                stored.delete()
            else:
                stored.update(expires_on=today() - dt.timedelta(days=1))
            return Api(made["token"])
        return self.owner
