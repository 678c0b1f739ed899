"""The watch board: what hatches less often than it should, strongest evidence first."""

from __future__ import annotations

from typing import Any, Final

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse

from registry.api.parameters import not_a_name
from registry.catalogue.selectors import species_asked
from registry.combinations.api.filters import FlagFilter
from registry.combinations.api.serializers import FlagSerializer
from registry.combinations.selectors import flag_answer, flag_list
from registry.errors import FieldsError, PlacedError
from registry.pages.forms import TypedForm
from registry.pages.lists import ListPage, list_page
from registry.pages.views.ask import source_asked
from registry.pages.views.base import PageView
from registry.pages.wording import EXPLANATIONS
from registry.pools.choices import Source, State
from registry.pools.services import targets_refresh

_FIELDS: Final = ("species", "gene", "state", "source")
_STATES: Final = (State.FLAGGED, State.WATCH)


class WatchView(PageView):
    """Flagged and on watch."""

    section = "watch"
    template = "pages/watch.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of the board; faults of the filters stand beside them."""
        form = TypedForm({name: request.GET.get(name, "") for name in _FIELDS})
        board, source = ListPage([], None, None), Source.KEEPERS
        with form.noting_parameters():
            source = source_asked(request)
            board = self._board(form, source)
        answers: list[Any] = [FlagSerializer(flag_answer(row)).data for row in board.rows]
        names = {one.key: one for one in self.all_species}
        return self.page(
            {
                "form": form,
                "board": board,
                "rows": [
                    (one, names.get(one["species"]), EXPLANATIONS.get(one["explanation"]))
                    for one in answers
                ],
                "is_filtered": any(form[name] for name in _FIELDS),
                "source": source,
            },
            species=form["species"],
            status=422 if form.n_faults else 200,
        )

    def _board(self, form: TypedForm, source: Source) -> ListPage:
        if form["state"] and form["state"] not in _STATES:
            refusal = not_a_name(form["state"], _STATES)
            raise FieldsError([PlacedError(refusal, parameter="state")])
        species = species_asked(form["species"] or None)
        targets_refresh(species=species, source=source)
        rows: QuerySet[Any] = flag_list(source, species)
        wanted = {name: form[name] for name in ("species", "gene") if form[name]}
        rows = FlagFilter(wanted, queryset=rows).qs
        if form["state"]:
            rows = rows.filter(shown_state=form["state"])
        return list_page(
            self.request, rows.order_by("-log10_e_value"), page_key=("species_id", "key")
        )
