"""The files of published crosses: form, species, totals and the statistics they quote."""

import json
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from registry.catalogue.json_faults import parsed, schema_findings
from registry.catalogue.name_faults import normalised_name

ROOT = Path(__file__).parents[3]
SCHEMA = json.loads(
    (ROOT / "registry/clutches/format/published.schema.json").read_text(encoding="utf-8")
)
FILES = sorted((ROOT / "fixtures/published").glob("*.json"))


def content_of(file: Path) -> dict[str, Any]:
    content, findings = parsed(file.read_bytes())
    assert findings == []
    assert isinstance(content, dict)
    return content


def counts_by_call(content: dict[str, Any]) -> Counter[str]:
    counts: Counter[str] = Counter()
    for cross in content["crosses"]:
        for entry in cross["hatchlings"]:
            counts[entry["call"]] += entry["count"]
    return counts


def test_published__files_are_there() -> None:
    assert len(FILES) >= 19


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_published__fits_its_schema_and_its_species(file: Path) -> None:
    content = content_of(file)

    assert schema_findings(content, SCHEMA) == []
    assert content["key"] == file.stem
    species = content_of(ROOT / f"fixtures/published/species/{content['species']}.json")
    assert species["species"]["use"] == "published"


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_published__says_nothing_but_genes_of_its_species(file: Path) -> None:
    content = content_of(file)
    species = content_of(ROOT / f"fixtures/published/species/{content['species']}.json")
    genes = [normalised_name(a["gene"]) for entry in species["loci"] for a in entry["alleles"]]
    for cross in content["crosses"]:
        calls = [entry["call"] for entry in cross["hatchlings"]]
        others = [word for entry in cross["hatchlings"] for word in entry.get("or", [])]
        for text in [cross["sire"]["genes"], cross["dam"]["genes"], *calls, *others]:
            rest = f" {normalised_name(text)} "
            for gene in sorted(genes, key=len, reverse=True):
                rest = rest.replace(f" {gene} ", " ").replace(f" {gene} ", " ")
            assert set(rest.split()) <= {"het", "super", "normal"}, text


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_published__quoted_chi_squares_follow_from_the_counts(file: Path) -> None:
    """Equal to scipy's; a printed p-value is held to its printed digits (two)."""
    content = content_of(file)
    for quoted in content["computed_tests"] + content["published_tests"]:
        if quoted["test"] != "chi-square":
            continue
        expected = [
            Fraction(sum(quoted["counts"]) * r, sum(quoted["ratio"])) for r in quoted["ratio"]
        ]
        found = stats.chisquare(quoted["counts"], [float(e) for e in expected])
        printed = quoted in content["published_tests"]
        tolerance = 0.02 if printed else 1e-8
        if quoted["statistic"] is not None:
            assert found.statistic == pytest.approx(quoted["statistic"], rel=tolerance)
        if quoted["p_value"] is not None:
            assert found.pvalue == pytest.approx(quoted["p_value"], rel=tolerance)


def test_published__mendel_single_plants_and_the_rest_add_up_to_his_totals() -> None:
    """Totals and ten plants of each: Bateson 1902, translation of Mendel 1866, pages 72-73 read."""
    form = content_of(ROOT / "fixtures/published/mendel-1866-seed-form.json")
    colour = content_of(ROOT / "fixtures/published/mendel-1866-seed-colour.json")

    assert counts_by_call(form) == {"normal": 5474, "Wrinkled": 1850}
    assert counts_by_call(colour) == {"normal": 6022, "Green Seed": 2001}
    assert [len(content["crosses"]) for content in (form, colour)] == [11, 11]


def test_published__knockout_has_no_young_with_two_copies() -> None:
    """MacFarlane et al. 2009, Table 1: 39, 100, 0 of 139."""
    content = content_of(ROOT / "fixtures/published/macfarlane-2009-mthfd1.json")

    assert counts_by_call(content) == {"normal": 39, "gt": 100}
    assert content["computed_tests"][0]["p_value"] == pytest.approx(2.7e-11, rel=0.02)


def test_published__barley_readme_names_the_tails_of_the_double_recessive() -> None:
    """The published r is 0.303 (Robertson 1944, worked by Helms 2000); tails by scipy."""
    r = 0.303
    repulsion = stats.binom.cdf(19, 1415, r * r / 4)
    expected = 1415 * r * r / 4 + 1764 * (1 - r) ** 2 / 4
    page = (ROOT / "fixtures/published/README.md").read_text(encoding="utf-8")

    assert f"p {repulsion:.4f}" in page
    assert f"expected {expected:.1f}" in page
    assert f"expected {(1415 + 1764) / 16:.1f}" in page
