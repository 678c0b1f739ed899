"""What keepers do, from the first page to the last, on a phone and on a large screen."""

from __future__ import annotations

import re

import pytest

from tests.factories.registry import GECKO
from tests.journeys.conftest import WIDTHS

SHORT = f"/combinations/{GECKO}/Ashwater%20Quillback/"
both_widths = pytest.mark.parametrize("width", WIDTHS)
with_and_without_script = pytest.mark.parametrize("script", [True, False])


def join(reader) -> None:
    reader.go("/join/")
    reader.press("Join and show me my token")
    assert re.search(r"bck_\S{43}", reader.text())
    assert "bcr_" in reader.text()


def type_clutch(reader, **changed: str) -> None:
    typed = {
        "season": "2026",
        "sire": "tidemark 66% het reed",
        "sire_animal": "S 1",
        "dam": "pale reed",
        "laid": "7",
        "hatchlings": "3 tidemark\n1 normal or reed (first shed)\n1 copperlatch",
    } | changed
    reader.page.select_option("#species", GECKO)
    for name, text in typed.items():
        reader.page.fill(f"#{name}", text)


@both_widths
@with_and_without_script
def test_ask__from_misspelt_words_to_the_evidence_over_time(reader, width, script):
    one = reader(width, script=script)
    one.go("/")
    one.page.select_option("#species", GECKO)
    one.page.fill("#combination", "ashen-water quilback")
    one.press("Ask")
    assert "Did you mean" in one.text()
    one.follow("ashen-water Quillback")
    assert one.page.url.endswith(SHORT)
    said = one.text()
    for part in (
        "Not yet. None hatched where",
        "flagged",
        "Expected and hatched",
        "Dies in the egg",
        "What would tell more.",
        "Related combinations",
        "veterinarian",
        "Invented.",
    ):
        assert part in said
    if script:
        curve = one.page.locator("img.curve")
        with one.page.expect_response(re.compile(r"over-time\.svg")) as drawn:
            curve.scroll_into_view_if_needed()
        assert drawn.value.ok
    one.follow("The same as a table")
    assert "After each clutch" in one.text()


def test_ask__offers_names_while_typing(reader):
    one = reader(360)
    one.go("/")
    one.page.select_option("#species", GECKO)
    one.page.locator("#combination").press_sequentially("ashwater qu", delay=20)
    one.page.wait_for_selector("datalist option[value='ashwater Quillback']", state="attached")
    assert not one.said


@both_widths
@with_and_without_script
def test_forecast__of_two_parents_in_words(reader, width, script):
    one = reader(width, script=script)
    one.go("/forecast/")
    one.page.select_option("#species", GECKO)
    one.page.fill("#sire", "tidemark het ashwater")
    one.page.fill("#dam", "66% het ashwater")
    one.page.fill("#clutch_size", "7")
    one.page.fill("#wanted", "tidemark ashwater")
    one.press("Forecast")
    for part in ("5/12", "60% het Ashwater", "1/12", "40.5 %", "never"):
        assert part in one.text()


@both_widths
@with_and_without_script
def test_check__and_report_what_was_typed(reader, width, script):
    one = reader(width, script=script)
    one.go("/clutch-in-hand/")
    one.page.select_option("#species", GECKO)
    one.page.fill("#sire", "tidemark 66% het reed")
    one.page.fill("#dam", "pale reed")
    one.page.fill("#hatchlings", "3 tidemark\n1 copperlatch")
    one.press("Look at it")
    assert "Copperlatch can not come from these parents" in one.text()
    one.press("Report this clutch")
    assert "The clutch you typed comes along" in one.text()
    one.press("Join, and take the clutch along")
    one.press("Join and show me my token")
    one.press("I have kept both: go on with the report")
    assert one.page.input_value("#hatchlings").split() == ["3", "tidemark", "1", "copperlatch"]
    # And with a token: the same form goes on from signing in.
    one.go("/join/")
    one.press("Join and show me my token")
    token = one.page.locator("#token").inner_text()
    one.press("Sign out")
    one.go("/clutch-in-hand/")
    one.page.select_option("#species", GECKO)
    one.page.fill("#sire", "tidemark")
    one.page.fill("#dam", "normal")
    one.page.fill("#hatchlings", "2 tidemark")
    one.press("Look at it")
    one.press("Report this clutch")
    one.page.fill("#token", "bck_nobody")
    one.press("Sign in")
    one.page.fill("#token", token)
    one.press("Sign in")
    assert one.page.input_value("#hatchlings").split() == ["2", "tidemark"]


@both_widths
@with_and_without_script
def test_report__looked_over_handed_in_revised_and_taken_back(reader, width, script):
    one = reader(width, script=script)
    join(one)
    one.go("/report/")
    type_clutch(one, dam="pale red", laid="3")
    one.press("Look it over")
    assert "'pale red' is no known gene" in one.text()
    one.page.fill("#dam", "pale reed")
    one.press("Look it over")
    assert "3 eggs laid, but" in one.text()
    one.page.fill("#laid", "7")
    one.press("Look it over")
    one.page.reload()
    assert one.page.input_value("#hatchlings").startswith("3 tidemark")
    said = one.text()
    assert "This is what was understood" in said
    assert "Copperlatch can not come from these parents" in said
    one.press("Hand it in as understood")
    assert "It is reported" in one.text()

    one.follow("They are called something else now")
    one.page.fill("#hatchlings", "3 tidemark\n1 reed\n1 normal")
    one.page.fill("#sheds", "2")
    one.press("Look it over")
    assert "It would become state 2" in one.text()
    one.press("Store it as understood")
    assert "after 2 sheds" in one.text()

    one.page.fill("#sire-gene", "reed")
    one.press("Note it for S 1")
    assert "Pale Reed proven" in one.text()

    one.go("/mine/")
    one.follow("2026: S 1")
    one.follow("Take it back")
    one.press("Take it back for good")
    assert "You reported none yet" in one.text()


def test_report__what_is_typed_survives_a_reload(reader):
    one = reader(360)
    join(one)
    one.go("/report/")
    type_clutch(one)
    one.page.reload()
    assert one.page.input_value("#sire") == "tidemark 66% het reed"
    one.press("Look it over")
    button = one.page.get_by_role("button", name="Hand it in as understood")
    assert button.is_enabled()
    one.page.fill("#laid", "9")
    assert button.is_disabled()
    one.page.reload()
    assert one.page.input_value("#laid") == "9"
    one.press("Look it over again")
    assert button.is_enabled()
    one.go("/report/")
    assert one.page.input_value("#sire") == ""
    one.page.fill("#sire", "left behind")
    one.press("Sign out")
    kept = one.page.evaluate("Object.keys(localStorage).length")
    assert kept == 0


def sign_in_ended(one) -> None:
    """The cookie runs out while a page is open."""
    others = [cookie for cookie in one.context.cookies() if "csrf" in cookie["name"].lower()]
    one.context.clear_cookies()
    one.context.add_cookies(others)


def test_report__what_is_typed_survives_a_sign_in_that_ended(reader):
    one = reader(360)
    join(one)
    token = re.search(r"bck_\S{43}", one.text())[0]
    one.go(f"/report/?species={GECKO}")
    type_clutch(one)
    sign_in_ended(one)
    one.press("Look it over")
    assert "it is not lost" in one.text()
    one.page.fill("#token", token)
    one.press("Sign in")
    # The address had a species then and has none now, so it is asked before anything is put back.
    assert one.page.input_value("#sire") == ""
    one.page.get_by_role("button", name="Put it back").click()
    assert one.page.input_value("#sire") == "tidemark 66% het reed"
    one.press("Look it over")
    one.page.fill("#laid", "9")
    sign_in_ended(one)
    one.press("Look it over again")
    one.page.fill("#token", token)
    one.press("Sign in")
    assert "is put back" in one.text()
    assert one.page.input_value("#laid") == "9"


def test_report__what_is_typed_is_shown_to_nobody_else(reader):
    one = reader(360)
    join(one)
    one.go("/report/")
    one.page.fill("#sire", "het ashwater")
    one.context.clear_cookies()
    join(one)
    one.go("/report/")
    assert one.page.input_value("#sire") == ""
    assert one.page.get_by_role("button", name="Put it back").count() == 0
    one.go("/account/")
    one.press("Sign out of this browser")
    assert one.page.evaluate("Object.keys(localStorage).length") == 0


@both_widths
@with_and_without_script
def test_declare__and_report_its_clutch(reader, width, script):
    one = reader(width, script=script)
    join(one)
    one.go("/mine/pairings/declare/")
    one.page.select_option("#species", GECKO)
    one.page.fill("#sire", "het ashwater")
    one.page.fill("#dam", "ashwater")
    one.press("Declare it")
    assert "It is declared" in one.text()
    one.follow("Report the clutch of")
    one.page.fill("#hatchlings", "4 normal")
    one.press("Look it over")
    assert "stronger evidence" in one.text()
    one.press("Hand it in as understood")
    assert "declared before it hatched" in one.text()


@both_widths
@with_and_without_script
def test_account__tokens_export_and_erasure(reader, width, script):
    one = reader(width, script=script)
    join(one)
    token = re.search(r"bck_\S{43}", one.text())[0]
    one.go("/account/tokens/")
    one.page.fill("#label", "phone")
    one.press("Make it")
    (made,) = re.findall(r"bck_\S{43}", one.text())
    one.page.reload()  # which sends the form again
    assert re.findall(r"bck_\S{43}", one.text()) == [made]
    assert one.text().count("Revoke phone") == 1
    one.go("/account/export/")
    with one.page.expect_download() as taken:
        one.page.get_by_role("link", name=re.compile("Tables")).click()
    assert taken.value.suggested_filename.endswith(".zip")
    one.go("/account/")
    one.follow("Erase everything")
    one.press("Erase everything")
    assert "Tick that you are sure" in one.text()
    one.page.check("#sure")
    receipt = one.page.get_attribute("input[name=receipt]", "value")
    one.page.get_by_role("button", name="Erase everything").dblclick()
    one.page.get_by_role("heading", name=re.compile("Erased|erased")).wait_for()
    one.page.wait_for_load_state()
    # The first answer or the second one, whichever the browser came to show.
    kept = one.page.locator("#kept-receipt")
    assert receipt in {*kept.all_text_contents(), one.page.input_value("#receipt")}
    one.go("/sign-in/")
    one.page.fill("#token", token)
    one.press("Sign in")
    assert "token of no keeper" in one.text()


@both_widths
@with_and_without_script
def test_watch__filters_and_leads_on(reader, width, script):
    one = reader(width, script=script)
    one.go(f"/watch/?species={GECKO}")
    assert "Likeliest of six explanations" in one.text()
    one.page.fill("#gene", "dewline")
    one.press("Show these")
    assert "Nothing that fits" in one.text()
    one.go("/watch/")
    one.follow("Ashwater Quillback")
    assert one.page.url.endswith(SHORT)


def test_keyboard__is_enough_to_ask(reader):
    one = reader(1280)
    one.go("/")
    keyboard = one.page.keyboard
    keyboard.press("Tab")
    assert one.page.evaluate("document.activeElement.className") == "skip"
    keyboard.press("Enter")
    keyboard.press("Tab")
    assert one.page.evaluate("document.activeElement.id") == "species"
    keyboard.type("marsh")
    keyboard.press("Tab")
    keyboard.type("quillback ashwater")
    with one.page.expect_navigation():
        keyboard.press("Enter")
    assert one.page.url.endswith(SHORT)
    outline = one.page.evaluate(
        "(() => { const a = document.querySelector('main a'); a.focus({focusVisible: true});"
        " return getComputedStyle(a).outlineStyle; })()"
    )
    assert outline != "none"
