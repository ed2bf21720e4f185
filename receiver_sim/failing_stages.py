"""A verb of several stages: one that fails is marked as failed, and what the others found is kept."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Generic, TypeVar

from receiver_sim.engine import Bench, EngineError, EngineMissing
from receiver_sim.errors import NoAnswer, NoOnset, ReceiverSimError, Superseded, fault_in_words
from receiver_sim.results.base import FailedStage

Result = TypeVar("Result")
Item = TypeVar("Item")


def failed_stage(stage: str, error: Exception) -> FailedStage:
    """Return the mark of a stage that ended with an error, with the deck that was kept if there is one."""
    deck = getattr(error, "deck_path", None)
    return FailedStage(stage, str(error), None if deck is None else str(deck))


def faulty_stage(stage: str, error: Exception) -> FailedStage:
    """Return the mark of a stage in which the program was at fault."""
    trace = [*traceback.format_tb(error.__traceback__), *traceback.format_exception_only(error)]
    return FailedStage(stage, fault_in_words(error), None, fault="".join(trace))


class Job(Generic[Result]):
    """A stage that is run beside others, see `Stages.side_by_side`; `found` is None until then, or if it
    failed.

    work is given the bench, and the stages to which what fails within it is added.
    """

    def __init__(self, stage: str, work: Callable[[Bench, Stages], Result]) -> None:
        self.stage, self.work = stage, work
        self.found: Result | None = None


class Stages:
    """Runs the stages of a verb and collects the marks of those that failed, in the order they were begun.

    A stage fails when its simulation does, when its question has no answer on this circuit, and by a fault of
    the program, which the mark says. What the user can put right passes through, and so do EngineMissing,
    which would meet every stage alike, NoOnset, which is no failure, and Superseded, which ends them all.
    """

    def __init__(self) -> None:
        self._failed: list[FailedStage] = []

    @property
    def failed(self) -> tuple[FailedStage, ...]:
        """The stages that failed."""
        return tuple(self._failed)

    def add(self, failed: Iterable[FailedStage]) -> None:
        """Add the marks of stages that ran within one of these."""
        self._failed += failed

    def run(self, stage: str, work: Callable[[], Result]) -> Result | None:
        """Return what a stage finds, or None if it failed."""
        found = self._attempt(stage, work)
        if isinstance(found, FailedStage):
            self._failed.append(found)
            return None
        return found

    def map(
        self,
        bench: Bench,
        work: Callable[[Bench, Item], Result],
        items: Sequence[tuple[str, Item]],
        progress: Callable[[int, int], None] | None = None,
    ) -> list[Result | None]:
        """Return what each of several equal stages (name, item) finds, side by side on a bench; as `run`."""
        answers = bench.map(
            lambda b, one: self._attempt(one[0], lambda: work(b, one[1])), list(items), progress
        )
        self._failed += [answer for answer in answers if isinstance(answer, FailedStage)]
        return [None if isinstance(answer, FailedStage) else answer for answer in answers]

    def side_by_side(
        self,
        bench: Bench,
        jobs: Sequence[Job[Any]],
        progress: Callable[[int, int], None] | None = None,
    ) -> None:
        """Run unequal stages side by side on a bench, the first of them first; as `run` for each."""

        def one(b: Bench, job: Job[Any]) -> Stages:
            within = Stages()
            job.found = within.run(job.stage, lambda: job.work(b, within))
            return within

        for within in bench.map(one, jobs, progress):
            self.add(within.failed)

    def _attempt(self, stage: str, work: Callable[[], Result]) -> Result | FailedStage:
        try:
            return work()
        except (EngineMissing, NoOnset, Superseded):
            raise
        except (EngineError, NoAnswer) as error:
            return failed_stage(stage, error)
        except ReceiverSimError:
            raise
        except Exception as error:
            return faulty_stage(stage, error)
