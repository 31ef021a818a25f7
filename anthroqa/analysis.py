"""Everything about one session, worked out once, part by part, when it is asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from anthroqa.decisions.findings import decision_rows
from anthroqa.decisions.fine_limits import fine_limit_rows
from anthroqa.decisions.reach_of_marks import marks_reach
from anthroqa.decisions.reference import doubt_rows
from anthroqa.decisions.retakes import retake_rows
from anthroqa.decisions.session_reach import reach
from anthroqa.decisions.tolerance_checks import instrument_check_rows
from anthroqa.decisions.with_and_without import STATISTICS, WITHOUT_SLIPS, variant_rows
from anthroqa.intake import Session
from anthroqa.scores.agreement.by_sizes import by_size_rows
from anthroqa.scores.agreement.two_views import both_views
from anthroqa.scores.components.division import part_rows
from anthroqa.scores.drill import read_back
from anthroqa.scores.instruments.confounding import entangled_rows
from anthroqa.scores.layout.cube import Cube, cubes
from anthroqa.scores.layout.figures import check_confidence
from anthroqa.scores.marks.indices import index_rows
from anthroqa.scores.marks.screening import mark_finding_rows
from anthroqa.scores.marks.terminal import terminal_rows
from anthroqa.scores.odd.distances import residual_rows
from anthroqa.scores.odd.exchanges import Laid
from anthroqa.scores.odd.explained import lay_out, slip_rows
from anthroqa.scores.odd.hidden import hidden_rows
from anthroqa.scores.odd.patterns import pattern_rows
from anthroqa.scores.table import score_rows


@dataclass(frozen=True, kw_only=True, eq=False)
class Analysis:
    """One session, and every table of figures and findings on it.

    Each table is a frame as the function beside it gives it, but that `note` and other columns of
    words hold codes (`anthroqa.notes`), of which the text is that of the function.

    Attributes
    ----------
    session : Session
    confidence : float
        Coverage of every two-sided interval.
    seed : int
        For statistics that draw random numbers.
    scores, decisions, mark_findings, residuals, slips, instrument_checks : pandas.DataFrame
        As `anthroqa.score`, `decide` and the other functions of these names give them.
    """

    session: Session
    confidence: float
    seed: int

    @cached_property
    def cubes(self) -> tuple[Cube, ...]:
        """The readings of each measure, laid out."""
        return tuple(cubes(self.session))

    @cached_property
    def scores(self) -> pd.DataFrame:
        """Every figure: `anthroqa.score`."""
        return score_rows(self.cubes, confidence=self.confidence, seed=self.seed)

    @cached_property
    def decisions(self) -> pd.DataFrame:
        """The finding on each person, measure and question: `anthroqa.decide`."""
        return decision_rows(self.scores, self.session)

    @cached_property
    def mark_findings(self) -> pd.DataFrame:
        """Who leans to marks or repeats too well: `anthroqa.mark_findings`."""
        return mark_finding_rows(self.scores)

    @cached_property
    def residuals(self) -> pd.DataFrame:
        """Every reading against its subject's consensus: `anthroqa.residuals`."""
        return residual_rows(self.session, self.cubes)

    @cached_property
    def slips(self) -> pd.DataFrame:
        """Odd readings and what they are consistent with: `anthroqa.slips`."""
        return slip_rows(self._laid)

    @cached_property
    def hidden_slips(self) -> pd.DataFrame:
        """Kinds of slip that are too small to tell: `scores.hidden_kinds`."""
        return hidden_rows(self._laid)

    @cached_property
    def _laid(self) -> dict[str, Laid]:
        return lay_out(self.session, self.cubes)

    @cached_property
    def odd_readers(self) -> frozenset[tuple[str, str]]:
        """Measures and measurers with an odd reading in their figures."""
        return frozenset(zip(self.slips["measure"], self.slips["measurer"], strict=True))

    @cached_property
    def instrument_checks(self) -> pd.DataFrame:
        """Instruments against known loads: `anthroqa.instrument_checks`."""
        return instrument_check_rows(self.session, confidence=self.confidence)

    @cached_property
    def entangled(self) -> pd.DataFrame:
        """Whose error cannot be told from an instrument's: `scores.entangled`."""
        return entangled_rows(self.cubes)

    @cached_property
    def without_slips(self) -> Analysis:
        """The measures that have odd readings, without these."""
        return replace(self, session=self.session.without(self.slips))

    @cached_property
    def variants(self) -> pd.DataFrame:
        """Figures with some readings read another way: `decisions.variants`."""
        return variant_rows(self.session, self.scores, self.decisions, self.slips, self._rescored)

    def _rescored(self, other: Session, variant: str) -> tuple[pd.DataFrame, pd.DataFrame]:
        of = self.without_slips if variant == WITHOUT_SLIPS else replace(self, session=other)
        again = score_rows(of.cubes, confidence=self.confidence, seed=self.seed, only=STATISTICS)
        return again, decision_rows(again, other) if len(again) else self.decisions.iloc[:0]

    @cached_property
    def parts(self) -> pd.DataFrame:
        """How the error of a single reading divides: `scores.parts`."""
        return part_rows(self.cubes, confidence=self.confidence, seed=self.seed)

    @cached_property
    def views(self) -> pd.DataFrame:
        """Bias against the reference beside that against the others: `scores.both_views`."""
        return both_views(self.scores)

    @cached_property
    def by_size(self) -> pd.DataFrame:
        """Differences by the size of the subject: `scores.by_size`."""
        return by_size_rows(self.session, self.cubes, confidence=self.confidence)

    @cached_property
    def doubts(self) -> pd.DataFrame:
        """Whether the reference may be off: `decisions.reference_doubts`."""
        return doubt_rows(self.scores, self.session)

    @cached_property
    def patterns(self) -> pd.DataFrame:
        """Patterns to watch for: `scores.watch_for`."""
        return pattern_rows(self.scores, self.session, self.cubes)

    @cached_property
    def positions(self) -> pd.DataFrame:
        """Readings at each position between two whole marks: `scores.terminal_positions`."""
        return terminal_rows(self.cubes)

    @cached_property
    def indices(self) -> pd.DataFrame:
        """Published indices of terminal digits: `scores.published_indices`."""
        return index_rows(self.cubes)

    @cached_property
    def reach(self) -> pd.DataFrame:
        """What a session of this size can settle: `decisions.reach`."""
        return reach(self.decisions, self.scores)

    @cached_property
    def marks_reach(self) -> pd.DataFrame:
        """How strong a habit must be to be named: `decisions.marks_reach`."""
        return marks_reach(self.scores, self.session)

    @cached_property
    def too_fine(self) -> pd.DataFrame:
        """Limits that rounding alone uses up: `decisions.too_fine`."""
        return fine_limit_rows(self.session)

    @cached_property
    def retakes(self) -> pd.DataFrame:
        """What lies too far apart: `decisions.take_again`."""
        return retake_rows(self.session, self.cubes)

    @cached_property
    def drill_marks(self) -> pd.DataFrame:
        """Which mark each person reads in a drill: `scores.drill.read_back.marks`."""
        return read_back.mark_rows(self.session, self.cubes, confidence=self.confidence)

    @cached_property
    def drill_readings(self) -> pd.DataFrame:
        """The readings of a drill beside what was set."""
        return read_back.readings(self.session)


def analyse(session: Session, *, confidence: float = 0.90, seed: int = 0) -> Analysis:
    """Everything about one session; nothing is worked out before it is asked for.

    Parameters
    ----------
    session : Session
    confidence : float, default 0.90
        Coverage of every two-sided interval, between 0 and 1.
    seed : int, default 0
        For statistics that draw random numbers.

    Returns
    -------
    Analysis

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.

    Examples
    --------
    Two pairs that differ by 2 and 0 steps: the root of (4 + 0) / (2 x 2) is 1 step.

    >>> import anthroqa
    >>> frame = pd.DataFrame({"measurer": "A", "subject": ["1", "1", "2", "2"],
    ...                       "measure": "length", "round": [1, 2, 1, 2],
    ...                       "reading": ["70.1", "70.3", "75.0", "75.0"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"length": {"recorded_to": "0.1 cm"}})
    >>> scores = anthroqa.analyse(session).scores
    >>> scores.loc[scores["statistic"] == "within_tem", "estimate"].item()
    0.1
    """
    check_confidence(confidence)
    return Analysis(session=session, confidence=confidence, seed=seed)
