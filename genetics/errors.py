"""Everything the genetics refuses, one class per mistake.

Each error says in plain words what was read and what would be right, carries the parts in fields,
and names itself by ``code``; ``details()`` gives the fields as JSON-able values. Nothing here knows
about HTTP.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import ClassVar


class GeneticsError(ValueError):
    """Input that the genetics refuses."""

    code: ClassVar[str] = "genetics"

    def __init__(self, message: str, **fields: object) -> None:
        super().__init__(message)
        self.message = message
        self.fields = fields

    def details(self) -> dict[str, object]:
        """Fields of the mistake as JSON-able values (fractions as text)."""
        return {name: _plain(value) for name, value in self.fields.items()}


def _plain(value: object) -> object:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def listed(names: Sequence[str], *, joiner: str = "or") -> str:
    """Names as a reader says them: ``a, b or c``."""
    if len(names) < 2:  # noqa: PLR2004 - two names are the least that need a joiner
        return "".join(names)
    return f"{', '.join(names[:-1])} {joiner} {names[-1]}"


# --- a species file that contradicts itself ---------------------------------------------------


class SpeciesFaultError(GeneticsError):
    """A species whose loci, linkage or nicknames do not fit together."""

    code = "catalogue-fault"


# --- text and statements ----------------------------------------------------------------------


class UnknownGeneError(GeneticsError):
    """A word that names no gene, look or nickname of the species."""

    code = "unknown-gene"

    def __init__(self, *, word: str, species: str, suggestions: Sequence[str]) -> None:
        hint = f" Did you mean {listed(suggestions)}?" if suggestions else ""
        super().__init__(
            f"{word!r} is no known gene or nickname of the {species}.{hint}",
            word=word,
            suggestions=list(suggestions),
        )


class GeneOfAnotherSpeciesError(GeneticsError):
    """A gene that the catalogue knows, but in other species."""

    code = "gene-of-another-species"

    def __init__(self, *, word: str, species: str, known_in: Sequence[str]) -> None:
        super().__init__(
            f"{word!r} is not a gene of the {species}; it is known in the "
            f"{listed(known_in, joiner='and the')}.",
            word=word,
            known_in=list(known_in),
        )


class UnreadableTextError(GeneticsError):
    """Words in an order that means nothing: ``het`` with no gene behind it, ``x2`` alone."""

    code = "unreadable-text"


class AmbiguousTextError(GeneticsError):
    """Text that can be read in more than one way."""

    code = "ambiguous-text"

    def __init__(self, *, text: str, readings: Sequence[str]) -> None:
        super().__init__(
            f"{text!r} can be read in {len(readings)} ways: {'; '.join(readings)}. "
            "Write the one that is meant.",
            text=text,
            readings=list(readings),
        )


class TooManyAllelesError(GeneticsError):
    """More than two alleles at one locus."""

    code = "too-many-alleles"

    def __init__(self, *, locus: str, genes: Sequence[str], most: int = 2) -> None:
        super().__init__(
            f"An animal carries at most {most} allele{'s' if most > 1 else ''} at the locus "
            f"{locus}, but {listed(genes, joiner='and')} make {len(genes)}.",
            locus=locus,
            genes=list(genes),
        )


class SuperOfRecessiveError(GeneticsError):
    """``super`` before a recessive gene, which has no super form."""

    code = "super-of-recessive"

    def __init__(self, *, gene: str) -> None:
        super().__init__(
            f"{gene} is recessive and has no super form: a visual animal already has two copies. "
            f"Write {gene!r} for a visual, 'het {gene}' for one copy.",
            gene=gene,
        )


class HetOfVisibleGeneError(GeneticsError):
    """``het`` before a gene that shows in one copy."""

    code = "het-of-visible-gene"

    def __init__(self, *, gene: str) -> None:
        super().__init__(
            f"{gene} shows in one copy, so nothing can be het {gene} unseen. "
            f"Write {gene!r} for one copy, 'super {gene}' for two.",
            gene=gene,
        )


class PossibleHetNeedsNumberError(GeneticsError):
    """A possible het without its chance."""

    code = "possible-het-needs-a-number"

    def __init__(self, *, gene: str) -> None:
        super().__init__(
            f"A possible het {gene} needs its chance: write '66% het {gene}' (one of a het x het "
            f"clutch), '50% het {gene}' (one parent het), or state the pedigree.",
            gene=gene,
        )


class ContradictoryStatementError(GeneticsError):
    """Two statements about one animal that can not both hold."""

    code = "contradictory-statement"


class NotVisibleError(GeneticsError):
    """A combination asked for by something that does not show."""

    code = "not-visible"


class TooManyFactorsError(GeneticsError):
    """A combination of more factors than are watched."""

    code = "too-many-factors"


class TooManyLooksError(GeneticsError):
    """A joint table larger than the stated size."""

    code = "too-many-looks"

    def __init__(self, *, n_looks: int, limit: int) -> None:
        super().__init__(
            f"This pairing has {n_looks} different outcomes, more than the {limit} that are "
            "listed. Ask for the combinations that matter instead of the whole table.",
            n_looks=n_looks,
            limit=limit,
        )


# --- numbers ----------------------------------------------------------------------------------


class ChanceOutOfRangeError(GeneticsError):
    """A chance that is not a number from 0 to 1 (or strictly between, where stated)."""

    code = "chance-out-of-range"


class HitsOutOfRangeError(GeneticsError):
    """Hits below 0 or above the number of hatchlings."""

    code = "hits-out-of-range"


class CountsOutOfRangeError(GeneticsError):
    """A count below 0, or counts of the wrong length."""

    code = "counts-out-of-range"


class LevelOutOfRangeError(GeneticsError):
    """A level that is not strictly between 0 and 1."""

    code = "level-out-of-range"


class TooManyOutcomesError(GeneticsError):
    """An enumeration larger than the stated size."""

    code = "too-many-outcomes"
