"""Between reported clutches, stored rows and the genetics."""

from __future__ import annotations

import uuid
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from genetics.cross.forecast import group_looks
from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.errors import ContradictoryStatementError, listed
from genetics.model.locus import WILD, WILD_LOOK
from genetics.model.species import Sex
from genetics.notation.looks import ReadLook
from genetics.notation.writer import canonical_look
from genetics.pool.cells import Call, CheckedCall, checked_call
from genetics.pool.pool import FamilyClutch
from registry.catalogue.bridge import LoadedSpecies, OtherNames, look_read
from registry.errors import gathered
from registry.pairings.bridge.parents import pairing_of, parent_read
from registry.pairings.bridge.stored import statement_from_json
from registry.pools.bridge.rows import StoredContribution, family_stored

if TYPE_CHECKING:
    from genetics.model.belief import ParentStatement
    from genetics.model.linkage import LinkageGroup
    from registry.clutches.models import Clutch


PooledClutch = FamilyClutch
"""A clutch as the pools see it; whoever is no bridge only passes it on."""


@dataclass(frozen=True, slots=True)
class ReadReading:
    """One reading of a call: canonical text, looks by locus, and why the parents can't give it."""

    text: str
    looks: Mapping[str, str]
    reason: str | None
    het_reason: str | None


@dataclass(frozen=True, slots=True)
class ReadGroup:
    """One entry of ``hatchlings`` as it was read."""

    call: str
    count: int
    sex: str
    basis: str
    weights: tuple[Fraction, ...]
    readings: tuple[ReadReading, ...]
    checked: CheckedCall

    @property
    def contradicts_parents(self) -> bool:
        """Whether the parents as stated can give none of the readings."""
        return all(one.reason or one.het_reason for one in self.readings)


@dataclass(frozen=True, slots=True)
class ReadClutch:
    """A clutch as it was read, nothing stored yet."""

    loaded: LoadedSpecies
    sire: ParentStatement
    dam: ParentStatement
    pairing: Pairing
    groups: tuple[ReadGroup, ...]

    @property
    def calls(self) -> tuple[CheckedCall, ...]:
        return tuple(group.checked for group in self.groups)

    @property
    def n_hatchlings(self) -> int:
        return sum(group.count for group in self.groups)


def parents_read(
    loaded: LoadedSpecies, given: Mapping[str, Any], others: OtherNames
) -> tuple[ParentStatement, ParentStatement]:
    """Sire and dam of a body; every refusal with its place."""
    with gathered() as faults:
        with faults.at("sire"):
            sire = parent_read(loaded, "sire", given["sire"], others)
        with faults.at("dam"):
            dam = parent_read(loaded, "dam", given["dam"], others)
    return sire, dam


def clutch_read(
    loaded: LoadedSpecies,
    parents: tuple[ParentStatement, ParentStatement],
    hatchlings: Sequence[Mapping[str, Any]],
    others: OtherNames,
    *,
    is_stored: bool = False,
) -> ReadClutch:
    """The calls of a clutch, read and held against the parents.

    Parameters
    ----------
    is_stored
        What was accepted once is read again, and may hold one reading twice.

    Raises
    ------
    FieldsError
        Every call that can not be read, with its place.
    """
    sire, dam = parents
    pairing = pairing_of(loaded, sire, dam)
    groups: list[ReadGroup] = []
    with gathered() as faults:
        for number, entry in enumerate(hatchlings):
            looks: list[ReadLook] = []
            for place, text in ((("call",), entry["call"]), *_alternatives(entry)):
                with faults.at("hatchlings", number, *place):
                    look = look_read(loaded, text, others)
                    if not is_stored:
                        _refuse_twice(loaded, text, look, looks)
                    looks.append(look)
            if len(looks) == 1 + len(entry.get("or", ())):
                groups.append(_group(loaded, pairing, entry, looks))
    return ReadClutch(loaded=loaded, sire=sire, dam=dam, pairing=pairing, groups=tuple(groups))


def look_text(loaded: LoadedSpecies, text: str, others: OtherNames) -> str:
    """A call in canonical text."""
    return canonical_look(loaded.species, look_read(loaded, text, others))


def _refuse_twice(
    loaded: LoadedSpecies, text: str, look: ReadLook, before: Sequence[ReadLook]
) -> None:
    """Two readings of one call that are the same are one: it would not be uncertain."""
    reading = canonical_look(loaded.species, look)
    if reading in {canonical_look(loaded.species, one) for one in before}:
        raise ContradictoryStatementError(
            f"{text!r} reads as {reading}, and so does a reading of this entry before it. Give "
            "each reading once; for a call that is certain, leave 'or' out.",
            reading=reading,
        )


def _alternatives(entry: Mapping[str, Any]) -> list[tuple[tuple[str | int, ...], str]]:
    return [(("or", place), text) for place, text in enumerate(entry.get("or", ()))]


def _group(
    loaded: LoadedSpecies, pairing: Pairing, entry: Mapping[str, Any], looks: Sequence[ReadLook]
) -> ReadGroup:
    sex = None if entry.get("sex", "unknown") == "unknown" else Sex(entry["sex"])
    weights = tuple(Fraction(str(one)) for one in entry.get("weights", ()))
    call = Call(
        readings=tuple({one.locus: _look(loaded, one) for one in look.looks} for look in looks),
        count=entry["count"],
        sex=sex,
        weights=weights,
    )
    checked = checked_call(pairing, call)
    readings = tuple(
        ReadReading(
            text=canonical_look(loaded.species, look),
            looks=reading,
            reason=_reason(pairing, reading, impossible, sex),
            het_reason=_het_reason(pairing, look),
        )
        for look, reading, impossible in zip(looks, call.readings, checked.impossible, strict=True)
    )
    return ReadGroup(
        call=entry["call"],
        count=entry["count"],
        sex=str(sex or "unknown"),
        basis=entry.get("basis") or "",
        weights=weights,
        readings=readings,
        checked=checked,
    )


def _look(loaded: LoadedSpecies, one: Any) -> str:
    """The visible state of a read look: what any of its genotypes shows."""
    return loaded.species.by_key[one.locus].look(next(iter(one.pairs)))


def _reason(
    pairing: Pairing,
    reading: Mapping[str, str],
    impossible: Sequence[LinkageGroup],
    sex: Sex | None,
) -> str | None:
    """Why the parents can not give a reading, in a keeper's words; None if they can."""
    parts = []
    for group in impossible:
        shown = [(key, reading.get(key, WILD_LOOK)) for key in group.loci]
        tables = group_looks(pairing, group) if group in pairing.groups_in_play() else ()
        alone = [
            _impossible_alone(look, {one.looks[place] for one in tables if one.chance} or {""})
            for place, (_key, look) in enumerate(shown)
        ]
        found = [one for one in alone if one]
        together = " and ".join(look or "a normal look" for _key, look in shown)
        sexed = f" in a {sex}" if sex and group.is_sex_group else ""
        parts += found or [f"{together}{sexed} can not come together from these parents"]
    return "; ".join(parts) + "." if parts else None


def _impossible_alone(look: str, possible: set[str]) -> str | None:
    if look in possible:
        return None
    names = sorted(one or "a normal look" for one in possible)
    if look:
        return f"{look} can not come from these parents, which give {listed(names)} there"
    return f"Every hatchling of these parents shows {listed(names)}, and the call does not say so"


def _het_reason(pairing: Pairing, look: ReadLook) -> str | None:
    """Why a het that a call claims can not be there; None if it can."""
    wrong = []
    for key, stated in look.hets.loci:
        locus = pairing.species.by_key[key]
        for gene in stated.alleles:
            pairs = frozenset(pair for pair in locus.pairs if gene in pair and pair != (gene, gene))
            if not mean_chance(chance_law(pairing, {key: pairs | {(gene, WILD)}})):
                wrong.append(gene)
    if not wrong:
        return None
    return f"No hatchling of these parents can be het {listed(wrong)}."


# --- stored form ------------------------------------------------------------------------------


def readings_to_json(group: ReadGroup) -> list[dict[str, Any]]:
    """Readings of an entry as stored, the first one being the call."""
    return [
        {
            "text": one.text,
            "looks": dict(one.looks),
            "reason": one.reason or one.het_reason,
            **({"weight": str(group.weights[place])} if group.weights else {}),
        }
        for place, one in enumerate(group.readings)
    ]


def _call_from_json(stored: Mapping[str, Any]) -> Call:
    readings = stored["readings"]
    return Call(
        readings=tuple(one["looks"] for one in readings),
        count=stored["count"],
        sex=None if stored["sex"] == "unknown" else Sex(stored["sex"]),
        weights=tuple(Fraction(one["weight"]) for one in readings if "weight" in one),
    )


def animal_identity(
    role: str, animal: uuid.UUID | None, pairing: uuid.UUID | None
) -> Hashable | None:
    """What tells an animal from others: its row, or its part in a declared pairing.

    None for an animal without a label in a clutch that joins no declaration.
    """
    if animal is not None or pairing is None:
        return animal
    return (role, pairing)


def family_clutch_of(loaded: LoadedSpecies, row: Clutch, groups: Sequence[Any]) -> FamilyClutch:
    """A stored clutch as the pool needs it; ``groups`` are its hatchling groups as JSON."""
    sire = statement_from_json(loaded.species, row.sire_stated)
    dam = statement_from_json(loaded.species, row.dam_stated)
    pairing = pairing_of(loaded, sire, dam)
    return FamilyClutch(
        pairing=pairing,
        sire=animal_identity("sire", row.sire_id, row.pairing_id),
        dam=animal_identity("dam", row.dam_id, row.pairing_id),
        sire_statement=sire,
        dam_statement=dam,
        calls=tuple(checked_call(pairing, _call_from_json(one)) for one in groups),
        season=row.season,
        declared=row.is_declared,
        n_died=row.eggs_died,
    )


def family_clutch_new(
    read: ReadClutch, *, sire: Any, dam: Any, season: int | None, declared: bool, n_died: int | None
) -> FamilyClutch:
    """A clutch that was just read, as the pool needs it."""
    return FamilyClutch(
        pairing=read.pairing,
        sire=sire,
        dam=dam,
        sire_statement=read.sire,
        dam_statement=read.dam,
        calls=read.calls,
        season=season,
        declared=declared,
        n_died=n_died,
    )


def contributions_of(
    loaded: LoadedSpecies, family: Sequence[FamilyClutch]
) -> tuple[StoredContribution, ...]:
    """What the clutches of one family contribute to the pools."""
    return family_stored(loaded, family)
