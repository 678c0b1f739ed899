"""Versions of species files, and the command that checks and loads them."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.catalogue.services import catalogue_load
from registry.errors import CatalogueFaultError
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    GECKO_FILE,
    Api,
    clutch,
    gecko,
    gecko_changed,
    joined,
    stored,
)

pytestmark = pytest.mark.django_db


def altered(folder: Any, change: Any) -> Any:
    """A changed copy of the demo file."""
    content = json.loads(GECKO_FILE.read_text("utf-8"))
    change(content)
    path = folder / GECKO_FILE.name
    path.write_text(json.dumps(content), "utf-8")
    return path


def test_load__of_the_same_content_changes_nothing():
    first = gecko()
    before = stored()
    again = gecko()
    assert (first.is_new, again.is_new, again.label) == (True, False, first.label)
    assert first.label.startswith(f"{GECKO}/1-")
    assert stored() == before


def test_load__of_other_order_and_spaces_is_the_same_content(tmp_path):
    first = gecko()
    content = json.loads(GECKO_FILE.read_text("utf-8"))
    path = tmp_path / GECKO_FILE.name
    path.write_text(json.dumps(dict(reversed(content.items())), indent=7), "utf-8")
    (again,) = catalogue_load(path)
    assert (again.label, again.is_new) == (first.label, False)


def test_load__of_changed_content_is_the_next_version_and_old_content_its_old_one():
    first = gecko()
    second = gecko_changed()
    assert second.label.startswith(f"{GECKO}/2-")
    assert Api().get(f"species/{GECKO}/")["catalogue"] == second.label
    back = gecko()
    assert (back.label, back.is_new) == (first.label, True)
    assert Api().get(f"species/{GECKO}/")["catalogue"] == first.label
    third = gecko_changed(lambda content: content["notes"].clear())
    assert third.label.startswith(f"{GECKO}/3-")


def test_load__of_a_changed_head_shows_in_the_list():
    gecko()
    gecko_changed(lambda content: content["species"].update(common_name="marsh lamp gecko"))
    assert Api().get(f"species/{GECKO}/")["common_name"] == "marsh lamp gecko"
    gecko()
    assert Api().get(f"species/{GECKO}/")["common_name"] == "marsh lantern gecko"


def test_versions__clutches_of_two_add_up():
    keeper = joined()
    gecko()
    keeper.post("clutches/", clutch(hatchlings={"normal": 4, "ashwater": 1}))
    second = gecko_changed().label
    keeper.post("clutches/", clutch(hatchlings={"normal": 6}))
    answer = Api().combination("ashwater")
    assert (answer["tried"]["hatchlings"], answer["produced"]["hatchlings"]) == (11, 1)
    assert answer["tried"]["expected"] == 2.75
    assert answer["method"]["catalogue"] == second
    assert len({one["catalogue"] for one in keeper.get("clutches/")["results"]}) == 2


def test_load__of_a_folder_is_all_or_nothing(tmp_path):
    (tmp_path / "corn-snake.json").write_bytes(
        (FIXTURES / "catalogue" / "corn-snake.json").read_bytes()
    )
    altered(tmp_path, lambda content: content["loci"][0].pop("alleles"))
    before = stored()
    with pytest.raises(CatalogueFaultError, match=r"marsh-lantern-gecko\.json: /loci/0: "):
        catalogue_load(tmp_path)
    assert stored() == before


def test_load__of_an_empty_folder_says_so(tmp_path):
    with pytest.raises(CatalogueFaultError, match="There is no species file at"):
        catalogue_load(tmp_path)


def test_command__loads_and_says_what_changed():
    out = StringIO()
    call_command("catalogue", "load", str(GECKO_FILE), stdout=out)
    call_command("catalogue", "load", str(GECKO_FILE), stdout=out)
    first, second = out.getvalue().splitlines()
    assert first.endswith(" now in force")
    assert second.endswith(" unchanged")
    assert first.startswith(f"{GECKO}: {GECKO}/1-")
    assert Api().get("species/")["results"][0]["species"] == GECKO


def test_command__check_stores_nothing():
    before = stored()
    out = StringIO()
    call_command("catalogue", "check", str(FIXTURES / "catalogue"), str(GECKO_FILE), stdout=out)
    assert out.getvalue() == "5 files, no fault.\n"
    assert stored() == before


def test_command__check_names_file_path_and_fault(tmp_path):
    def break_it(content: Any) -> None:
        content["loci"][3]["alleles"][0]["mode"] = "dominnt"
        content["species"]["colour"] = "green"

    path = altered(tmp_path, break_it)
    errors = StringIO()
    with pytest.raises(CommandError, match=r"2 faults in 1 file\."):
        call_command("catalogue", "check", str(path), stderr=errors)
    lines = errors.getvalue().splitlines()
    assert len(lines) == 2
    assert all(line.startswith(f"{path}: /") for line in lines)
    (mode,) = (line for line in lines if "/loci/3/alleles/0/mode: " in line)
    assert "dominnt" in mode
    assert "dominant" in mode.partition("dominnt")[2]
    (colour,) = (line for line in lines if ": /species" in line)
    assert "colour" in colour


@pytest.mark.parametrize(
    ("raw", "fault"),
    [(b"{", "line 1"), (b"\xff", "UTF-8"), (b"[]", "object"), (b"", "line 1")],
)
def test_command__check_of_what_is_no_species_file(tmp_path, raw, fault):
    path = tmp_path / "x.json"
    path.write_bytes(raw)
    errors = StringIO()
    with pytest.raises(CommandError):
        call_command("catalogue", "check", str(path), stderr=errors)
    assert errors.getvalue().startswith(f"{path}: ")
    assert fault in errors.getvalue()


def test_command__check_of_a_file_that_is_not_there(tmp_path):
    errors = StringIO()
    with pytest.raises(CommandError):
        call_command("catalogue", "check", str(tmp_path / "none.json"), stderr=errors)
    assert "cannot be read: No such file" in errors.getvalue()


def test_command__load_refuses_a_faulty_file(tmp_path):
    path = altered(tmp_path, lambda content: content["loci"][0].update(key="ml-pale-reed"))
    before = stored()
    with pytest.raises(CommandError, match="ml-pale-reed"):
        call_command("catalogue", "load", str(path))
    assert stored() == before
