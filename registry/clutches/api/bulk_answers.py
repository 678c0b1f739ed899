"""Answers to the lines of an upload, one by one."""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

from django.db import DatabaseError, InterfaceError, connection
from rest_framework.request import Request
from rest_framework.serializers import ValidationError

from registry.api.faults import Fault, body_faults, placed_fault
from registry.api.problems import Problem, problem_of, problem_of_faults, problem_of_status
from registry.catalogue.selectors import bracketed_names
from registry.clutches.api.serializers import ClutchInSerializer
from registry.clutches.bulk.cells import BracketedNames
from registry.clutches.bulk.uploads import Line, Upload
from registry.clutches.selectors import group_answer
from registry.clutches.services.bulk import ClutchTrial
from registry.clutches.services.reporting import Report, clutch_report
from registry.errors import FieldsError
from registry.keepers.permissions import keeper_of
from registry.traffic.callers import caller_of_call
from registry.traffic.limits import CLUTCHES, capped
from registry.traffic.sealing import Answer
from registry.traffic.services import answer_once

logger = logging.getLogger("registry.bulk")

_STORED = 201
_TRIED = 200


class LineAnswers:
    """Handles the lines of one upload of one keeper.

    ``key`` is the ``Idempotency-Key`` of the call: with it a line that was stored before is
    answered again, so that an upload that was cut off is sent again and goes on where it ended.
    """

    def __init__(self, request: Request, *, key: str | None, validate_only: bool) -> None:
        self.keeper = keeper_of(request)
        self.caller = caller_of_call(request)
        self.path = request.path
        self.key = key
        self.validate_only = validate_only
        self.trial = ClutchTrial(self.keeper, self.caller)
        # One for all lines: making its fields anew costs as much as a line's validation.
        self.serializer = ClutchInSerializer()
        self.bracketed: BracketedNames = cache(bracketed_names)

    def answer_line(self, line: Line) -> dict[str, Any]:
        """Store the clutch of a line, or try it, in a transaction of its own; what came of it.

        A refusal is an answer like any other, and so is a failure of the service: neither may
        cost the lines behind it.
        """
        try:
            if self.validate_only:
                return self._accepted(line, self.trial.report(self._validated(line)), _TRIED)
            if self.key is None:
                return self._stored(line)
            return self._stored_once(line, self.key)
        except Exception as error:  # noqa: BLE001 - see above; told in the log
            return self._refused(line, self._problem(line, error))

    def _stored(self, line: Line) -> dict[str, Any]:
        given = self._validated(line)
        with capped(CLUTCHES, self.caller):
            report = clutch_report(self.keeper, given)
        return self._accepted(line, report, _STORED)

    def _stored_once(self, line: Line, key: str) -> dict[str, Any]:
        """The answer of the first time. No key that is sent can hold the line break in this one."""
        answer = answer_once(
            caller=self.keeper.pk,
            key=f"{key}\n{line.number}",
            fingerprint=hashlib.sha256(self.path.encode() + b"\n" + line.content).digest(),
            write=lambda: Answer(_STORED, _written(self._stored(line))),
        )
        again: dict[str, Any] = json.loads(answer.body)
        return again

    def _validated(self, line: Line) -> Mapping[str, Any]:
        read = line.read(self.bracketed)
        faults = [placed_fault(one) for one in read.faults]
        try:
            given: Mapping[str, Any] = self.serializer.run_validation(read.body)
        except ValidationError as error:
            faults += body_faults(error.detail)
        if faults:
            raise _LineFaults(faults)
        return given

    def _problem(self, line: Line, error: Exception) -> Problem:
        if isinstance(error, _LineFaults):
            return problem_of_faults([line.placed(one) for one in error.faults])
        if isinstance(error, FieldsError):
            return problem_of_faults([line.placed(placed_fault(one)) for one in error.errors])
        problem = problem_of(error)
        # The next line gets a new connection where this one is lost. Inside somebody else's
        # transaction the connection is theirs.
        if isinstance(error, DatabaseError | InterfaceError) and not connection.in_atomic_block:
            connection.close_if_unusable_or_obsolete()
        if problem is not None:
            return problem
        logger.error("A line of an upload failed.", exc_info=error)
        return problem_of_status(500, "The service failed at this line; the fault is logged there.")

    def _accepted(self, line: Line, report: Report, status: int) -> dict[str, Any]:
        told = [
            {"entry": place, **{name: one[name] for name in ("call", "count", "reason")}}
            for place, one in enumerate(map(group_answer, report.read.groups), 1)
            if one["contradicts_parents"]
        ]
        return {
            "line": line.number,
            "status": status,
            "clutch": str(report.clutch_id) if status == _STORED else None,
            "held": report.held if status == _STORED else report.held_foretold,
            "contradicts_parents": len(told),
            "contradictions": told,
        }

    def _refused(self, line: Line, problem: Problem) -> dict[str, Any]:
        return {
            "line": line.number,
            "status": problem.status,
            "problem": problem.document(instance=self.path),
        }


class _LineFaults(Exception):  # noqa: N818 - not an error by itself: the faults found in one line
    def __init__(self, faults: list[Fault]) -> None:
        super().__init__()
        self.faults = faults


class AnsweredUpload:
    """JSON lines that answer an upload, each as soon as its clutch is handled; then a summary.

    Nothing is handled ahead of what the other side takes: where the connection is cut, the lines
    behind stay unhandled. ``close`` lets go of the upload.
    """

    def __init__(self, upload: Upload, answer: Callable[[Line], dict[str, Any]]) -> None:
        self.upload = upload
        self.answer = answer

    def __iter__(self) -> Iterator[bytes]:
        counts = {"lines": 0, "accepted": 0, "refused": 0}
        try:
            for line in self.upload.lines():
                answer = self.answer(line)
                counts["lines"] += 1
                counts["refused" if "problem" in answer else "accepted"] += 1
                yield _written(answer)
            yield _written({"summary": counts})
        finally:
            self.close()

    def close(self) -> None:
        """Called at the end, and by the server when the other side is gone."""
        self.upload.close()


def _written(answer: Mapping[str, Any]) -> bytes:
    text = json.dumps(answer, ensure_ascii=False, allow_nan=False, default=str)
    return text.encode("utf-8", "replace") + b"\n"
