"""What is refused, and why: one problem for each wrong field, in words that a person can act on."""

from dataclasses import dataclass


@dataclass(frozen=True)
class FieldProblem:
    """One wrong field: its name, the value given, the limit that it breaks, and a sentence for a person."""

    field: str
    value: object
    limit: str
    sentence: str


class GeometryError(ValueError):
    """Base of everything that this package refuses; `problems` lists every wrong field at once."""

    def __init__(self, problems):
        self.problems = tuple(problems)
        super().__init__(" ".join(problem.sentence for problem in self.problems))


class ParameterError(GeometryError):
    """A value is missing, of the wrong sort, unknown, or outside its range."""


class CannotBeMade(GeometryError):
    """Every value is in its own range, but together they describe a fitting that cannot be made."""
