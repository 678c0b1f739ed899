"""The catalogue checker: each kind of fault by one mutation of a small file without faults."""

import json
import re
from collections.abc import Callable
from copy import deepcopy
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from registry.catalogue.checking import Fault, check_content, check_file, completed

FIXTURES = Path(__file__).parents[3] / "fixtures"
SPECIES_FILES = sorted(
    [
        *FIXTURES.glob("catalogue/*.json"),
        *FIXTURES.glob("demo/*.json"),
        *FIXTURES.glob("published/species/*.json"),
    ]
)
FILE = "fen-newt.json"
Mutation = Callable[[dict[str, Any]], object]


def allele(gene: str, mode: str = "recessive", **more: object) -> dict[str, Any]:
    return {"gene": gene, "mode": mode, "source": "invented", "confidence": "high", **more}


def locus(key: str, *alleles: dict[str, Any], **more: object) -> dict[str, Any]:
    return {
        "key": key,
        "alleles": list(alleles),
        "source": "invented",
        "confidence": "high",
        **more,
    }


def compound(one: str, other: str, look: str | None) -> dict[str, Any]:
    return {"genes": [one, other], "look": look, "source": "invented", "confidence": "low"}


def nickname(name: str, *genes: str) -> dict[str, Any]:
    return {"name": name, "genes": list(genes), "source": "invented", "confidence": "low"}


def linkage(one: str, other: str, fraction: str = "1/10") -> dict[str, Any]:
    return {
        "loci": [one, other],
        "recombination_fraction": fraction,
        "source": "invented",
        "confidence": "low",
    }


def sex_linkage(fraction: str, *, heterogametic_copy: bool) -> dict[str, Any]:
    return {
        "recombination_fraction": fraction,
        "heterogametic_copy": heterogametic_copy,
        "source": "invented",
        "confidence": "low",
    }


def newt() -> dict[str, Any]:
    """A small file without faults that uses every part of the format."""
    return {
        "format": "broodcount-catalogue/1",
        "species": {
            "key": "fen-newt",
            "common_name": "fen newt",
            "scientific_name": "Nusquamia fenestra",
            "sex_determination": "ZW",
            "source": "invented",
            "typical_clutch_size": {"min": 2, "mean": 5, "max": 9, "source": "invented"},
        },
        "loci": [
            locus("fn-ash", allele("Ashfall", aliases=["Ash"])),
            locus(
                "fn-tide",
                allele("Tide", "incomplete-dominant", super_names=["White Tide"]),
                allele("Ebb", "incomplete-dominant", super_names=["White Tide"]),
                allele("Neap"),
                compounds=[compound("Tide", "Ebb", "White Tide"), compound("Tide", "Neap", "Tide")],
            ),
            locus("fn-latch", allele("Latch", "dominant")),
            locus("fn-reed", allele("Pale Reed")),
            locus(
                "fn-wick", allele("Wick"), sex_linkage=sex_linkage("1/20", heterogametic_copy=True)
            ),
        ],
        "linkage": [linkage("fn-ash", "fn-latch"), linkage("fn-latch", "fn-reed")],
        "nicknames": [nickname("Ferry", "Ashfall", "Tide", "Tide")],
        "cautions": [
            {"genes": ["Latch", "Latch"], "text": "a", "source": "invented", "confidence": "low"}
        ],
        "left_out": [{"name": "Deep Water", "reason": "line-bred", "source": "invented"}],
        "notes": [{"text": "invented", "source": "invented"}],
    }


def faults_after(mutation: Mutation) -> list[tuple[str, str]]:
    content = newt()
    mutation(content)
    return [(fault.path, fault.message) for fault in check_content(content, file=FILE)]


def first_allele(content: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = content["loci"][0]["alleles"][0]
    return found


def test_check_content__finds_nothing_in_a_file_without_faults() -> None:
    assert check_content(newt(), file=FILE) == []


FORM_FAULTS: list[tuple[Mutation, str, str]] = [
    (lambda c: c.update(format="other/1"), "/format", r'expected "broodcount-catalogue/1"'),
    (lambda c: c.pop("loci"), "", r"'loci' is missing"),
    (lambda c: c.update(nickname=[]), "/nickname", r"unknown key .* did you mean 'nicknames'\?"),
    (
        lambda c: first_allele(c).update(zzz=1),
        "/loci/0/alleles/0/zzz",
        r"unknown key 'zzz'; known here: gene, aliases",
    ),
    (
        lambda c: first_allele(c).update(mode="recesive"),
        "/loci/0/alleles/0/mode",
        r"one of .*; did you mean 'recessive'\?",
    ),
    (lambda c: first_allele(c).pop("source"), "/loci/0/alleles/0", r"'source' is missing"),
    (lambda c: first_allele(c).update(gene=4), "/loci/0/alleles/0/gene", r"found 4, .* a text"),
    (lambda c: first_allele(c).update(gene=" A"), "/loci/0/alleles/0/gene", r"without a space"),
    (lambda c: c["loci"][0].update(source=" "), "/loci/0/source", r"not blank"),
    (lambda c: c["loci"][0].update(alleles=[]), "/loci/0/alleles", r"at least 1"),
    (lambda c: c["species"].update(key="Fen Newt"), "/species/key", r"small letters"),
    (
        lambda c: first_allele(c).update(aliases=["B", "B"]),
        "/loci/0/alleles/0/aliases",
        r"each only once",
    ),
    (
        lambda c: c["linkage"][0].update(recombination_fraction=0.1),
        "/linkage/0/recombination_fraction",
        r"found 0.1, expected a text",
    ),
    (
        lambda c: c["linkage"][0].update(recombination_fraction="1/0"),
        "/linkage/0/recombination_fraction",
        r'a fraction such as "3/50"',
    ),
    (
        lambda c: c["linkage"][0].update(loci=["fn-ash"]),
        "/linkage/0/loci",
        r"at least 2",
    ),
    (
        lambda c: c["species"].update(protection={"cites_appendix": "IV"}),
        "/species/protection/cites_appendix",
        r'one of "I", "II", "III", null',
    ),
    (
        lambda c: first_allele(c).update(
            cautions=[{"text": "a", "source": "invented", "copies": 3}]
        ),
        "/loci/0/alleles/0/cautions/0/copies",
        r"found 3, expected one of 1, 2",
    ),
]


RULE_FAULTS: list[tuple[Mutation, str, str]] = [
    (lambda c: c["species"].update(key="bog-newt"), "/species/key", r"named 'bog-newt.json'"),
    (
        lambda c: c["species"]["typical_clutch_size"].update(mean=10),
        "/species/typical_clutch_size",
        r"rising order",
    ),
    (lambda c: c["loci"][4].update(key="fn-tide"), "/loci/4/key", r"more than once \(also /loci/1"),
    (
        lambda c: first_allele(c).update(super_names=["Grand Ash"]),
        "/loci/0/alleles/0/super_names",
        r"recessive gene has no super form",
    ),
    (
        lambda c: c["loci"][1]["compounds"].append(compound("Tide", "Wick", None)),
        "/loci/1/compounds/2/genes/1",
        r"found 'Wick', expected a gene of the locus 'fn-tide' \(Tide, Ebb, Neap\)",
    ),
    (
        lambda c: c["loci"][1]["compounds"].append(compound("Ebb", "Ebb", None)),
        "/loci/1/compounds/2/genes",
        r"expected two different genes",
    ),
    (
        lambda c: c["loci"][1]["compounds"].append(compound("Ebb", "Tide", "White Tide")),
        "/loci/1/compounds/2/genes",
        r"given more than once",
    ),
    (
        lambda c: c["species"].update(sex_determination="none"),
        "/loci/4/sex_linkage",
        r"sex_determination is \"none\"",
    ),
    (
        lambda c: c["loci"][4].update(sex_linkage=sex_linkage("0.51", heterogametic_copy=True)),
        "/loci/4/sex_linkage/recombination_fraction",
        r"from 0 to 1/2",
    ),
    (
        lambda c: c["loci"][4].update(sex_linkage=sex_linkage("1/9", heterogametic_copy=False)),
        "/loci/4/sex_linkage/recombination_fraction",
        r"carries no copy, expected \"0\"",
    ),
    (
        lambda c: c["linkage"][0].update(recombination_fraction="2/3"),
        "/linkage/0/recombination_fraction",
        r"found '2/3', expected a fraction from 0 to 1/2",
    ),
    (
        lambda c: c["linkage"][0].update(loci=["fn-asch", "fn-latch"]),
        "/linkage/0/loci/0",
        r"key of a locus in this file; did you mean 'fn-ash'\?",
    ),
    (
        lambda c: c["linkage"].append(linkage("fn-ash", "fn-reed")),
        "/linkage/2/loci",
        r"joined already",
    ),
    (lambda c: c["linkage"].append(linkage("fn-wick", "fn-wick")), "/linkage/2/loci", r"the same"),
    (
        lambda c: c["linkage"].append(linkage("fn-latch", "fn-tide")),
        "/linkage/2/loci",
        r"'fn-latch' has more than two neighbours",
    ),
    (
        lambda c: c["nicknames"].append(nickname("Barge", "Ashfal")),
        "/nicknames/1/genes/0",
        r"found 'Ashfal', .*did you mean 'Ashfall'\?",
    ),
    (
        lambda c: c["nicknames"].append(nickname("Barge", "Tide", "Ebb", "Neap")),
        "/nicknames/1/genes",
        r"at most two alleles",
    ),
    (
        lambda c: c["cautions"][0].update(genes=["Hatch"]),
        "/cautions/0/genes/0",
        r"found 'Hatch', .*did you mean 'Latch'\?",
    ),
    (
        lambda c: c["cautions"][0].update(genes=["Latch"] * 3),
        "/cautions/0/genes",
        r"at most two alleles",
    ),
]

NAME_FAULTS: list[tuple[Mutation, str, str]] = [
    (
        lambda c: c["loci"].append(locus("fn-x", allele("Ashfall"))),
        "/loci/5/alleles/0/gene",
        r"reads the same as the gene 'Ashfall' \(/loci/0/alleles/0/gene\)",
    ),
    (
        lambda c: c["loci"].append(locus("fn-x", allele("Flood", aliases=["A'SH"]))),
        "/loci/5/alleles/0/aliases/0",
        r"the alias 'A'SH' reads the same as the alias 'Ash' \(/loci/0/alleles/0/aliases/0\)",
    ),
    (
        lambda c: first_allele(c).update(aliases=["ashfall"]),
        "/loci/0/alleles/0/aliases/0",
        r"more than once",
    ),
    (
        lambda c: c["nicknames"].append(nickname("PALE reed!", "Ashfall", "Latch")),
        "/nicknames/1/name",
        r"reads the same as the gene 'Pale Reed'",
    ),
    (
        lambda c: c["nicknames"].append(nickname("Ferry", "Ashfall", "Tide", "Tide")),
        "/nicknames/1/name",
        r"more than once",
    ),
    (
        lambda c: c["loci"][1]["compounds"][0].update(look="Latch"),
        "/loci/2/alleles/0/gene",
        r"reads the same as the look 'Latch'",
    ),
    (
        lambda c: first_allele(c).update(aliases=["Het Ashfall"]),
        "/loci/0/alleles/0/aliases/0",
        r"also reads as 'het Ashfall', which means something else",
    ),
    (
        lambda c: c["nicknames"].append(nickname("Super Tide", "Ashfall")),
        "/nicknames/1/name",
        r"also reads as 'super Tide'",
    ),
    (
        lambda c: first_allele(c).update(aliases=["Latch Wick"]),
        "/loci/0/alleles/0/aliases/0",
        r"also reads as 'Latch' with 'Wick'",
    ),
    (
        lambda c: c["loci"][1]["alleles"][0].update(super_names=["Ebb"]),
        "/loci/1/alleles/1/gene",
        r"reads the same as the super name 'Ebb'",
    ),
    (
        lambda c: c["left_out"][0].update(name="ash"),
        "/left_out/0/name",
        r"also the alias 'Ash'",
    ),
    (lambda c: first_allele(c).update(aliases=["++"]), "/loci/0/alleles/0/aliases/0", r"letters"),
] + [
    (
        lambda c, word=word: first_allele(c).update(aliases=[word]),  # type: ignore[misc]
        "/loci/0/alleles/0/aliases/0",
        r"meaning of its own in the notation",
    )
    for word in ("Het", "super", "NORMAL", "poss.", "Double", "x2", "66%", "2x", "Wild-Type")
]


@pytest.mark.parametrize(("mutation", "path", "message"), FORM_FAULTS + RULE_FAULTS + NAME_FAULTS)
def test_check_content__names_place_and_fault(mutation: Mutation, path: str, message: str) -> None:
    found = faults_after(mutation)

    assert [place for place, _ in found] == [path], found
    assert re.search(message, found[0][1])


@pytest.mark.parametrize(
    "mutation",
    [
        pytest.param(lambda c: c["nicknames"].append(nickname("Tide", "Tide", "Neap")), id="look"),
        pytest.param(
            lambda c: c["nicknames"].append(nickname("White Tide", "Tide", "Ebb")), id="same-look"
        ),
        pytest.param(lambda c: c["nicknames"].append(nickname("Ashy", "Ashfall")), id="one-gene"),
        pytest.param(
            lambda c: c["nicknames"].append(nickname("Latch Wick", "Latch", "Wick")), id="spelled"
        ),
        pytest.param(
            lambda c: c["loci"].append(locus("fn-x", allele("Latch Wick"))), id="gene-of-two-names"
        ),
        pytest.param(
            lambda c: c["loci"][4].update(sex_linkage=sex_linkage("0", heterogametic_copy=False)),
            id="strictly-linked",
        ),
        pytest.param(
            lambda c: c["loci"][2]["alleles"][0].update(aliases=["Het Latch"]), id="het-of-dominant"
        ),
    ],
)
def test_check_content__lets_pass_what_is_unambiguous(mutation: Mutation) -> None:
    assert faults_after(mutation) == []


def test_check_content__reports_every_fault_of_the_form() -> None:
    content = newt()
    first_allele(content)["mode"] = "odd"
    content["loci"][2]["extra"] = 1

    assert [f.path for f in check_content(content, file=FILE)] == [
        "/loci/0/alleles/0/mode",
        "/loci/2/extra",
    ]


@pytest.mark.parametrize("content", [None, [], "text", 3])
def test_check_content__refuses_what_is_no_object(content: object) -> None:
    faults = check_content(content, file=FILE)

    assert [fault.path for fault in faults] == [""]
    assert "expected an object" in faults[0].message


@pytest.mark.parametrize(
    ("raw", "path", "message"),
    [
        (b'{"format":\n "x",}', "", r"line 2, column \d+: not valid JSON"),
        (b"\xff{}", "", r"byte 1 is not UTF-8"),
        (b'{"format": NaN}', "", r"found NaN, which is not JSON"),
        (b"[" * 100_000, "", r"nested too deeply"),
    ],
)
def test_check_file__names_what_is_not_json(
    tmp_path: Path, raw: bytes, path: str, message: str
) -> None:
    file = tmp_path / FILE
    file.write_bytes(raw)

    faults = check_file(file)

    assert [(fault.file, fault.path) for fault in faults] == [(str(file), path)]
    assert re.search(message, faults[0].message)


def test_check_file__names_a_key_given_twice(tmp_path: Path) -> None:
    file = tmp_path / FILE
    text = json.dumps(newt())
    file.write_text(text.replace('"key": "fn-latch"', '"key": "fn-x", "key": "fn-latch"'))

    faults = check_file(file)

    assert [fault.path for fault in faults] == ["/loci/2/key"]
    assert "more than once" in faults[0].message


def test_check_file__names_a_missing_file(tmp_path: Path) -> None:
    faults = check_file(tmp_path / FILE)

    assert len(faults) == 1
    assert "cannot be read" in faults[0].message


def test_fault__prints_file_place_and_message() -> None:
    assert str(Fault("a.json", "/loci", "odd")) == "a.json: /loci: odd"
    assert str(Fault("a.json", "", "odd")) == "a.json: /: odd"


def test_completed__fills_what_was_left_out_and_keeps_the_rest() -> None:
    content = newt()
    before = deepcopy(content)

    filled = completed(content)

    assert content == before
    assert check_content(filled, file=FILE) == []
    assert filled["species"]["use"] == "keepers"
    assert filled["species"]["invented"] is False
    assert filled["loci"][0]["alleles"][0]["two_copies"] == "unknown"
    assert filled["loci"][0]["alleles"][0]["aliases"] == ["Ash"]
    assert filled["loci"][0]["sex_linkage"] is None
    assert filled["loci"][1]["compounds"][1]["why"] == ""


def test_check_file__finds_nothing_in_the_files_of_the_project() -> None:
    assert len(SPECIES_FILES) >= 13
    assert [str(fault) for file in SPECIES_FILES for fault in check_file(file)] == []


def test_check_content__finds_nothing_in_the_example_of_the_format_page() -> None:
    page = (FIXTURES / "catalogue" / "FORMAT.md").read_text(encoding="utf-8")
    example = page.split("```json\n")[1].split("```")[0]

    assert check_content(json.loads(example), file="marsh-lantern-gecko.json") == []


def test_catalogue__keeps_the_genes_and_the_rate_of_the_sources() -> None:
    """Counts of the compiled source lists: genes, loci, nicknames per species."""
    counts = {}
    for file in FIXTURES.glob("catalogue/*.json"):
        content = json.loads(file.read_text(encoding="utf-8"))
        genes = [a["gene"] for entry in content["loci"] for a in entry["alleles"]]
        counts[file.stem] = (len(content["loci"]), len(genes), len(content["nicknames"]))
        linked = [entry["sex_linkage"] for entry in content["loci"] if entry["sex_linkage"]]
        assert all(Fraction(e["recombination_fraction"]) == Fraction(3, 50) for e in linked)

    assert counts == {
        "ball-python": (65, 88, 54),
        "corn-snake": (21, 24, 20),
        "leopard-gecko": (18, 18, 19),
        "western-hognose": (14, 14, 9),
    }
