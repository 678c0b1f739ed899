"""Targets and pool rows for tests: written in words, and drawn small by Hypothesis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from hypothesis import strategies as st

from genetics.model.belief import ParentStatement
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Compound, Locus, Mode, SexLinkage
from genetics.model.species import Sex, SexSystem, Species
from genetics.pool.cells import CellCount
from genetics.pool.pool import ClutchCounts, PoolRow
from genetics.pool.target import Target, locus_factors, target_of
from tests.factories.pairings import small_species, stated, statements

MARSH = Species(
    "marsh", "marsh gecko", SexSystem.ZW,
    (
        Locus("ash", (Allele("Ash", Mode.RECESSIVE),)),
        Locus("clay", (Allele("Clay", Mode.DOMINANT),)),
        Locus("dune", (Allele("Dune", Mode.DOMINANT),)),
        Locus("fen", (Allele("Fen", Mode.DOMINANT),)),
        Locus(
            "reed",
            (Allele("Reed", Mode.DOMINANT), Allele("Rush", Mode.DOMINANT)),
            (Compound(("Reed", "Rush"), "Reedmace"),),
        ),
        Locus(
            "elm", (Allele("Elm", Mode.RECESSIVE),),
            sex_linkage=SexLinkage(Fraction(0), heterogametic_copy=False),
        ),
        Locus("gorse", (Allele("Gorse", Mode.DOMINANT),)),
        Locus("heath", (Allele("Heath", Mode.DOMINANT),)),
    ),
    (Linkage(("gorse", "heath"), Fraction(1, 10)),),
)  # fmt: skip
"""Invented genes: dominant ones of three loci, a recessive, a series, one on Z, two linked."""


def target(species: Species, *looks: str) -> Target:
    """The target of these looks."""
    return target_of(
        species,
        [
            factor
            for locus in species.loci
            for factor in locus_factors(locus)
            if factor.text in looks and not factor.needs_identity
        ],
    )


def counts(cells: Mapping[int | tuple[int, ...], int], sex: Sex | None = None) -> tuple:
    """Cell (or the cells of an uncertain call) -> hatchlings, as the cells of a clutch."""
    return tuple(
        CellCount(sex, one if isinstance(one, tuple) else (one,), n) for one, n in cells.items()
    )


def row(
    species: Species,
    sires: Sequence[str | ParentStatement],
    dams: Sequence[str | ParentStatement],
    *clutches: ClutchCounts,
) -> PoolRow:
    """A family; parents in the words of ``stated``."""

    def animals(said: Sequence[str | ParentStatement], sex: Sex) -> tuple[ParentStatement, ...]:
        return tuple(stated(species, one, sex) if isinstance(one, str) else one for one in said)

    return PoolRow(animals(sires, Sex.MALE), animals(dams, Sex.FEMALE), clutches)


def pair_row(
    species: Species,
    sire: str | ParentStatement,
    dam: str | ParentStatement,
    cells: Mapping[int | tuple[int, ...], int],
    **said: object,
) -> PoolRow:
    """One clutch of one pair; ``said`` are fields of ``ClutchCounts``."""
    return row(species, [sire], [dam], ClutchCounts(0, 0, counts(cells), **said))  # type: ignore[arg-type]


@st.composite
def targets(draw: st.DrawFn, species: Species, most_loci: int = 2) -> Target:
    """One to ``most_loci`` factors of a species, three genes at most."""
    loci = draw(
        st.lists(st.sampled_from(species.loci), min_size=1, max_size=most_loci, unique=True)
    )
    factors = [draw(st.sampled_from(locus_factors(locus))) for locus in loci]
    while sum(one.n_factors for one in factors) > 3:
        factors.pop()
    return target_of(species, factors)


@st.composite
def families(draw: st.DrawFn, species: Species, asked: Target, *, most: int = 2) -> PoolRow:
    """Up to ``most`` sires and dams in up to three clutches of a few hatchlings each.

    Calls may cover several cells; sexes are known or not where the target is sex-linked. What
    hatches need not be possible.
    """
    sires = tuple(draw(statements(species, Sex.MALE)) for _ in range(draw(st.integers(1, most))))
    dams = tuple(draw(statements(species, Sex.FEMALE)) for _ in range(draw(st.integers(1, most))))
    sexed = any(species.group_of[key].is_sex_group for key in asked.loci)
    sexes = st.sampled_from([None, *Sex]) if sexed else st.none()
    one = st.sampled_from(asked.possible_cells)
    cells = st.lists(one, min_size=1, max_size=1) | st.lists(
        one, min_size=1, max_size=3, unique=True
    )
    cell_count = st.builds(
        CellCount, sexes, cells.map(lambda found: tuple(sorted(found))), st.integers(1, 3)
    )
    clutch = st.builds(
        ClutchCounts,
        st.integers(0, len(sires) - 1),
        st.integers(0, len(dams) - 1),
        st.lists(cell_count, min_size=1, max_size=3).map(tuple),
        st.none() | st.integers(0, 3),
        st.booleans(),
    )
    return PoolRow(sires, dams, tuple(draw(st.lists(clutch, min_size=1, max_size=3))))


@st.composite
def small_pools(
    draw: st.DrawFn, *, most_rows: int = 2
) -> list[tuple[Species, Target, dict[PoolRow, int]]]:
    """The pool of one target: distinct rows with how often each occurs."""
    species = draw(small_species(most_loci=2))
    asked = draw(targets(species))
    rows = draw(
        st.dictionaries(families(species, asked), st.integers(1, 3), min_size=1, max_size=most_rows)
    )
    return [(species, asked, rows)]
