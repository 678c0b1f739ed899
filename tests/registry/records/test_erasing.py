"""Erasure: nothing of a keeper is left, the pools are right at once, a restore forgets again."""

from __future__ import annotations

import hashlib
import io
import random
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection

from registry.clutches.models import Clutch
from registry.keepers.models import Erasure, Keeper, KeeperToken
from registry.pairings.models import Animal, Pairing
from registry.pools.models import Contribution, PooledTarget, PoolRow
from registry.records import services
from registry.records.ledger import Entry
from registry.records.services import keeper_erase
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    Api,
    clutch,
    counted,
    gecko,
    group,
    joined,
    many,
    parent,
    stored,
)
from tests.registry.pools.test_services import at_once, check_pools, kept, some_clutch

pytestmark = pytest.mark.django_db

DAY = "2026-05-31"


@pytest.fixture(autouse=True)
def _species() -> None:
    gecko()


@pytest.fixture
def ledger(settings: Any, tmp_path: Path) -> Path:
    """The ledger's file, in a folder that is not there yet."""
    path = tmp_path / "data folder" / "erasures.txt"
    settings.BROODCOUNT_ERASURE_LEDGER = path
    return path


def erase(keeper: Api) -> dict[str, Any]:
    """The receipt of an erasure over HTTP."""
    response = keeper.send("delete", "keepers/me/", headers=_key() | ANY_STATE)
    assert response.status_code == 200, response.content
    answer: dict[str, Any] = response.json()
    return answer


def _key() -> dict[str, str]:
    """A key of a retry, in whatever is kept of calls."""
    return {"Idempotency-Key": f"key-{random.randrange(10**24):024}"}


def fill(keeper: Api, name: str, n_families: int = 2) -> None:
    """Tokens, pairings, animals and clutches, all named after the keeper."""
    keeper.send("post", "keepers/me/tokens/", {"label": f"{name} label"}, headers=_key())
    for n in range(n_families):
        parents = {
            "sire": parent("het ashwater, tidemark", f"{name} sire {n}"),
            "dam": parent("het ashwater", f"{name} dam {n}"),
        }
        said = {"species": GECKO, "season": 2025, **parents}
        declared = keeper.send("post", "pairings/", said, headers=_key()).json()
        for body in (
            clutch(None, None, {"normal": 4 + n}, pairing=declared["id"]),
            clutch(
                **parents,
                hatchlings=[group("tidemark", 3, basis=f"{name} basis"), group("ashwater", 1)],
                clutch_code=f"{name} code",
            ),
        ):
            assert keeper.send("post", "clutches/", body, headers=_key()).status_code == 201


# --- what is gone -------------------------------------------------------------------------------


def test_erasure__is_told_by_a_receipt_that_can_be_checked():
    with time_machine.travel(f"{DAY}T23:30:00Z"):
        keeper = joined()
        fill(keeper, "mine")
        record = keeper.get("keepers/me/")
        response = keeper.send("delete", "keepers/me/", headers=ANY_STATE)
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    assert keeper.keeper
    digest = hashlib.sha256(keeper.keeper.encode()).hexdigest()
    counts = {name: record[name] for name in ("clutches", "pairings", "animals", "tokens")}
    assert counts == {"clutches": 4, "pairings": 2, "animals": 4, "tokens": 2}
    assert response.json() == {"erased_on": DAY, "removed": counts, "receipt": digest}
    # Anybody with the receipt, or with the keeper's id to make it from, can ask.
    answer = {"receipt": digest, "erased_on": DAY}
    assert Api().get(f"keepers/erasures/{digest}/") == answer
    assert Api().get(f"keepers/erasures/{digest.upper()}/") == answer
    assert keeper.refused("get", "keepers/me/")["code"] == "unknown-token"
    lost = {"recovery_code": keeper.recovery_code}
    assert Api().refused("post", "keepers/recoveries/", lost)["code"] == "unknown-recovery-code"


@pytest.mark.parametrize("receipt", ["0" * 64, "x", "%00"])
def test_receipt__of_nobody_is_not_found(receipt):
    problem = Api().refused("get", f"keepers/erasures/{receipt}/")
    assert problem["status"] in ({400} if receipt == "%00" else {404})


def dump() -> str:
    """Every row of every table as text, tables of no model included."""
    texts = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            with cursor.copy(f'COPY "{table}" TO STDOUT') as copy:
                texts.extend(f"{table}\t{bytes(row).decode()}" for row in copy)
    return "\n".join(texts)


def traces(keeper: Api) -> dict[str, str]:
    """What must be nowhere after the erasure: value -> what it is."""
    own = Keeper.objects.get(pk=keeper.keeper)
    tokens = own.tokens.all()
    families = {*Clutch.objects.filter(keeper=own).values_list("family", flat=True)}
    families |= {*Contribution.objects.filter(keeper=own).values_list("family", flat=True)}
    found: dict[str, str] = {str(own.pk): "keeper", own.recovery_sha256: "recovery digest"}
    found |= {one.sha256: "token digest" for one in tokens}
    found |= {str(one.pk): "token id" for one in tokens}
    found |= {one.starts_with: "start of a token" for one in tokens}
    for model in (Animal, Pairing, Clutch):
        ids = model._default_manager.filter(keeper=own).values_list("pk", flat=True)
        found |= {str(one): model.__name__ for one in ids}
    found |= {str(one): "family" for one in families}
    assert keeper.token
    assert keeper.recovery_code
    return found | {keeper.token: "token", keeper.recovery_code: "recovery code"}


def test_erasure__leaves_nothing_of_the_keeper_in_any_table():
    keeper, other = joined(), joined()
    fill(keeper, "mine")
    fill(other, "theirs")
    gone, left = traces(keeper), traces(other)
    shown_once = {"token", "recovery code"}
    before = dump()
    # The search finds what it looks for, as long as it is there.
    assert {what for one, what in gone.items() if one not in before} == shown_once
    # label, animals, bases (of the calls and of the first state), codes
    assert before.count("mine ") == 1 + 4 + 2 * 2 + 2
    erase(keeper)
    after = dump()
    assert {what for one, what in gone.items() if one in after} == set()
    assert "mine " not in after
    assert {what for one, what in left.items() if one not in after} == shown_once
    assert after.count("theirs ") == before.count("theirs ")


# --- pools --------------------------------------------------------------------------------------


def answers() -> list[Any]:
    """What the public sees of the pools."""
    names = ("ashwater", "tidemark", "ashwater tidemark")
    return rounded([*(Api().combination(one) for one in names), Api().get("flags/")])


def rounded(value: Any) -> Any:
    """Numbers to nine digits: equal pools may be added up in another order."""
    if isinstance(value, dict):
        return {name: rounded(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [rounded(inner) for inner in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


def test_erasure__takes_the_keeper_out_of_every_answer_at_once():
    keeper, other = joined(), joined()
    fill(other, "theirs")
    without, pools = answers(), kept()
    fill(keeper, "mine", n_families=3)
    assert answers() != without
    assert kept() != pools
    erase(keeper)
    assert answers() == without
    assert kept() == pools
    check_pools()
    erase(other)
    assert (Contribution.objects.count(), PoolRow.objects.count()) == (0, 0)
    assert {one["tried"]["clutches"] for one in answers()[:3]} == {0}


@pytest.mark.parametrize("seed", range(4))
def test_erasure__equals_a_rebuild_after_any_history(seed):
    chosen = random.Random(seed)
    keepers = [joined() for _ in range(3)]
    for _ in range(24):
        chosen.choice(keepers).post("clutches/", some_clutch(chosen))
    for one in keepers:
        Api().get("combinations/")
        erase(one)
        check_pools()
    assert not Clutch.objects.exists()
    assert not PoolRow.objects.exists()


def test_erasure__touches_the_targets_of_the_keeper_only():
    keeper, other = joined(), joined()
    keeper.post("clutches/", clutch())
    other.post("clutches/", clutch("het reed", "het reed", {"normal": 3}))
    before = dict(PooledTarget.objects.values_list("combination", "revision"))
    erase(keeper)
    after = dict(PooledTarget.objects.values_list("combination", "revision"))
    assert {name for name, n in after.items() if n != before[name]} == {"Ashwater"}


def test_erasure__statements_do_not_grow_with_the_families():
    few, large = joined(), joined()
    fill(few, "few", n_families=1)
    for n in range(12):
        large.post("clutches/", many(f"m-{n}", f"f-{n}"))
    fill(large, "large", n_families=8)
    assert Contribution.objects.filter(keeper=large.keeper).count() > 1_000
    assert counted(few, "delete", "keepers/me/", headers=ANY_STATE) == counted(
        large, "delete", "keepers/me/", headers=ANY_STATE
    )
    assert not Contribution.objects.exists()


def tuples_read() -> int:
    """Rows that PostgreSQL has read in this transaction, by whatever way, in all tables."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sum(coalesce(seq_tup_read, 0) + coalesce(idx_tup_fetch, 0)) "
            "FROM pg_stat_xact_user_tables"
        )
        (found,) = cursor.fetchone() or (0,)
    return int(found)


@pytest.fixture
def statistics_of_a_bad_moment() -> Iterator[Callable[[], None]]:
    """A call that lets PostgreSQL believe what autovacuum may write down at any moment.

    It counts rows while the first large transaction is open: many pages and not one row.
    """
    tables = [model._meta.db_table for model in apps.get_models()]
    with connection.copy().cursor() as other:

        def write_down() -> None:
            other.execute(f"ANALYZE {', '.join(tables)}")

        yield write_down
        other.connection.close()


def test_erasure__costs_what_there_is_whatever_the_statistics_say(statistics_of_a_bad_moment):
    keeper = joined()
    keeper.post("clutches/", many("m-0", "f-0"))
    statistics_of_a_bad_moment()
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT reltuples, relpages FROM pg_class WHERE relname = %s", ["pools_contribution"]
        )
        (n_tuples, n_pages) = cursor.fetchone() or (None, None)
    assert n_tuples == 0 < n_pages
    for n in range(1, 4):
        keeper.post("clutches/", many(f"m-{n}", f"f-{n}"))
    n_rows = Contribution.objects.count()
    assert n_rows > 1_500
    before = tuples_read()
    erase(keeper)
    assert not Contribution.objects.exists()
    # Each is read some times: to be found, changed, and held against what refers to it.
    assert tuples_read() - before < 10 * n_rows


# --- transactions -------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("broken", ["_rows_remove", "_entries_store", "ledger_append"])
def test_erasure__that_fails_in_the_middle_leaves_everything(monkeypatch, ledger, broken):
    keeper = joined()
    fill(keeper, "mine")
    before, pools, text = stored(), kept(), dump()

    def fail(*_args: Any) -> None:
        raise OSError("the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(services, broken, fail)
        assert keeper.refused("delete", "keepers/me/", headers=ANY_STATE)["code"] == "server-error"
    assert (stored(), kept(), dump()) == (before, pools, text)
    assert not ledger.exists()
    erase(keeper)
    assert ledger.read_text().count("\n") == 1


@pytest.mark.django_db(transaction=True)
def test_erasure__at_once_with_reports_of_the_same_and_of_others():
    keepers = [joined() for _ in range(3)]
    for one in keepers:
        fill(one, "some")
    statuses: list[int] = []

    def report(keeper: Api, n: int) -> None:
        for step in range(4):
            body = clutch(parent("het ashwater, tidemark", f"m-{n}-{step}"), "het ashwater")
            statuses.append(keeper.send("post", "clutches/", body).status_code)
            Api().get("combinations/", page_size=5)

    leaving = keepers[0]
    work: list[Any] = [partial(report, keepers[n % 3], n) for n in range(6)]
    work += [partial(leaving.send, "delete", "keepers/me/", headers=ANY_STATE)] * 2
    assert at_once(work) == []
    assert set(statuses) <= {201, 401}
    assert Keeper.objects.count() == 2
    assert not Clutch.objects.filter(keeper=leaving.keeper).exists()
    assert Erasure.objects.count() == 1
    check_pools()


# --- after a restore ----------------------------------------------------------------------------


def tables() -> Iterator[tuple[str, bytes]]:
    """The content of every table of ours, as a backup has it."""
    with connection.cursor() as cursor:
        for model in apps.get_models():
            name = model._meta.db_table
            with cursor.copy(f'COPY "{name}" TO STDOUT') as copy:
                yield name, b"".join(bytes(one) for one in copy)


def restore(backup: dict[str, bytes]) -> None:
    """Put a backup in the place of what is there."""
    with connection.cursor() as cursor:
        names = ", ".join(f'"{one}"' for one in backup)
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(f"TRUNCATE {names} CASCADE")
        for name, rows in backup.items():
            with cursor.copy(f'COPY "{name}" FROM STDIN') as copy:
                copy.write(rows)
        cursor.execute("SET session_replication_role = origin")


def replayed(path: Path) -> str:
    """What the command says."""
    out = io.StringIO()
    call_command("erasures", "replay", str(path), stdout=out)
    return out.getvalue().strip()


@pytest.mark.django_db(transaction=True)
def test_replay__erases_again_whom_a_restored_backup_brought_back(ledger):
    early, late, staying = joined(), joined(), joined()
    for n, one in enumerate((early, late, staying)):
        fill(one, f"keeper-{n}", n_families=n + 1)
    gone = {**traces(early), **traces(late)}
    with time_machine.travel("2026-05-30T10:00:00Z"):
        erase(early)
    backup = dict(tables())
    with time_machine.travel("2026-05-31T10:00:00Z"):
        receipt = erase(late)["receipt"]
    wanted, public = kept(), answers()
    restore(backup)
    assert late.get("keepers/me/")["clutches"] == 4
    assert Api().refused("get", f"keepers/erasures/{receipt}/")["status"] == 404
    lines = ledger.read_text()
    assert replayed(ledger) == "2 erasures listed, 1 keeper erased again."
    assert {what for one, what in gone.items() if one in dump()} == set()
    assert late.refused("get", "keepers/me/")["code"] == "unknown-token"
    assert staying.get("keepers/me/")["clutches"] == 6
    assert (kept(), answers()) == (wanted, public)
    check_pools()
    # The receipt holds again, with the day of the first erasure; the file did not grow.
    assert Api().get(f"keepers/erasures/{receipt}/")["erased_on"] == "2026-05-31"
    assert ledger.read_text() == lines
    assert replayed(ledger) == "2 erasures listed, 0 keepers erased again."


@pytest.mark.django_db(transaction=True)
def test_replay__on_a_new_server_goes_on_with_the_ledger(ledger, settings, tmp_path):
    keeper = joined()
    backup = dict(tables())
    erase(keeper)
    restore(backup)
    settings.BROODCOUNT_ERASURE_LEDGER = tmp_path / "of the new server.txt"
    replayed(ledger)
    assert settings.BROODCOUNT_ERASURE_LEDGER.read_text() == ledger.read_text()


@pytest.mark.django_db(transaction=True)
def test_replay__of_a_torn_file_does_what_can_be_read_and_names_the_rest(ledger, tmp_path):
    keepers = [joined() for _ in range(2)]
    backup = dict(tables())
    for one in keepers:
        erase(one)
    restore(backup)
    first, second = ledger.read_text().splitlines()
    torn = tmp_path / "torn.txt"
    torn.write_bytes(f"{first}\n{second[:40]}\n\n".encode() + b"\xff\xfe\n" + second.encode())
    with pytest.raises(CommandError) as told:
        replayed(torn)
    assert str(told.value).splitlines() == [
        f"{torn}: line {n} is no '<64 hexadecimal digits> <day>'; it is left out" for n in (2, 4)
    ]
    assert not Keeper.objects.exists()
    with pytest.raises(CommandError, match="No such file"):
        replayed(tmp_path / "nothing.txt")


def test_list__prints_the_ledger_in_the_form_of_the_file(ledger):
    for day in ("2026-05-31", "2026-05-29"):
        with time_machine.travel(f"{day}T10:00:00Z"):
            erase(joined())
    out = io.StringIO()
    call_command("erasures", "list", stdout=out)
    listed, written = out.getvalue().splitlines(), ledger.read_text().splitlines()
    assert listed == written[::-1]
    assert all(Entry.read(one) for one in listed)


def test_erasure__without_a_ledgers_file_is_kept_in_the_database():
    keeper = joined()
    assert keeper.keeper
    own = KeeperToken.objects.get(keeper=keeper.keeper)
    receipt = keeper_erase(own.keeper_id)
    assert Erasure.objects.get().sha256 == receipt.receipt
