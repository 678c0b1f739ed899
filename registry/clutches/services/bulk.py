"""Try the clutches of an upload: every check of a report, nothing stored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from registry.clutches.services.reporting import Report, clutch_report
from registry.errors import gathered
from registry.keepers.models import Keeper
from registry.pairings.choices import Sex
from registry.pairings.services import animal_sex_checked
from registry.traffic.callers import Caller
from registry.traffic.limits import CLUTCHES, cap_counted


class ClutchTrial:
    """Reports clutches one after another and takes each back in its own transaction.

    What a report is checked against includes the animals and the number of the lines before it,
    which are not there in a trial; so these are kept here. One transaction around the whole upload
    would know them as well, and would lock the pools for everybody until the last answer was read.
    Only whether a line repeats an earlier line of the same upload, and would be held for it, is not
    known.
    """

    def __init__(self, keeper: Keeper, caller: Caller) -> None:
        self.keeper = keeper
        self.caller = caller
        self._n_accepted = 0
        self._sexes: dict[tuple[str, str], str] = {}

    def report(self, given: Mapping[str, Any]) -> Report:
        """What `clutch_report` gives for this clutch after the ones before; refuses what it does.

        The id in it belongs to nothing.
        """
        with transaction.atomic():
            cap_counted(CLUTCHES, self.caller, self._n_accepted + 1)
            report = clutch_report(self.keeper, given)
            transaction.set_rollback(True)
        if given.get("pairing") is None:
            self._keep_animals(given["species"], report.labels)
        self._n_accepted += 1
        return report

    def _keep_animals(self, species: str, labels: Mapping[str, str | None]) -> None:
        sexes = {"sire": Sex.MALE, "dam": Sex.FEMALE}
        named = {role: label for role, label in labels.items() if label}
        with gathered() as faults:
            for role, label in named.items():
                sex = str(sexes[role])
                known = self._sexes.get((species, label), sex)
                with faults.at(role, "animal"):
                    animal_sex_checked(label, sex, known)
        self._sexes |= {(species, label): str(sexes[role]) for role, label in named.items()}
