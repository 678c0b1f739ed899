"""Has anyone produced it? The question, the answer, and the evidence over time."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import Any, Final

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from registry.api.parameters import not_a_name
from registry.api.problems import problem_of
from registry.combinations.api.serializers import (
    CombinationSerializer,
    FlagSerializer,
    HistorySerializer,
)
from registry.combinations.history import history_answer
from registry.combinations.selectors import (
    combination_answer,
    combination_named,
    flag_answer,
    flag_list,
)
from registry.errors import FieldsError, NotUpToDateError, PlacedError
from registry.pages.forms import TypedForm
from registry.pages.pictures import (
    chances_picture,
    counts_picture,
    curve_picture,
    recovery_picture,
)
from registry.pages.selectors import SpeciesChoice
from registry.pages.views.base import PageView, see
from registry.pages.wording import EXPLANATIONS, RELATIONS, STATE_MEANINGS, headline
from registry.pools.choices import Source
from registry.pools.services import targets_refresh

_PARAMETER: Final = "source"
_MOST_SUGGESTED: Final = 3
_MOST_STRONGEST: Final = 5
MOST_DRAWN_UNASKED: Final = 1_000
"""Clutches beyond which the evidence over time takes many seconds: it has to be asked for."""


def source_asked(request: HttpRequest) -> Source:
    """Whose clutches a page is about; keepers' if nothing is said.

    Raises
    ------
    FieldsError
        A word that names neither.
    """
    asked = request.GET.get(_PARAMETER) or Source.KEEPERS
    if asked not in Source.values:
        raise FieldsError([PlacedError(not_a_name(asked, Source.values), parameter=_PARAMETER)])
    return Source(asked)


class AskView(PageView):
    """The question: a species and a combination in the keeper's own words."""

    section = "ask"
    template = "pages/ask.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form, or on to the answer, or what was wrong with the words."""
        form = TypedForm({name: request.GET.get(name, "") for name in ("species", "combination")})
        suggestions: list[str] = []
        if form["combination"] and not form["species"]:
            form.fault("species", "Choose the species.")
        elif form["combination"]:
            try:
                named = combination_named(form["species"], form["combination"])
                return see(reverse("pages:answer", args=[form["species"], named]))
            except FieldsError as error:
                suggestions = self._note(form, error)
        status = HTTPStatus.UNPROCESSABLE_ENTITY if form.n_faults else HTTPStatus.OK
        return self.page(
            {
                "form": form,
                "suggestions": suggestions,
                "strongest": [] if form["combination"] else self._strongest(),
            },
            species=form["species"],
            status=status,
        )

    def _strongest(self) -> list[tuple[Any, SpeciesChoice | None]]:
        """The few of the watch board with the strongest evidence, with their species.

        None while many reports are still worked in: one can ask all the same.
        """
        try:
            targets_refresh(source=Source.KEEPERS)
        except NotUpToDateError:
            return []
        rows: QuerySet[Any] = flag_list(Source.KEEPERS)
        rows = rows.order_by("-log10_e_value", "species_id", "key")[:_MOST_STRONGEST]
        answers: list[Any] = [FlagSerializer(flag_answer(row)).data for row in rows]
        return [(one, self.species_chosen(one["species"])) for one in answers]

    def _note(self, form: TypedForm, error: FieldsError) -> list[str]:
        """Note the faults at their fields; what the text would be with the nearest known names."""
        found: list[str] = []
        problem = problem_of(error)
        for one in problem.faults if problem else ():
            form.fault(one.parameter or "", one.detail)
            word, names = one.extras.get("word"), one.extras.get("suggestions")
            if one.parameter == "combination" and isinstance(names, list | tuple):
                found += [corrected(form["combination"], word, name) for name in names]
        return found[:_MOST_SUGGESTED]


def corrected(text: str, word: Any, name: str) -> str:
    """A text with the word that was not understood replaced; the name alone if it is not in it."""
    written = re.compile(re.escape(str(word)).replace(r"\ ", r"[\s_-]+"), re.IGNORECASE)
    if not word or not written.search(text):
        return name
    return written.sub(lambda _found: name, text, count=1)


class AnswerView(PageView):
    """Everything known of one combination."""

    section = "ask"
    template = "pages/answer.html"

    def get(self, request: HttpRequest, species: str, genes: str) -> HttpResponse:
        """The numbers are those of the interface: the same answer, shown."""
        source = source_asked(request)
        answer: Any = CombinationSerializer(combination_answer(species, genes, source)).data
        produced = answer["produced"]
        return self.page(
            {
                "answer": answer,
                "source": source,
                "headline": headline(answer),
                "state_meaning": STATE_MEANINGS[answer["state"]],
                "counts": counts_picture(
                    expected=answer["tried"]["expected"],
                    hatched=produced["hatchlings"],
                    if_uncertain_count=produced["hatchlings_if_uncertain_count"],
                ),
                "recovery": recovery_picture(answer["recovery"]),
                "explanations": [
                    (bar, one, EXPLANATIONS[one["name"]])
                    for bar, one in zip(
                        chances_picture(answer["explanations"]),
                        answer["explanations"],
                        strict=True,
                    )
                ],
                "priors": [
                    (EXPLANATIONS[name], chance)
                    for name, chance in answer["method"]["priors"].items()
                ],
                "related": [(one, RELATIONS[one["relation"]]) for one in answer["related"]],
                "has_history": answer["tried"]["clutches"] > 0
                and (answer["tried"]["keepers"] is not None or source == Source.PUBLISHED),
                "is_drawn": answer["tried"]["clutches"] <= MOST_DRAWN_UNASKED,
            },
            species=species,
        )


class EvidenceOverTimeView(PageView):
    """The evidence after each clutch, as picture and table."""

    section = "ask"
    template = "pages/over_time.html"

    def get(self, request: HttpRequest, species: str, genes: str) -> HttpResponse:
        """Computed when asked for, since it takes as long as all answers before it together."""
        source = source_asked(request)
        history: Any = HistorySerializer(history_answer(species, genes, source)).data
        return self.page({"history": history, "source": source, "genes": genes}, species=species)


class EvidencePictureView(PageView):
    """The picture alone: ``shade=dark`` and ``size=narrow`` are the variants."""

    def get(self, request: HttpRequest, species: str, genes: str) -> HttpResponse:
        """An SVG."""
        history: Any = HistorySerializer(history_answer(species, genes, source_asked(request))).data
        is_dark = request.GET.get("shade") == "dark"
        curve = curve_picture(history, narrow=request.GET.get("size") == "narrow")
        return render(
            request,
            "pages/over_time.svg",
            {"curve": curve, "shades": _DARK if is_dark else _LIGHT, "history": history},
            content_type="image/svg+xml",
        )


_LIGHT: Final = {
    "paper": "#fbf8f1",
    "ink": "#23261f",
    "edge": "#8b8775",
    "line": "#2c5d49",
    "limit": "#93401f",
}
_DARK: Final = {
    "paper": "#1c1f1b",
    "ink": "#ebe7da",
    "edge": "#8d9183",
    "line": "#94cdb2",
    "limit": "#f0a582",
}
"""As the style sheet has them: a picture by itself does not see it."""
