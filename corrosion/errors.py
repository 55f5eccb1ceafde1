"""The one error tree of the project.

::

    CorrosionError                something the user can act on
    |- SurveyFileError            the survey file breaks its format
    |- UnitsError                 a unit or a station that cannot be read
    |- PhotoError                 a picture that cannot be used
    |  `- PhotoRefusedError       refused before decoding: format, size, lying header
    |- MetrologyError             a measurement that must not be given
    |  |- LensError               lens profile missing, mismatched or broken
    |  |- ScaleError              the scale reference cannot carry the measurement
    |  `- MarkError               a mark that encloses nothing, crosses itself, lies outside
    |- LayoutError                a member's outline, limit or station does not hold together
    |- PlacementError             a photo cannot be put on the layout
    |- RemovalError               a removal entry that contradicts itself or the member
    |- RuleSetError               a rule set that cannot be used, or a rule without its source
    |- RepairError                a reinforcement that cannot be estimated
    |- RecordError                a record (facts, report) that cannot be made or read
    |- ArchiveError               a bag that cannot be written, or that is not to be trusted
    |- CompareError               surveys that cannot be compared: dates, structures
    |- MissingLibraryError        a library the project is built on cannot be loaded
    `- StorageError               the service's store (api/ derives from it)

Every error names the value, the place and the way out; `str(error)` is fit for a user.
"""

from __future__ import annotations


class CorrosionError(Exception):
    """Root of all errors a user can act on.

    Parameters
    ----------
    problem : str
        What is wrong, with the offending value in it.
    place : str
        Where: file, photo, mark or member, as the user knows it. May be empty.
    remedy : str
        What to do next. May be empty only where `problem` already says it.
    """

    def __init__(self, problem: str, *, place: str = "", remedy: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.place = place
        self.remedy = remedy

    def __str__(self) -> str:
        where = f"{self.place}: " if self.place else ""
        way_out = f" {self.remedy}" if self.remedy else ""
        return f"{where}{self.problem}{way_out}"

    def at(self, place: str) -> CorrosionError:
        """Return the same error with an outer place put before its own.

        The caller knows the photo, the callee only the mark: `raise error.at("photo f1") from error`.
        """
        joined = f"{place}, {self.place}" if self.place else place
        return type(self)(self.problem, place=joined, remedy=self.remedy)


class SurveyFileError(CorrosionError):
    """The survey file breaks its format."""


class UnitsError(CorrosionError):
    """A unit, a quantity or a station text that cannot be read."""


class PhotoError(CorrosionError):
    """A picture that cannot be used."""


class PhotoRefusedError(PhotoError):
    """A picture refused before decoding: format not allowed, too large, lying header."""


class MetrologyError(CorrosionError):
    """A measurement that must not be given."""


class LensError(MetrologyError):
    """A lens profile is missing, mismatched or broken."""


class ScaleError(MetrologyError):
    """The scale reference cannot carry the measurement."""


class MarkError(MetrologyError):
    """A mark that encloses nothing, crosses itself or lies outside the picture."""


class LayoutError(CorrosionError):
    """A member's outline, limit or station does not hold together."""


class PlacementError(CorrosionError):
    """A photo cannot be put on the layout."""


class RemovalError(CorrosionError):
    """A removal entry that contradicts itself or the member."""


class RuleSetError(CorrosionError):
    """A rule set that cannot be used: not there, not readable, or a row without its source."""


class RepairError(CorrosionError):
    """A reinforcement that cannot be estimated."""


class RecordError(CorrosionError):
    """A record that cannot be made or read: its facts, its report."""


class ArchiveError(CorrosionError):
    """A bag that cannot be written, read or trusted; a key that cannot be used."""


class CompareError(CorrosionError):
    """Surveys that cannot be compared: a date is missing or reversed, the structures differ."""


class MissingLibraryError(CorrosionError):
    """A library the project is built on cannot be loaded."""


class StorageError(CorrosionError):
    """The service's store could not keep or find something."""
