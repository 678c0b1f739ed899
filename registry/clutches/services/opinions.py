"""Second opinions: another keeper, who knows the clutch code, calls the hatchlings of a clutch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.catalogue.selectors import names_elsewhere, version_loaded
from registry.clutches.bridge.revisions import entries_of, group_to_json, read_calls
from registry.clutches.choices import MAX_OPINIONS
from registry.clutches.models import Clutch, Opinion
from registry.errors import ContradictionError, CountsDoNotAddUpError, TooManyRevisionsError, at
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_lock


def opinion_give(keeper: Keeper, given: Mapping[str, Any]) -> Opinion:
    """Store what a keeper calls the hatchlings of somebody else's clutch.

    Nothing changes by it until the keeper of the clutch takes it over. Neither learns who the
    other is, and whoever gives an opinion is told nothing of the clutch.

    Parameters
    ----------
    given
        A validated body: ``species``, ``season``, ``clutch_code``, ``hatchlings``, ``sheds``,
        ``basis``.

    Raises
    ------
    FieldsError
        No clutch of that code, species and season; one's own clutch; another number of hatchlings;
        calls that can not be read.
    """
    with transaction.atomic():
        keeper_lock(keeper.pk)
        clutch = _clutch(keeper, given)
        loaded = version_loaded(clutch.version_id)
        groups = read_calls(loaded, clutch, given["hatchlings"], names_elsewhere(loaded.key))
        hatched = sum(one.count for one in groups)
        if hatched != clutch.n_hatchlings:
            with at("hatchlings"):
                raise CountsDoNotAddUpError(
                    f"An opinion is on all hatchlings of the clutch, and {hatched} are not as many "
                    "as were reported. Ask its keeper how many there are."
                )
        return Opinion.objects.create(
            clutch=clutch,
            keeper=keeper,
            given_at=timezone.now(),
            basis=given.get("basis") or "",
            sheds=given.get("sheds"),
            hatchlings=entries_of(group_to_json(one) for one in groups),
        )


def _clutch(keeper: Keeper, given: Mapping[str, Any]) -> Clutch:
    """The clutch that counts under a code: of two reports of one clutch, the earlier.

    It is locked: it is neither withdrawn nor revised, nor gets another opinion, before this one.
    """
    found = (
        Clutch.objects.select_for_update(of=("self",), no_key=True)
        .filter(
            clutch_code=given["clutch_code"],
            version__species=given["species"],
            season=given["season"],
            is_duplicate=False,
        )
        .exclude(keeper=None)
        .order_by("reported_at", "pk")
    )
    # One that left while it was waited for is not found, and its copy, which counts now, only then.
    clutch = found.first() or found.first()
    with at("clutch_code"):
        if clutch is None:
            raise ContradictionError(
                f"No clutch of {given['species']} in {given['season']} has this code. Ask its "
                "keeper for species, season and code as they were reported."
            )
        if clutch.keeper_id == keeper.pk:
            raise ContradictionError(
                "This is your own clutch: revise it with POST clutches/{id}/revisions/."
            )
        if Opinion.objects.filter(clutch=clutch, taken_over=None).count() >= MAX_OPINIONS:
            raise TooManyRevisionsError(
                f"{MAX_OPINIONS} opinions wait at this clutch; its keeper has to look at them "
                "first.",
                most=MAX_OPINIONS,
            )
    return clutch
