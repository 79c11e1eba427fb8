"""The machines of a farm: parts given out, lost ones given out again.

The scheduler, the workers and how they find each other are those of Dask distributed. What is added
here: a machine that is not like this one is refused and named; a part whose worker died is begun
again, so that a machine that dies often condemns nothing, and told by name when every machine dies
of it; and when the scheduler itself is started again, what is not done is given out once more.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import time
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any, TypeAlias

from evenfall.errors import Fault, OutputError, UsageError
from evenfall.farm.parts import Made, Part, farm_versions, make_part, why_unfit
from evenfall.recipe.words.suggesting import joined

Client: TypeAlias = Any
Future: TypeAlias = Any
"""Of Dask distributed, which has no types."""

__all__ = ["Crew"]

_FIRST_ANSWER_SECONDS = 10.0
_PATIENCE_SECONDS = 600.0
"""How long a scheduler or the last worker may be away before a run is given up."""

_TELL_AGAIN_SECONDS = 60.0
_LOOK_SECONDS = 0.1
_MOST_ROUNDS = 2
"""Rounds of a part alone; each is several deaths, four by the scheduler's own count."""

_IDLE_SECONDS = 20.0
"""How long nobody may be at work, though there are workers, before all is given out again."""


@dataclass
class _Standing:
    """A part that is not done.

    Where its worker died, it may have been another part's fault, which was queued beside it: it is
    made alone then, after all others, so that only what kills its worker itself is given up.
    """

    part: Part
    is_alone: bool = False
    rounds: int = 0
    deaths: int = 0
    last: str = ""


@dataclass
class Crew:
    """Gives parts to the workers of a scheduler, until all are made or cannot be.

    Parameters
    ----------
    address : str
        Of the scheduler, ``tcp://farm:8786``.
    tell : callable
        Told, in words, of whatever a person should know while waiting.
    """

    address: str
    tell: Callable[[str], None]
    unfit: dict[str, str] = field(default_factory=dict)
    _has_answered: bool = False
    _has_begun: bool = False
    _told: dict[str, float] = field(default_factory=dict)

    def work(self, parts: Sequence[Part]) -> Iterator[tuple[Part, Made]]:
        """Give parts as they are made; a part that cannot be made comes with its faults.

        Raises
        ------
        UsageError
            When there is no scheduler, the extra is not installed, or no machine is fit.
        OutputError
            When the scheduler or every worker stays away.
        """
        standing = {number: _Standing(part) for number, part in enumerate(parts)}
        away_since: float | None = None
        while standing:
            before = len(standing)
            try:
                with self._connected() as client:
                    away_since = None
                    yield from self._round(client, standing)
            except _Away as gone:
                if len(standing) < before:
                    away_since = None
                away_since = time.monotonic() if away_since is None else away_since
                self._wait(away_since, str(gone), standing)

    @contextlib.contextmanager
    def _connected(self) -> Iterator[Client]:
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            found = "many machines need Dask distributed, which is not installed"
            hint = "pip install 'evenfall[farm]'"
            raise UsageError(Fault("--dask", "", found, "", hint)) from None
        try:
            distributed.comm.get_address_host_port(self.address)
        except ValueError as error:
            raise UsageError(self._no_scheduler(error)) from None
        for name in ("distributed", "distributed.client", "distributed.core"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # it is told in our words
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of versions, which are told with what follows of them
            try:
                client = distributed.Client(
                    self.address, timeout=_FIRST_ANSWER_SECONDS, set_as_default=False,
                    name="evenfall",
                )  # fmt: skip
            except (OSError, TimeoutError) as error:
                if self._has_answered:
                    raise _Away("the scheduler does not answer") from None
                raise UsageError(self._no_scheduler(error)) from None
        self._has_answered = True
        try:
            yield client
        finally:
            with contextlib.suppress(Exception):
                client.close(timeout=2)

    def _no_scheduler(self, error: Exception) -> Fault:
        found = f"no scheduler answers at {self.address}"
        if isinstance(error, ValueError):
            found = f"{self.address} is no address of a scheduler: {error}"
        hint = "start one with 'dask scheduler', and name it as it says, such as tcp://farm:8786"
        return Fault("--dask", "", found, "", hint)

    def _round(self, client: Client, standing: dict[int, _Standing]) -> Iterator[tuple[Part, Made]]:
        """Give out all that stands, until it is done or the scheduler is gone."""
        wanted = farm_versions()
        self._await_workers(client, wanted, standing)
        futures: dict[Future, int] = {}
        alone: list[int] = []
        for number, each in standing.items():
            if each.is_alone:
                alone.append(number)
            else:
                futures[self._submit(client, each, wanted)] = number
        distributed: Any = import_module("distributed")
        done = distributed.as_completed(list(futures), loop=client.loop, with_results=True)
        quiet_since = time.monotonic()
        while futures or alone:
            if not futures:
                number = alone.pop()
                again = self._submit(client, standing[number], wanted)
                futures[again] = number
                done.add(again)
            batch = self._batch(done)
            if not batch:
                if client.status in ("closed", "connecting", "newly-created"):
                    raise _Away("the scheduler does not answer")
                self._while_quiet(client, standing, quiet_since)
                time.sleep(_LOOK_SECONDS)
                continue
            quiet_since = time.monotonic()
            for future, result in batch:
                number = futures.pop(future)
                each = standing[number]
                made = self._result(result, each)
                future.release()
                if made is not None:
                    del standing[number]
                    yield each.part, made
                elif each.is_alone:
                    alone.append(number)
                else:
                    again = self._submit(client, each, wanted)
                    futures[again] = number
                    done.add(again)

    def _submit(self, client: Client, each: _Standing, wanted: Mapping[str, str]) -> Future:
        fit: list[str] | None = None
        if self.unfit:
            fit = [one for one in _workers(client) if one not in self.unfit]
            if not fit:
                raise _Away("no worker that is fit is left")
        return client.submit(make_part, each.part, wanted, pure=False, workers=fit, retries=0)

    def _batch(self, done: Any) -> list[tuple[Future, Any]]:
        try:
            found: list[tuple[Future, Any]] = done.next_batch(block=False)
        except (OSError, asyncio.CancelledError):
            raise _Away("the scheduler does not answer") from None
        return found

    def _result(self, result: Any, each: _Standing) -> Made | None:
        """Give what came of a part; None when it has to be given out again.

        A result that was lost with its worker, before it was fetched, is worked out again by the
        scheduler, and is not heard of until then.
        """
        from distributed import KilledWorker

        error = result[1] if isinstance(result, tuple) else result
        if isinstance(error, asyncio.CancelledError | _cancelled()):
            raise _Away("the scheduler was started again")
        if isinstance(error, KilledWorker):
            each.deaths += 1 + int(getattr(error, "allowed_failures", 3))
            each.last = str(getattr(error.last_worker, "address", error.last_worker))
            each.rounds += each.is_alone
            if each.rounds < _MOST_ROUNDS:
                each.is_alone = True
                return None
            return _deadly(each)
        if not isinstance(error, Made):  # of a machine that lacks memory, or code
            each.rounds += 1
            if each.rounds < _MOST_ROUNDS:
                return None
            fault = Fault(each.part.name, "", f"{type(error).__name__}: {error}")
            return Made("", faults=(fault,), kind=OutputError)
        made = error
        if made.unfit:
            address = made.machine.rpartition("(")[2].rstrip(")")
            self._leave_out(address, f"{made.machine} {made.unfit}")
            return None
        return made

    def _leave_out(self, address: str, why: str) -> None:
        """Leave a machine out for the rest of the run, and say so once."""
        if address not in self.unfit:
            self.unfit[address] = why
            self.tell(f"{why}; it is left out")

    def _await_workers(
        self, client: Client, wanted: Mapping[str, str], standing: Mapping[int, _Standing]
    ) -> None:
        """Wait for workers, and ask those that are there whether they are fit.

        Raises
        ------
        UsageError
            Naming every machine that is not like this one; the run does not begin then.
        """
        since = time.monotonic()
        folders = {each.part.out: each.part.token for each in standing.values()}
        while not _workers(client):
            self._wait(since, "no worker has joined", standing)
        try:
            told = client.run(_fitness, wanted, folders, on_error="return")
        except (OSError, TimeoutError):
            raise _Away("the scheduler does not answer") from None
        found: dict[str, str] = {}
        for address, one in told.items():
            if isinstance(one, OSError):
                continue  # it went away meanwhile
            host, why = one if isinstance(one, tuple) else ("a worker", _said(one))
            if why:
                found[address] = f"{host} ({address}) {why}"
        if found and not self._has_begun:
            hint = "make these machines like this one, or stop their workers"
            raise UsageError([Fault("--dask", "", why, "", hint) for why in found.values()])
        self._has_begun = True
        for address, why in found.items():
            self._leave_out(address, why)
        if len(found) == len(told):
            raise _Away("no worker that is fit has joined")

    def _while_quiet(self, client: Client, standing: Mapping[int, _Standing], since: float) -> None:
        """Say so when nobody is left to work, and give all out again when nobody works."""
        quiet = time.monotonic() - since
        if quiet < 2:
            return
        try:
            busy = {worker: bool(some) for worker, some in client.processing().items()}
        except Exception:
            raise _Away("the scheduler does not answer") from None
        if not busy:
            self._wait(since, "no worker is left", standing)
        elif quiet > _IDLE_SECONDS and not any(busy.values()):
            raise _Away("no worker has anything to do")

    def _wait(self, since: float, why: str, standing: Mapping[int, _Standing]) -> None:
        """Wait a moment; say why, and give up when it takes too long."""
        now, waited = time.monotonic(), time.monotonic() - since
        names = joined([each.part.name for each in standing.values()], "and", most=3)
        if waited > _PATIENCE_SECONDS:
            found = f"{why} for {_PATIENCE_SECONDS / 60:.0f} minutes; not made: {names}"
            hint = "start it again; what is made stays, and is not made again"
            raise OutputError(Fault(f"--dask {self.address}", "", found, "", hint))
        if now - self._told.get(why, -_TELL_AGAIN_SECONDS) >= _TELL_AGAIN_SECONDS:
            self._told[why] = now
            self.tell(f"{self.address}: {why}; waiting, with {names} still to be made")
        time.sleep(0.5)


def _deadly(each: _Standing) -> Made:
    found = (
        f"every worker that made it died, {each.deaths} times, last {each.last}; its memory may be "
        "too small for this picture"
    )
    hint = "look into the worker's log, and make it on one machine to see more"
    return Made(each.last, faults=(Fault(each.part.name, "", found, "", hint),), kind=OutputError)


class _Away(Exception):  # noqa: N818 -- no error yet
    """The scheduler or all workers are gone, for a while or for good."""


def _cancelled() -> type[BaseException]:
    from distributed import CancelledError

    cancelled: type[BaseException] = CancelledError
    return cancelled


def _workers(client: Client) -> list[str]:
    return list(client.scheduler_info(n_workers=-1)["workers"])


def _fitness(wanted: Mapping[str, str], folders: Mapping[Path, str]) -> tuple[str, str]:
    return socket.gethostname(), why_unfit(wanted, folders)


def _said(error: object) -> str:
    if isinstance(error, ImportError):
        return f"has no evenfall of this version: {error}"
    return f"cannot be asked: {error}"
