"""Everything the registry refuses, and the one list of error codes.

Services raise `RegistryError` children; the genetics raises `GeneticsError` children. Both carry
a sentence, fields and a code of `ErrorCode`. Neither knows where in a request the fault was read:
`at` and `gathered` add the place. Only ``api/problems.py`` turns any of them into an answer.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import ClassVar, Self

from genetics.errors import GeneticsError, listed


class ErrorCode(StrEnum):
    """Codes of the interface: a code never changes its meaning, new ones may be added.

    Each has the HTTP status it answers with and a title that is the same for every occurrence.
    """

    http_status: int
    heading: str

    def __new__(cls, code: str, http_status: int, heading: str) -> Self:
        """Member with its status and title."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.http_status = http_status
        member.heading = heading
        return member

    # the request itself
    BAD_REQUEST = "bad-request", 400, "The request can not be read"
    UNREADABLE_CHARACTERS = "unreadable-characters", 400, "The text has characters that are no text"
    NOT_JSON = "not-json", 400, "The body is not JSON"
    INVALID_BODY = "invalid-body", 400, "The body does not have the expected shape"
    UNKNOWN_FIELD = "unknown-field", 400, "The body has a field that this call does not know"
    UNKNOWN_PARAMETER = "unknown-parameter", 400, "The call does not know this parameter"
    INVALID_PARAMETER = "invalid-parameter", 400, "A parameter has a value that it can not have"
    INVALID_CURSOR = "invalid-cursor", 400, "The cursor belongs to no page of this list"
    INVALID_HEADER = "invalid-header", 400, "A header has a value that it can not have"
    NOT_AUTHENTICATED = "not-authenticated", 401, "This call needs a keeper's token"
    UNKNOWN_TOKEN = "unknown-token", 401, "The token belongs to no keeper"
    EXPIRED_TOKEN = "expired-token", 401, "The token has expired"
    UNKNOWN_RECOVERY_CODE = "unknown-recovery-code", 401, "The recovery code is not taken"
    FORBIDDEN = "forbidden", 403, "The keeper may not do this"
    NOT_FOUND = "not-found", 404, "Nothing is found here"
    METHOD_NOT_ALLOWED = "method-not-allowed", 405, "The call does not know this method"
    NOT_ACCEPTABLE = "not-acceptable", 406, "No answer in an accepted form"
    IDEMPOTENCY_KEY_IN_USE = (
        "idempotency-key-in-use",
        409,
        "The first call with this key still runs",
    )
    PRECONDITION_FAILED = "precondition-failed", 412, "It is not as it was when it was read"
    BODY_TOO_LARGE = "body-too-large", 413, "The body is too large"
    UNSUPPORTED_MEDIA_TYPE = "unsupported-media-type", 415, "The body has a form that is not read"
    IDEMPOTENCY_KEY_REUSED = "idempotency-key-reused", 422, "The key belongs to another call"
    PRECONDITION_REQUIRED = "precondition-required", 428, "An edit says what it was based on"
    TOO_MANY_REQUESTS = "too-many-requests", 429, "Too many requests"
    SERVER_ERROR = "server-error", 500, "The service failed"
    BROKEN_OFF = "broken-off", 503, "The call was broken off"
    NOT_READY = "not-ready", 503, "The service is not ready to answer"
    NOT_UP_TO_DATE = "not-up-to-date", 503, "The newest reports are still being worked in"

    # words of a keeper
    UNKNOWN_SPECIES = "unknown-species", 400, "The catalogue does not have this species"
    UNKNOWN_GENE = "unknown-gene", 400, "A word names no gene of the species"
    GENE_OF_ANOTHER_SPECIES = "gene-of-another-species", 400, "The gene is one of another species"
    UNREADABLE_TEXT = "unreadable-text", 400, "The words do not make a statement"
    AMBIGUOUS_TEXT = "ambiguous-text", 400, "The text can be read in more than one way"
    TOO_MANY_ALLELES = "too-many-alleles", 400, "More alleles at one locus than an animal has"
    SUPER_OF_RECESSIVE = "super-of-recessive", 400, "A recessive gene has no super form"
    HET_OF_VISIBLE_GENE = "het-of-visible-gene", 400, "A gene that shows in one copy is never het"
    POSSIBLE_HET_NEEDS_A_NUMBER = (
        "possible-het-needs-a-number",
        400,
        "A possible het needs its chance",
    )
    CONTRADICTORY_STATEMENT = "contradictory-statement", 400, "Two statements contradict"

    # a clutch
    COUNTS_DO_NOT_ADD_UP = "counts-do-not-add-up", 400, "The counts do not add up"
    SEASON_OUT_OF_RANGE = "season-out-of-range", 400, "The season can not be"
    EMPTY_CLUTCH = "empty-clutch", 400, "The clutch has neither eggs nor hatchlings"
    TOO_MANY_HATCHLINGS = "too-many-hatchlings", 400, "More hatchlings than a clutch has"
    TOO_MANY_REVISIONS = "too-many-revisions", 409, "More entries than are kept"

    # tokens of a keeper
    EXPIRY_IN_THE_PAST = "expiry-in-the-past", 400, "A token can not expire before it is made"
    TOO_MANY_TOKENS = "too-many-tokens", 409, "The keeper has as many tokens as a keeper can have"

    # many clutches at once
    TOO_MANY_LINES = "too-many-lines", 413, "More clutches than one upload may hold"
    LINE_TOO_LONG = "line-too-long", 400, "A line is longer than a clutch is"
    UNKNOWN_COLUMN = "unknown-column", 400, "The table has a column that this call does not know"
    MISSING_COLUMN = "missing-column", 400, "The table lacks a column"
    UNREADABLE_TABLE = "unreadable-table", 400, "The table can not be read"
    UNREADABLE_CELL = "unreadable-cell", 400, "A cell of the table can not be read"

    # combinations and numbers
    TOO_MANY_FACTORS = "too-many-factors", 400, "More factors than are watched together"
    NOT_VISIBLE = "not-visible", 400, "A combination is of what shows"
    TOO_MANY_LOOKS = "too-many-looks", 400, "More looks than are listed"
    TOO_MANY_OUTCOMES = "too-many-outcomes", 400, "More outcomes than are listed"
    CHANCE_OUT_OF_RANGE = "chance-out-of-range", 400, "A chance that can not be"
    HITS_OUT_OF_RANGE = "hits-out-of-range", 400, "A number of hits that can not be"
    COUNTS_OUT_OF_RANGE = "counts-out-of-range", 400, "A count that can not be"
    LEVEL_OUT_OF_RANGE = "level-out-of-range", 400, "A level that can not be"

    # never a caller's fault over HTTP: species files are loaded by the operator
    CATALOGUE_FAULT = "catalogue-fault", 500, "The catalogue contradicts itself"


_BY_TEXT = {str(member): member for member in ErrorCode}


def error_code(text: str) -> ErrorCode:
    """The code of that text. A KeyError is a fault of ours: a code that is not in the list."""
    return _BY_TEXT[text]


class RegistryError(Exception):
    """Input or a state that a service refuses.

    Parameters
    ----------
    message
        A whole sentence: what was read, what was expected.
    fields
        JSON-able parts of the fault (``suggestions``, ``allowed``), given out beside the sentence.
    """

    code: ClassVar[ErrorCode] = ErrorCode.BAD_REQUEST

    def __init__(self, message: str, **fields: object) -> None:
        super().__init__(message)
        self.message = message
        self.fields = fields

    @property
    def status(self) -> int:
        """HTTP status of the code."""
        return self.code.http_status

    def details(self) -> dict[str, object]:
        """Fields of the fault as JSON-able values."""
        return dict(self.fields)


class UnreadableCharactersError(RegistryError):
    """A NUL, half a surrogate pair, or bytes that are no UTF-8."""

    code = ErrorCode.UNREADABLE_CHARACTERS


class NotJsonError(RegistryError):
    """A body that is no JSON; ``line`` and ``column`` count from 1."""

    code = ErrorCode.NOT_JSON


class InvalidBodyError(RegistryError):
    """A body of the wrong shape that no serializer can tell."""

    code = ErrorCode.INVALID_BODY


class UnknownParameterError(RegistryError):
    """A query parameter that the call does not know."""

    code = ErrorCode.UNKNOWN_PARAMETER

    def __init__(self, *, name: str, known: Sequence[str], suggestions: Sequence[str]) -> None:
        hint = f" Did you mean {listed(suggestions)}?" if suggestions else ""
        knows = listed(known, joiner="and") if known else "no parameter"
        super().__init__(
            f"There is no parameter {name!r} here; this call knows {knows}.{hint}",
            known=list(known),
            suggestions=list(suggestions),
        )


class InvalidParameterError(RegistryError):
    """A query parameter whose value can not be."""

    code = ErrorCode.INVALID_PARAMETER


class InvalidCursorError(RegistryError):
    """A cursor that this list did not give out for this ordering."""

    code = ErrorCode.INVALID_CURSOR


class InvalidHeaderError(RegistryError):
    """A header whose value can not be."""

    code = ErrorCode.INVALID_HEADER

    def __init__(self, message: str, *, header: str) -> None:
        super().__init__(message, header=header)


class BodyTooLargeError(RegistryError):
    """A body of more bytes than the call reads."""

    code = ErrorCode.BODY_TOO_LARGE

    def __init__(self, *, limit: int) -> None:
        super().__init__(f"The body has more than the {limit} bytes that are read.", limit=limit)


class NotAuthenticatedError(RegistryError):
    """A call of a keeper without a token."""

    code = ErrorCode.NOT_AUTHENTICATED


class UnknownTokenError(RegistryError):
    """A token that belongs to nobody, or an Authorization header that holds none."""

    code = ErrorCode.UNKNOWN_TOKEN


class ExpiredTokenError(RegistryError):
    """A token whose last day is over."""

    code = ErrorCode.EXPIRED_TOKEN

    def __init__(self, *, expired_on: dt.date | None) -> None:
        super().__init__(
            f"The last day of this token was {expired_on}. Make another with a token that is still "
            "taken (POST keepers/me/tokens/), or with the recovery code (POST keepers/recoveries/)."
        )


class UnknownRecoveryCodeError(RegistryError):
    """A recovery code that is nobody's, or no longer; never said which."""

    code = ErrorCode.UNKNOWN_RECOVERY_CODE

    def __init__(self) -> None:
        super().__init__(
            "This recovery code is not taken. Each is taken once, and ends when a new one is "
            "taken: of all that you were shown, only the newest counts."
        )


class ExpiryInThePastError(RegistryError):
    """A token that would never be taken."""

    code = ErrorCode.EXPIRY_IN_THE_PAST

    def __init__(self, *, expires_on: dt.date, today: dt.date) -> None:
        super().__init__(
            f"The last day of the token would be {expires_on}; the earliest that can be is today, "
            f"{today} (UTC).",
            earliest=today.isoformat(),
        )


class TooManyTokensError(RegistryError):
    """One token more than a keeper may have."""

    code = ErrorCode.TOO_MANY_TOKENS

    def __init__(self, *, most: int) -> None:
        super().__init__(
            f"You have {most} tokens, as many as a keeper can have. Revoke one first (DELETE "
            "keepers/me/tokens/{id}/), or recover with 'revoke_tokens': true, which revokes all.",
            most=most,
        )


class NotFoundError(RegistryError):
    """Something that is not there, or not there for this keeper."""

    code = ErrorCode.NOT_FOUND


class NotReadyError(RegistryError):
    """Something that every answer needs is missing; ``missing`` names it."""

    code = ErrorCode.NOT_READY

    def __init__(self, missing: Mapping[str, str]) -> None:
        super().__init__(" ".join(missing.values()), missing=list(missing))


class DatabaseLostError(NotReadyError):
    """The database went away while a call was answered."""

    def __init__(self, *, retry_after: int = 5) -> None:
        super().__init__(
            {
                "database": "The database does not answer. If something was to be stored, it is "
                "not known whether it was: look before you send it again. A program may send a "
                "create again with the Idempotency-Key that it had, and it is done once."
            }
        )
        self.fields["retry_after"] = retry_after


class BrokenOffError(RegistryError):
    """A call that the database gave up for another one; a second attempt finds the way free."""

    code = ErrorCode.BROKEN_OFF

    def __init__(self, *, retry_after: int = 1) -> None:
        super().__init__(
            "This call and another one waited for each other, and the database broke this one off "
            "before it changed anything. Send it again in a moment.",
            retry_after=retry_after,
        )


class NotUpToDateError(RegistryError):
    """Reports that came in are not yet worked in, and one call may not do all of that at once."""

    code = ErrorCode.NOT_UP_TO_DATE

    def __init__(self, species: str, *, retry_after: int = 1) -> None:
        super().__init__(
            f"Many reports of {species} came in, and not all of them are worked in yet. What is "
            "done is kept: send the same call again in a moment.",
            retry_after=retry_after,
        )


class KeyInUseError(RegistryError):
    """A call with an ``Idempotency-Key`` whose first call has not ended."""

    code = ErrorCode.IDEMPOTENCY_KEY_IN_USE

    def __init__(self, *, retry_after: int) -> None:
        super().__init__(
            "The first call with this Idempotency-Key still runs; send the same again in a moment.",
            retry_after=retry_after,
        )


class KeyReusedError(RegistryError):
    """An ``Idempotency-Key`` that was sent with another body or to another address before."""

    code = ErrorCode.IDEMPOTENCY_KEY_REUSED


class PreconditionRequiredError(RegistryError):
    """An edit that does not say which state it was made for."""

    code = ErrorCode.PRECONDITION_REQUIRED


class PreconditionFailedError(RegistryError):
    """An edit that was made for another state than the present one."""

    code = ErrorCode.PRECONDITION_FAILED


class TooManyRequestsError(RegistryError):
    """More calls, or more of something, than a caller may make; ``retry_after`` in seconds."""

    code = ErrorCode.TOO_MANY_REQUESTS

    def __init__(self, message: str, *, retry_after: int) -> None:
        super().__init__(message, retry_after=retry_after)


class UnknownSpeciesError(RegistryError):
    """A species that the catalogue does not have."""

    code = ErrorCode.UNKNOWN_SPECIES

    def __init__(self, *, species: str, suggestions: Sequence[str]) -> None:
        hint = f" Did you mean {listed(suggestions)}?" if suggestions else ""
        super().__init__(
            f"The catalogue has no species {species!r}.{hint}", suggestions=list(suggestions)
        )


class ContradictionError(RegistryError):
    """Two statements of a body, or one and what is known already, that can not both hold."""

    code = ErrorCode.CONTRADICTORY_STATEMENT


class CountsDoNotAddUpError(RegistryError):
    """Eggs and hatchlings that can not be of one clutch."""

    code = ErrorCode.COUNTS_DO_NOT_ADD_UP


class SeasonOutOfRangeError(RegistryError):
    """A season before the first possible one or in the future."""

    code = ErrorCode.SEASON_OUT_OF_RANGE


class EmptyClutchError(RegistryError):
    """A clutch without eggs and hatchlings."""

    code = ErrorCode.EMPTY_CLUTCH


class TooManyHatchlingsError(RegistryError):
    """More hatchlings than any clutch has."""

    code = ErrorCode.TOO_MANY_HATCHLINGS


class TooManyRevisionsError(RegistryError):
    """A clutch, animal or code that has as many entries as are kept."""

    code = ErrorCode.TOO_MANY_REVISIONS


class IncompleteBodyError(RegistryError):
    """A body that ended before its stated length: whoever sent it was cut off."""

    def __init__(self, *, read: int, stated: int | None) -> None:
        expected = "" if stated is None else f", expected {stated}"
        super().__init__(f"The body ended after {read} bytes{expected}. Nothing was stored.")


class TooManyLinesError(RegistryError):
    """An upload of more clutches than one may hold."""

    code = ErrorCode.TOO_MANY_LINES

    def __init__(self, *, limit: int) -> None:
        super().__init__(
            f"The upload holds more than {limit} clutches. Nothing was stored; send it in parts of "
            f"at most {limit}.",
            limit=limit,
        )


class LineTooLongError(RegistryError):
    """A line that is too long for a clutch."""

    code = ErrorCode.LINE_TOO_LONG


class UnknownColumnError(RegistryError):
    """A column of a table that the call does not know."""

    code = ErrorCode.UNKNOWN_COLUMN

    def __init__(self, *, column: str, known: Sequence[str], suggestions: Sequence[str]) -> None:
        hint = f" Did you mean {listed(suggestions)}?" if suggestions else ""
        super().__init__(
            f"There is no column {column!r} here; known are {listed(known, joiner='and')}.{hint}",
            column=column,
            known=list(known),
            suggestions=list(suggestions),
        )


class MissingColumnError(RegistryError):
    """A column without which no row of a table is a clutch."""

    code = ErrorCode.MISSING_COLUMN

    def __init__(self, *, column: str, instead: str | None, needed: Sequence[str]) -> None:
        other = f" (or the column {instead!r})" if instead else ""
        super().__init__(
            f"The column {column!r}{other} is missing; the header has at least "
            f"{listed(needed, joiner='and')}.",
            column=column,
            needed=list(needed),
        )


class UnreadableTableError(RegistryError):
    """A table, or one row of it, that is no CSV of the expected form."""

    code = ErrorCode.UNREADABLE_TABLE


class UnreadableCellError(RegistryError):
    """A cell of a table that is not in the form of its column."""

    code = ErrorCode.UNREADABLE_CELL


class CatalogueFaultError(RegistryError):
    """A species file that can not be loaded."""

    code = ErrorCode.CATALOGUE_FAULT


class PublishedFaultError(RegistryError):
    """A file of published crosses that can not be loaded."""

    code = ErrorCode.CATALOGUE_FAULT


class ExportFolderError(RegistryError):
    """A folder to which the open data can not be written; only a command names one."""


# --- where a fault was read -------------------------------------------------------------------

Refusal = RegistryError | GeneticsError
Place = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class PlacedError:
    """A refusal and where it was read: in the body at ``place``, or in a query parameter."""

    error: Refusal
    place: Place = ()
    parameter: str | None = None


class FieldsError(RegistryError):
    """One or more refusals with their places; answered together in one problem."""

    code = ErrorCode.INVALID_BODY

    def __init__(self, errors: Sequence[PlacedError]) -> None:
        super().__init__("; ".join(str(placed.error) for placed in errors))
        self.errors = tuple(errors)

    def within(self, *outer: str | int) -> FieldsError:
        """The same refusals, each one place further down."""
        return FieldsError([replace(one, place=(*outer, *one.place)) for one in self.errors])


@contextmanager
def at(*place: str | int) -> Iterator[None]:
    """Tell where in the body a refusal raised inside was read; may be nested.

    ``with at("hatchlings", 2, "call"): ...`` gives the pointer ``#/hatchlings/2/call``.
    """
    try:
        yield
    except FieldsError as errors:
        raise errors.within(*place) from errors
    except (RegistryError, GeneticsError) as error:
        raise FieldsError([PlacedError(error, place)]) from error


@contextmanager
def at_parameter(name: str) -> Iterator[None]:
    """Tell which query parameter (or part of the path) a refusal raised inside was read from."""
    try:
        yield
    except FieldsError:
        raise
    except (RegistryError, GeneticsError) as error:
        raise FieldsError([PlacedError(error, parameter=name)]) from error


class Gathering:
    """Collects the refusals of several fields, so that one answer names them all."""

    def __init__(self) -> None:
        self._errors: list[PlacedError] = []

    @contextmanager
    def at(self, *place: str | int) -> Iterator[None]:
        """Like `at`, but go on after a refusal: what the block would have set stays unset."""
        try:
            with at(*place):
                yield
        except FieldsError as errors:
            self._errors.extend(errors.errors)

    def raise_if_any(self) -> None:
        """Raise `FieldsError` if a block was refused."""
        if self._errors:
            raise FieldsError(self._errors)


@contextmanager
def gathered() -> Iterator[Gathering]:
    """Gather refusals and raise them together at the end of the block.

    Use what the inner blocks set only after this one: there, none of them was refused.
    """
    gathering = Gathering()
    yield gathering
    gathering.raise_if_any()
