"""Every page for everybody: the rules of axe, large text, both shades, empty and full lists."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.factories.registry import GECKO
from tests.journeys.conftest import WIDTHS
from tests.journeys.test_journeys import SHORT, join, type_clutch

PAIR = "sire=tidemark+het+ashwater+brackish&dam=66%25+het+ashwater+tidemark+het+quillback"
PUBLIC = (
    "/",
    f"/?species={GECKO}&combination=quilback",
    SHORT,
    f"/combinations/{GECKO}/Turfcoat/",
    f"/combinations/{GECKO}/Dewline%20Wickglow/",
    f"{SHORT}over-time/",
    "/watch/",
    f"/watch/?species={GECKO}&gene=dewline",
    "/forecast/",
    f"/forecast/?species={GECKO}&{PAIR}&clutch_size=7&wanted=tidemark+ashwater%0Afloodmark",
    f"/forecast/?species={GECKO}&sire=zzz&dam=normal",
    "/clutch-in-hand/",
    "/sign-in/",
    "/join/",
    "/recover/",
    "/account/erased/",
)
OWN = (
    "/report/",
    "/mine/",
    "/mine/pairings/",
    "/mine/pairings/declare/",
    "/mine/duplicates/",
    "/account/",
    "/account/tokens/",
    "/account/export/",
    "/account/erase/",
)
both_widths = pytest.mark.parametrize("width", WIDTHS)
both_shades = pytest.mark.parametrize("shade", ["light", "dark"])


def own_pages(one) -> Iterator[str]:
    """Pages of a keeper with a draft, a clutch that was revised, and a pairing."""
    join(one)
    yield "joined"
    one.go("/report/")
    type_clutch(one, dam="pale red", laid="3")
    one.press("Look it over")
    yield "faults"
    one.page.fill("#dam", "pale reed")
    one.page.fill("#laid", "8")
    one.press("Look it over")
    yield "understood"
    one.press("Hand it in as understood")
    yield "reported"
    one.follow("They are called something else now")
    yield "revise"
    one.page.fill("#hatchlings", "5 tidemark")
    one.press("Look it over")
    yield "tried"
    one.press("Store it as understood")
    yield "revised"
    one.follow("Take it back")
    yield "withdraw"
    for path in OWN:
        one.go(path)
        yield path


@both_widths
@both_shades
def test_public_pages__break_no_rule_of_axe(reader, width, shade):
    one = reader(width, access=True, color_scheme=shade)
    for path in PUBLIC:
        one.go(path)
        one.check_access()


@pytest.mark.parametrize(("width", "shade"), [(360, "dark"), (1280, "light")])
def test_own_pages__break_no_rule_of_axe(reader, width, shade):
    one = reader(width, access=True, color_scheme=shade)
    seen = 0
    for _page in own_pages(one):
        one.check_access()
        seen += 1
    assert seen == 8 + len(OWN)


def test_axe__notices_what_it_should(reader):
    one = reader(360, access=True)
    one.go("/")
    one.page.evaluate("document.querySelector('label[for=combination]').remove()")
    with pytest.raises(AssertionError, match="label"):
        one.check_access()


@both_widths
def test_pages__hold_text_of_twice_the_size(reader, width):
    one = reader(width, access=True)
    for path in PUBLIC:
        one.page.goto(one.site + path)
        one.page.add_style_tag(content="html { font-size: 200%; }")
        one.look()
        cut = one.page.evaluate(
            """[...document.querySelectorAll('a, button, p, td, th, h1, h2, label, summary')]
            .filter(e => e.offsetParent && getComputedStyle(e).overflow === 'hidden'
                && e.scrollWidth > e.clientWidth + 1).map(e => e.outerHTML.slice(0, 120))"""
        )
        assert not cut, (path, cut)


def test_pages__follow_the_readers_shade(reader):
    shades = {shade: reader(360, color_scheme=shade) for shade in ("light", "dark")}
    colours = {}
    for shade, one in shades.items():
        one.go("/")
        colours[shade] = one.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert colours["light"] != colours["dark"]


def test_policy__refuses_what_is_inline(reader):
    one = reader(360)
    one.page.goto(one.site + "/")
    one.page.evaluate(
        "const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        "document.body.append(s);"
    )
    assert one.page.evaluate("window.ran") is None
    assert any("Content Security Policy" in text for text in one.said)
