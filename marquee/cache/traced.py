"""A plan that notes which of its parts are read, so that a file is made again only when one of those changed."""

from __future__ import annotations

import dataclasses
from typing import Any, cast

from marquee.plan import Plan
from marquee.project import Project

_FIELDS = frozenset(field.name for field in dataclasses.fields(Plan))
_SECTIONS = frozenset(Project.model_fields)


class Traced(Plan):
    """The same plan; `reads` tells the parts asked for, a section of the project counting as a part of its own."""

    __slots__ = ("_noted",)

    _noted: set[str]

    @classmethod
    def of(cls, plan: Plan) -> Traced:
        """Return the plan with an empty note."""
        noted: set[str] = set()
        fields = {name: getattr(plan, name) for name in _FIELDS - {"project"}}
        project = cast("Project", _Settings(plan.project, noted))
        return cls._noting(fields | {"project": project}, noted)

    @classmethod
    def _noting(cls, fields: dict[str, Any], noted: set[str]) -> Traced:
        traced = cls(**fields)
        object.__setattr__(traced, "_noted", noted)
        return traced

    def __getattribute__(self, name: str) -> Any:  # type: ignore[explicit-override]  # noqa: ANN401
        value = object.__getattribute__(self, name)
        if name in _FIELDS and name != "project":
            # One made by dataclasses.replace notes nothing: all its parts were read, and noted, to make it.
            noted: set[str] | None = getattr(self, "_noted", None)
            if noted is not None:
                noted.add(name)
        return value

    def but(self, **changes: Any) -> Plan:  # type: ignore[explicit-override]  # noqa: ANN401
        """Return this plan with parts replaced, noting what is read of the others."""
        fields = {name: object.__getattribute__(self, name) for name in _FIELDS}
        # What is replaced is noted with the rest if read: it was made of parts that are.
        return self._noting(fields | changes, self._noted)

    def reads(self) -> tuple[str, ...]:
        """Return the parts read so far, in alphabetical order."""
        return tuple(sorted(self._noted))


class _Settings:
    """The project, noting its sections; anything else asked of it counts as the whole of it."""

    __slots__ = ("_noted", "_project")

    def __init__(self, project: Project, noted: set[str]) -> None:
        self._project = project
        self._noted = noted

    def __getattr__(self, name: str) -> object:
        self._noted.add(f"project.{name}" if name in _SECTIONS else "project")
        return getattr(self._project, name)


def at(plan: Plan, path: str) -> object:
    """Return the part of a plan that `Traced.reads` named."""
    value: object = plan
    for step in path.split("."):
        value = getattr(value, step)
    return value
