"""The open data over HTTP and as files: its descriptor, its columns, its totals."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from copy import deepcopy
from pathlib import Path

import pytest
import time_machine
from django.core.management import CommandError, call_command
from jsonschema import Draft202012Validator

import registry.exports
from registry.catalogue.models import Species
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.services.reporting import clutch_report
from registry.combinations.bridge.community import community_clutches
from registry.exports import services
from registry.keepers.services import keeper_join
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    parent,
)
from tests.factories.tables import read_table

pytestmark = pytest.mark.django_db

SCHEMA = json.loads(
    (Path(registry.exports.__file__).parent / "format" / "datapackage.schema.json").read_text()
)
FILE = f"exports/pools/{GECKO}.csv"


@pytest.fixture(autouse=True)
def _species():
    gecko()


def table() -> list[dict]:
    (resource,) = Api().get("exports/")["resources"]
    assert resource["path"] == f"http://testserver/api/v1/{FILE}"
    return read_table(resource, Api().read(FILE))


def of(combination: str) -> list[dict]:
    return [row for row in table() if row["combination"] == combination]


def report(n_keepers: int, *bodies: dict) -> list[Api]:
    keepers = [joined() for _ in range(n_keepers)]
    for keeper in keepers:
        for body in bodies:
            keeper.post("clutches/", body)
    return keepers


# --- the descriptor ---------------------------------------------------------------------------


@time_machine.travel("2026-11-25T17:23:42Z", tick=False)
def test_descriptor__is_a_data_package_and_tells_no_time_of_day():
    found = Api().get("exports/")
    Draft202012Validator.check_schema(SCHEMA)
    Draft202012Validator(SCHEMA).validate(found)
    assert found["created"] == "2026-11-25T00:00:00Z"
    assert found["licenses"][0]["name"] == "CC0-1.0"
    names = [one["name"] for one in found["resources"][0]["schema"]["fields"]]
    assert set(found["resources"][0]["schema"]["primaryKey"]) <= set(names)


@pytest.mark.parametrize(
    ("place", "wrong"),
    [
        (("resources",), []),
        (("name",), "Pooled Counts"),
        (("created",), "yesterday"),
        (("licenses",), [{"title": "free"}]),
        (("sources",), [{}]),
        (("resources", 0, "path"), "../pools.csv"),
        (("resources", 0, "path"), "/pools.csv"),
        (("resources", 0, "name"), "pools of geckos"),
        (("resources", 0, "hash"), "sha256:abc"),
        (("resources", 0, "schema", "fields", 0, "type"), "text"),
        (("resources", 0, "schema", "primaryKey"), []),
    ],
)
def test_schema_of_descriptors__refuses_what_is_none(place, wrong):
    found = deepcopy(Api().get("exports/"))
    *outer, last = place
    inner = found
    for step in outer:
        inner = inner[step]
    inner[last] = wrong
    assert list(Draft202012Validator(SCHEMA).iter_errors(found))


def test_table__is_refused_where_it_is_not_as_described():
    report(3, clutch(hatchlings={"normal": 9, "ashwater": 2}))
    (resource,) = Api().get("exports/")["resources"]
    content = Api().read(FILE)
    line = content.splitlines(keepends=True)[1]
    assert read_table(resource, content)
    for changed in (
        content.replace(b"\r\n", b"\n"),
        content.replace(b"n_factors", b"factors"),
        content + line,  # twice the same key
        content.replace(b",1,Het", b",4,Het").replace(b"Ashwater,1,", b"Ashwater,4,"),
        content.replace(line, b"," * line.count(b",") + b"\r\n"),
    ):
        with pytest.raises(ValueError, match=r"."):
            read_table(resource, changed)


# --- counts -----------------------------------------------------------------------------------


def test_totals__equal_the_interface_over_a_simulated_community():
    """Seven keepers, some targets of one, two, three and more of them."""
    keepers = [keeper_join().keeper for _ in range(7)]
    made = community_clutches(
        species_loaded(GECKO),
        names_elsewhere(GECKO),
        n_keepers=7,
        n_clutches=60,
        seed=3,
        last_season=2025,
    )
    for number, body in made:
        clutch_report(keepers[number], body)
    listed = {
        one["combination"]: one
        for page in Api().pages("combinations/", page_size=200)
        for one in page
    }
    rows = table()
    assert len({row["combination"] for row in rows}) == len(listed) > 15
    totals: dict[str, Counter] = {name: Counter() for name in listed}
    for row in rows:
        names = ("clutches", "clutches_with_hit", "hatchlings", "hits", "hits_possible")
        totals[row["combination"]].update({name: row[name] for name in names})
        if row["cells"] is None:
            assert listed[row["combination"]]["tried"]["keepers"] is None
        else:
            assert sum(row["cells"].values()) == row["hatchlings"]
    assert {name: dict(+one) for name, one in totals.items()} == {
        name: dict(
            +Counter(
                clutches=one["tried"]["clutches"],
                hatchlings=one["tried"]["hatchlings"],
                clutches_with_hit=one["produced"]["clutches"],
                hits=one["produced"]["hatchlings"],
                hits_possible=one["produced"]["hatchlings_if_uncertain_count"],
            )
        )
        for name, one in listed.items()
    }
    shown = {one["tried"]["keepers"] for one in listed.values()}
    assert None in shown
    assert max(n for n in shown if n) > 3
    assert {row["configuration"] == "merged" for row in rows} == {True, False}


def test_rows__of_one_or_two_keepers_have_the_totals_alone():
    for n_more in (1, 1):
        report(n_more, clutch(hatchlings={"normal": 9, "ashwater": 2}, eggs={"died": 3}))
        (row,) = of("Ashwater")
        empty = {name for name, value in row.items() if value is None}
        assert empty == {
            "sire",
            "dam",
            "families",
            "declared_clutches",
            "keepers",
            "eggs_died",
            "clutches_eggs_counted",
            "cells",
        }
        assert (row["configuration"], row["catalogue"]) == ("merged", "several")
    assert (row["clutches"], row["hatchlings"], row["hits"]) == (2, 22, 4)


def test_rows__name_parents_and_cells_in_words():
    sire = parent("ashwater 66% het quillback", "secret-7", unproven=["ashwater"])
    body = clutch(
        sire,
        "quillback het ashwater",
        [group("ashwater", 3), group("quillback", 2, "normal"), group("normal", 4)],
        eggs={"died": 2},
    )
    report(3, body)
    (row,) = of("Ashwater Quillback")
    assert row["sire"] == "Ashwater 66% het Quillback [unproven: Ashwater]"
    assert row["dam"] == "Quillback het Ashwater"
    assert row["configuration"] == f"{row['sire']} x {row['dam']}"
    assert row["cells"] == {
        "a hatchling with neither Ashwater nor Quillback": 12,
        "Ashwater only": 9,
        "a hatchling with neither Ashwater nor Quillback or Quillback only": 6,
    }
    assert (row["keepers"], row["families"], row["clutches"]) == (3, 3, 3)
    assert (row["eggs_died"], row["clutches_eggs_counted"]) == (6, 3)
    assert b"secret" not in Api().read(FILE)


def test_rows__tell_forms_and_sexes_apart():
    wick = clutch("wickglow", "normal", [group("normal", 2, sex="female"), group("wickglow", 3)])
    tide = clutch("tidemark", "tidemark", {"normal": 1, "tidemark": 5, "super tidemark": 2})
    report(3, wick, tide)
    assert of("Floodmark")[0]["cells"] == {
        "a hatchling without Floodmark": 3,
        "Tidemark only": 15,
        "Floodmark": 6,
    }
    assert "a hatchling without Wickglow (female)" in of("Wickglow")[0]["cells"]


def test_rows__of_few_keepers_are_merged_and_never_left_alone():
    common = clutch(hatchlings={"normal": 9, "ashwater": 2})
    report(4, common)
    assert [row["configuration"] for row in of("Ashwater")] == ["het Ashwater x het Ashwater"]
    before = of("Ashwater")[0]
    rare = clutch("ashwater", "het ashwater", {"normal": 3, "ashwater": 3})
    report(2, rare)
    (merged,) = of("Ashwater")  # two keepers by themselves would be what the total leaves
    assert (merged["configuration"], merged["keepers"]) == ("merged", 6)
    assert merged["hatchlings"] == before["hatchlings"] + 12
    report(1, rare)
    both = {row["configuration"]: row["keepers"] for row in of("Ashwater")}
    assert both == {"het Ashwater x het Ashwater": 4, "Ashwater x het Ashwater": 3}


def test_rows__of_several_catalogue_versions_are_apart():
    report(3, clutch())
    gecko_changed()
    report(1, clutch())
    (row,) = of("Ashwater")
    assert (row["configuration"], row["catalogue"], row["keepers"]) == ("merged", "several", 4)
    report(2, clutch())
    rows = of("Ashwater")
    assert [row["keepers"] for row in rows] == [3, 3]
    assert len({row["catalogue"] for row in rows}) == 2


def test_file__is_the_same_for_everybody_in_any_order_of_reports_and_follows_a_withdrawal():
    one = clutch(hatchlings={"normal": 9, "ashwater": 2})
    other = clutch("ashwater", "het ashwater", {"normal": 3, "ashwater": 3})
    empty = Api().read(FILE)
    files = []
    for bodies in ((one, other), (other, one)):
        keepers = report(3, *bodies)
        files.append(Api().read(FILE))
        assert keepers[0].read(FILE) == files[-1]
        for keeper in keepers:
            for each in keeper.get("clutches/")["results"]:
                keeper.delete(f"clutches/{each['id']}/")
        assert Api().read(FILE) == empty
    assert files[0] == files[1] != empty


# --- over HTTP --------------------------------------------------------------------------------


def test_file__has_a_tag_of_its_bytes_and_304_for_it():
    first = Api().send("get", FILE)
    tag, content = first.headers["ETag"], first.getvalue()
    assert tag == f'"{hashlib.sha256(content).hexdigest()}"'
    for known in (tag, f'W/{tag}, "other"', "*"):
        again = Api().send("get", FILE, headers={"If-None-Match": known})
        assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    assert not first.cookies
    report(1, clutch())
    changed = Api().send("get", FILE, headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != tag
    assert int(changed.headers["Content-Length"]) == len(changed.getvalue())


def test_file__of_an_unknown_species_and_of_an_empty_catalogue_is_not_found():
    problem = Api().refused("get", "exports/pools/marsh-lantern.csv", headers={"Accept": "*/*"})
    assert (problem["status"], problem["code"]) == (404, "not-found")
    assert "Did you mean marsh-lantern-gecko?" in problem["detail"]
    Species.objects.update(current=None)
    assert Api().refused("get", "exports/")["detail"].startswith("The catalogue has no species yet")


def test_large_file__goes_through_the_disk_unchanged(monkeypatch):
    report(3, clutch("tidemark het ashwater", "het ashwater"))
    content = Api().read(FILE)
    monkeypatch.setattr("registry.api.files._IN_MEMORY", 100)
    assert len(content) > 200
    assert Api().read(FILE) == content


# --- as files ---------------------------------------------------------------------------------


def test_command__writes_what_http_gives(tmp_path, capsys):
    report(3, clutch(), clutch("reed", "het reed", {"reed": 2, "normal": 3}))
    folder = tmp_path / "a new" / "package"
    for _again in range(2):
        call_command("exports", "write", str(folder))
        assert capsys.readouterr().out.split() == [f"pools-{GECKO}.csv", "datapackage.json"]
        assert sorted(one.name for one in folder.parent.rglob("*")) == [
            "datapackage.json",
            "package",
            f"pools-{GECKO}.csv",
        ]
        written = json.loads((folder / "datapackage.json").read_text("utf-8"))
        Draft202012Validator(SCHEMA).validate(written)
        (resource,) = written["resources"]
        content = (folder / resource["path"]).read_bytes()
        assert content == Api().read(FILE)
        assert resource.pop("bytes") == len(content)
        assert resource.pop("hash") == f"sha256:{hashlib.sha256(content).hexdigest()}"
        served = Api().get("exports/")
        served["resources"][0]["path"] = resource["path"]
        assert written == served
        report(1, clutch())


@pytest.mark.parametrize(
    "names", [["notes.txt"], ["datapackage.json", "notes.txt"], ["pools-x.csv"]]
)
def test_command__replaces_nothing_that_is_no_package(tmp_path, names):
    for name in names:
        (tmp_path / name).write_text("mine")
    with pytest.raises(CommandError, match="no part of an earlier package"):
        call_command("exports", "write", str(tmp_path))
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted(names)
    (tmp_path / "file").write_text("mine")
    with pytest.raises(CommandError, match="is a file; name a folder"):
        call_command("exports", "write", str(tmp_path / "file"))


def test_command__that_fails_leaves_the_earlier_package(tmp_path, monkeypatch):
    folder = tmp_path / "package"
    call_command("exports", "write", str(folder))
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    report(3, clutch())

    def full(*_given, **_more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(services.json, "dump", full)
    with pytest.raises(CommandError, match="No space left"):
        call_command("exports", "write", str(folder))
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == before
    assert [one.name for one in tmp_path.iterdir()] == ["package"]


def test_published_crosses__are_not_in_it():
    call_command("published", "load", str(FIXTURES / "published"))
    assert len(Api().get("exports/")["resources"]) > 5
    for one in Api().get("exports/")["resources"]:
        content = Api().read(one["path"].removeprefix("http://testserver"))
        assert read_table(one, content) == []
