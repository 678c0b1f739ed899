"""``broodcount demo``: fill the invented species with a simulated community."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from registry.catalogue.services import catalogue_load
from registry.clutches.models import Clutch
from registry.combinations.bridge.community import DEMO_SPECIES, MISLABELLED
from registry.combinations.demonstration import community_report
from registry.combinations.selectors import combination_answer, flag_answer, flag_list
from registry.pools.choices import Source
from registry.pools.services import targets_refresh
from registry.pools.wording import number_text
from registry.wording import counted, were

BOARD: Final = f"/watch/?species={DEMO_SPECIES}"


class Command(BaseCommand):
    """Report clutches of a simulated community, then show what is flagged."""

    help = (
        "Fill the invented species with a simulated community: an incompatible pair, a look-alike "
        "and mislabelled sires. Nothing of it is about a real animal."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Size and seed of the community."""
        parser.add_argument("--keepers", type=int, default=12)
        parser.add_argument("--clutches", type=int, default=150)
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--keep", action="store_true", help="if there are clutches of it, leave it at these"
        )
        parser.add_argument(
            "--again", action="store_true", help="add to a database that has clutches of it"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Report, then tell."""
        if options["keepers"] < 1 or options["clutches"] < 1:
            raise CommandError("The community needs a keeper and a clutch at least.")
        catalogue_load(Path(settings.BROODCOUNT_FIXTURES) / "demo")
        has_some = Clutch.objects.filter(version__species=DEMO_SPECIES).exists()
        if has_some and options["keep"]:
            self.stdout.write("The invented clutches are there already.")
            return
        if has_some and not options["again"]:
            raise CommandError(
                "This database has clutches of the invented species already; add more with --again."
            )
        community_report(
            n_keepers=options["keepers"], n_clutches=options["clutches"], seed=options["seed"]
        )
        self._tell(options)

    def _tell(self, options: dict[str, Any]) -> None:
        self.stdout.write(
            f"{counted(options['clutches'], 'invented clutch', 'invented clutches')} of "
            f"{counted(options['keepers'], 'invented keeper')}. "
            "Flagged or on watch, strongest first:"
        )
        targets_refresh(species=DEMO_SPECIES, source=Source.KEEPERS, is_limited=False)
        rows = (
            flag_list(Source.KEEPERS, DEMO_SPECIES)
            .filter(species=DEMO_SPECIES)
            .order_by("-log10_e_value")
        )
        for row in rows[:10]:
            answer = flag_answer(row)
            self.stdout.write(f"  {row.combination} ({answer['state']}): {answer['reason']}")
        self._tell_mislabelled()
        self.stdout.write(f"On the service that runs on this database the board is at {BOARD}")

    def _tell_mislabelled(self) -> None:
        """What the parents explain is no shortage, and is not on the board."""
        answer = combination_answer(DEMO_SPECIES, MISLABELLED.removeprefix("het "), Source.KEEPERS)
        tried = answer["tried"]
        likeliest = answer["explanations"][:1]
        self.stdout.write(
            f"What the mislabelled sire looks like: {answer['combination']} "
            f"({answer['state']}): {answer['produced']['hatchlings']} hatched where "
            f"{were(number_text(tried['expected']))} expected. "
            + " ".join(f"Likeliest: {one['sentence']}" for one in likeliest)
        )
