"""Check one catalogue file before it is loaded: every fault, its place, what was expected.

First the form (JSON syntax, keys given twice, the JSON Schema in ``format/``); once the form
is right, the rules that span keys. Nothing here touches the database or changes the content.
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from registry.catalogue.json_faults import Finding, nearest, parsed, pointer, schema_findings
from registry.catalogue.name_faults import name_findings

SCHEMA_PATH = Path(__file__).parent / "format" / "catalogue.schema.json"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with one file.

    ``path`` is a JSON pointer, empty for the whole file; ``message`` says what was found and
    what was expected.
    """

    file: str
    path: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}: {self.path or '/'}: {self.message}"


def check_file(path: Path) -> list[Fault]:
    """Every fault of the catalogue file at ``path``; an empty list if it can be loaded."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        return [Fault(str(path), "", f"cannot be read: {error.strerror or error}")]
    content, findings = parsed(raw)
    faults = [Fault(str(path), place, message) for place, message in findings]
    if content is None and faults:
        return faults
    return faults + check_content(content, file=str(path))


def check_content(content: object, *, file: str) -> list[Fault]:
    """Every fault of a file's content; ``file`` is its name, which must be the species' key."""
    findings = schema_findings(content, catalogue_schema())
    if not findings and isinstance(content, Mapping):
        findings = [*_rule_findings(content, file), *name_findings(content)]
    return [Fault(file, place, message) for place, message in findings]


def completed(content: Mapping[str, Any]) -> dict[str, Any]:
    """A copy of a checked file's content with every key that may be left out filled in.

    The values are the schema's defaults: empty lists and texts, null, ``"unknown"`` for two
    copies, ``"keepers"`` for the use.
    """
    schema = catalogue_schema()
    filled: dict[str, Any] = _filled(deepcopy(content), schema, schema["$defs"])
    return filled


@cache
def catalogue_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of a catalogue file."""
    schema: dict[str, Any] = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    return schema


def _filled(value: Any, schema: Mapping[str, Any], defs: Mapping[str, Any]) -> Any:
    schema = _resolved(schema, defs)
    if isinstance(value, list):
        return [_filled(inner, schema["items"], defs) for inner in value]
    if not isinstance(value, Mapping):
        return value
    filled = {}
    for key, inner in schema["properties"].items():
        if key in value:
            filled[key] = _filled(value[key], inner, defs)
        elif "default" in _resolved(inner, defs):
            filled[key] = deepcopy(_resolved(inner, defs)["default"])
    return filled


def _resolved(schema: Mapping[str, Any], defs: Mapping[str, Any]) -> Mapping[str, Any]:
    if "$ref" not in schema:
        return schema
    target: Mapping[str, Any] = defs[schema["$ref"].removeprefix("#/$defs/")]
    return target


def _rule_findings(content: Mapping[str, Any], file: str) -> Iterator[Finding]:
    species = content["species"]
    if Path(file).name != f"{species['key']}.json":
        yield (
            "/species/key",
            (
                f"found '{species['key']}' in the file '{Path(file).name}', expected a file "
                f"named '{species['key']}.json'"
            ),
        )
    size = species.get("typical_clutch_size")
    if size and not size["min"] <= size["mean"] <= size["max"]:
        yield (
            "/species/typical_clutch_size",
            (
                f"found min {size['min']}, mean {size['mean']}, max {size['max']}, "
                "expected them in rising order"
            ),
        )
    yield from _locus_findings(content)
    yield from _reference_findings(content)
    yield from _linkage_findings(content)


def _locus_findings(content: Mapping[str, Any]) -> Iterator[Finding]:
    keys: dict[str, int] = {}
    for i, locus in enumerate(content["loci"]):
        key = locus["key"]
        if key in keys:
            yield (
                f"/loci/{i}/key",
                f"the locus '{key}' is given more than once (also /loci/{keys[key]})",
            )
        keys.setdefault(key, i)
        for j, allele in enumerate(locus["alleles"]):
            if allele["mode"] == "recessive" and allele.get("super_names"):
                yield (
                    f"/loci/{i}/alleles/{j}/super_names",
                    (
                        f"found {allele['super_names']} for the recessive gene '{allele['gene']}', "
                        "expected none: a recessive gene has no super form"
                    ),
                )
        yield from _compound_findings(i, locus)
        if (linked := locus.get("sex_linkage")) is not None:
            yield from _sex_linkage_findings(i, linked, content["species"]["sex_determination"])


def _compound_findings(i: int, locus: Mapping[str, Any]) -> Iterator[Finding]:
    genes = [allele["gene"] for allele in locus["alleles"]]
    pairs: dict[frozenset[str], str] = {}
    for j, compound in enumerate(locus.get("compounds", [])):
        base = f"/loci/{i}/compounds/{j}/genes"
        for k, gene in enumerate(compound["genes"]):
            if gene not in genes:
                yield (
                    f"{base}/{k}",
                    (
                        f"found '{gene}', expected a gene of the locus '{locus['key']}' "
                        f"({', '.join(genes)})"
                    ),
                )
        pair = frozenset(compound["genes"])
        if len(pair) == 1:
            yield base, f"found '{compound['genes'][0]}' twice, expected two different genes"
        elif pair in pairs:
            yield base, f"the pair {sorted(pair)} is given more than once (also {pairs[pair]})"
        pairs.setdefault(pair, base)


def _sex_linkage_findings(
    i: int, linked: Mapping[str, Any], sex_determination: str
) -> Iterator[Finding]:
    base = f"/loci/{i}/sex_linkage"
    if sex_determination == "none":
        yield (
            base,
            (
                'found sex linkage in a species whose sex_determination is "none", expected null '
                "(or a species with XY or ZW)"
            ),
        )
    yield from _fraction_findings(f"{base}/recombination_fraction", linked)
    if not linked["heterogametic_copy"] and Fraction(linked["recombination_fraction"]) != 0:
        yield (
            f"{base}/recombination_fraction",
            (
                f"found '{linked['recombination_fraction']}' although the Y or W carries no copy, "
                'expected "0"'
            ),
        )


def _fraction_findings(place: str, entry: Mapping[str, Any]) -> Iterator[Finding]:
    text = entry["recombination_fraction"]
    if Fraction(text) > Fraction(1, 2):
        yield place, f"found '{text}', expected a fraction from 0 to 1/2"


def _reference_findings(content: Mapping[str, Any]) -> Iterator[Finding]:
    locus_of = {a["gene"]: locus["key"] for locus in content["loci"] for a in locus["alleles"]}
    for part in ("nicknames", "cautions"):
        for i, entry in enumerate(content.get(part, [])):
            carried: dict[str, list[str]] = defaultdict(list)
            for k, gene in enumerate(entry["genes"]):
                if gene in locus_of:
                    carried[locus_of[gene]].append(gene)
                    continue
                yield (
                    pointer((part, i, "genes", k)),
                    (
                        f"found '{gene}', expected the name of a gene in this file"
                        f"{nearest(gene, list(locus_of))}"
                    ),
                )
            for locus, genes in carried.items():
                if len(genes) > 2:  # noqa: PLR2004 - an animal has two alleles
                    yield (
                        pointer((part, i, "genes")),
                        (
                            f"found {', '.join(genes)} at locus '{locus}', expected at most two "
                            "alleles of one locus"
                        ),
                    )


def _linkage_findings(content: Mapping[str, Any]) -> Iterator[Finding]:
    keys = [locus["key"] for locus in content["loci"]]
    chain: dict[str, str] = {key: key for key in keys}
    neighbours: dict[str, int] = defaultdict(int)
    for i, entry in enumerate(content.get("linkage", [])):
        yield from _fraction_findings(f"/linkage/{i}/recombination_fraction", entry)
        unknown = [(k, key) for k, key in enumerate(entry["loci"]) if key not in chain]
        for k, key in unknown:
            yield (
                f"/linkage/{i}/loci/{k}",
                (f"found '{key}', expected the key of a locus in this file{nearest(key, keys)}"),
            )
        if unknown:
            continue
        one, other = entry["loci"]
        if chain[one] == chain[other]:
            yield (
                f"/linkage/{i}/loci",
                (
                    f"'{one}' and '{other}' are the same or joined already, expected pairs of "
                    "neighbours that form a line along the chromosome"
                ),
            )
            continue
        for key in (one, other):
            neighbours[key] += 1
            if neighbours[key] == 3:  # noqa: PLR2004 - on a line there are two
                yield (
                    f"/linkage/{i}/loci",
                    (f"'{key}' has more than two neighbours, expected a line along the chromosome"),
                )
        chain = {key: chain[one] if end == chain[other] else end for key, end in chain.items()}
