"""All files of a folder, read in this process, in others beside it, or on a cluster; never stopped by one."""

from __future__ import annotations

import os
import stat
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from measure_app.collating.answer import MAX_ANSWER_BYTES, Answer, Refusal, read_answer
from measure_app.collating.class_key import Key
from measure_app.errors import AppError, Stopped
from measure_app.packs import pack_mark_of
from measure_app.runfile import decode_run
from measure_app.saving import reason_of
from measure_app.words import ENGLISH, language, languages, said, use_language

MAX_FILES = 20_000
"""Most files of one class, or district."""
MAX_DEPTH = 4
"""Deepest folder below the one named; learning platforms make one for each student."""
_FEW = 12
"""So few answers are quicker read here than handed to other processes."""
_CHUNK = 4
_ASKED = 20

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

_Item = tuple[str, bytes]
_Read = Answer | Refusal
_Progress = Callable[[int, int], None]


class GatherError(AppError):
    """The answers as a whole cannot be had; `where` names the folder or the address."""


def files_of(folder: Path) -> tuple[tuple[str, ...], tuple[Refusal, ...]]:
    """List the files below a folder that may be answers, by name; the rest with the reason why not.

    Links are not followed, and hidden files are passed over.

    Raises
    ------
    GatherError
        The folder cannot be looked into, or holds too many files.
    """
    if not folder.is_dir():
        raise GatherError(said("is not a folder; name the folder that holds the answers"), where=str(folder))
    try:
        found = sorted(_walk(folder, "", 0))
    except OSError as error:
        raise GatherError(
            said("cannot be looked into ({reason_of})", reason_of=reason_of(error)),
            where=str(folder),
        ) from None
    answers = tuple(name for name, words in found if not words)
    return answers, tuple(Refusal(name, words) for name, words in found if words)


def _walk(folder: Path, prefix: str, depth: int) -> Iterator[tuple[str, str]]:
    count = 0
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith("."):
                continue
            count += 1
            if count > MAX_FILES:
                raise GatherError(
                    said("holds more than {max_files} files; split them", max_files=MAX_FILES),
                    where=str(folder),
                )
            name = prefix + entry.name
            mode = entry.stat(follow_symlinks=False).st_mode
            if stat.S_ISLNK(mode):
                yield name, said("is a link; put the file itself there")
            elif stat.S_ISDIR(mode):
                if depth < MAX_DEPTH:
                    yield from _walk(Path(entry.path), f"{name}/", depth + 1)
                else:
                    yield name, said("is a folder too deep down; move the answers up")
            elif not stat.S_ISREG(mode):
                yield name, said("is not a plain file")
            elif not entry.name.lower().endswith((".json", ".clepsydra", ".zip")):
                yield name, said("is no answer; answers end in .run.json")
            else:
                yield name, ""


def _items(folder: Path, names: Sequence[str]) -> Iterator[_Item | Refusal]:
    for name in names:
        try:
            flags = os.O_RDONLY
            for name_of in ("O_NOFOLLOW", "O_BINARY", "O_NONBLOCK"):  # not every system has each
                flags |= getattr(os, name_of, 0)
            with os.fdopen(os.open(folder / name, flags), "rb") as file:
                yield name, file.read(MAX_ANSWER_BYTES + 1)
        except OSError as error:
            yield Refusal(
                name,
                said("cannot be read ({reason_of})", reason_of=reason_of(error)),
            )


def size_by_packs(folder: Path, names: Sequence[str]) -> tuple[int, int] | None:
    """Say how large the original film is, as most of the first answers have it from their pack."""
    told: Counter[tuple[int, int]] = Counter()
    for item in _items(folder, names[:_ASKED]):
        if isinstance(item, Refusal) or len(item[1]) > MAX_ANSWER_BYTES:
            continue
        try:
            mark = pack_mark_of(decode_run(item[1], item[0]))
        except AppError:
            continue
        if mark is not None and mark.width is not None and mark.height is not None:
            told[mark.width, mark.height] += 1
    return told.most_common(1)[0][0] if told else None


def read_all(
    folder: Path,
    names: Sequence[str],
    key: Key,
    *,
    dask: str | None = None,
    workers: int | None = None,
    progress: _Progress | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> list[_Read]:
    """Read answers, in the order of their names.

    Parameters
    ----------
    folder, names
        Where they are.
    key : Key
        What they are held against.
    dask : str, optional
        Address of the scheduler of a running cluster (dask.distributed), whose workers then do the same work.
    workers : int, optional
        Processes; None: one for each processor, at most 8.
    progress : callable, optional
        Given (answers done, answers in all).
    stop_requested : callable, optional
        Asked now and then; True stops the work.

    Raises
    ------
    GatherError
        The cluster cannot be used.
    Stopped
        If `stop_requested` said so.
    """
    items = _items(folder, names)
    if dask is not None:
        results = _on_cluster(items, key, dask)
    else:
        count = min(8, os.cpu_count() or 1) if workers is None else workers
        results = _here(items, key) if len(names) < _FEW or count < 2 else _beside(items, key, count)
    done: list[_Read] = []
    for result in results:
        done.append(result)
        if progress is not None:
            progress(len(done), len(names))
        if stop_requested is not None and stop_requested():
            raise Stopped(said("stopped; nothing was written"))
    return done


def _one(item: _Item | Refusal, key: Key, spoken: str = "") -> _Read:
    if spoken and spoken != language():
        use_language(spoken)  # a process elsewhere starts in its own system's language
    return item if isinstance(item, Refusal) else read_answer(*item, key)


def _here(items: Iterator[_Item | Refusal], key: Key) -> Iterator[Any]:
    for item in items:
        yield _one(item, key)


_key_here: list[Key] = []
"""The key in a process beside: sent once, not with every answer."""


def _begin(key: Key, spoken: str) -> None:
    use_language(spoken)
    _key_here[:] = [key]


def _one_beside(item: _Item | Refusal) -> _Read:
    return _one(item, _key_here[0])


def _beside(items: Iterator[_Item | Refusal], key: Key, workers: int) -> Iterator[Any]:
    """Read in processes beside this one; an answer that brings one down is refused, the others go on."""
    from collections import deque
    from concurrent.futures import Future
    from concurrent.futures.process import BrokenProcessPool

    executor = _pool(key, workers)
    waiting: deque[tuple[_Item | Refusal, Future[_Read]]] = deque()

    def first_done() -> _Read:
        item, future = waiting.popleft()
        try:
            return future.result()
        except BrokenProcessPool:
            return _alone(item, key)

    try:
        for item in items:
            try:
                waiting.append((item, executor.submit(_one_beside, item)))
            except BrokenProcessPool:
                executor.shutdown(wait=False, cancel_futures=True)
                executor = _pool(key, workers)
                waiting.append((item, executor.submit(_one_beside, item)))
            if len(waiting) >= _CHUNK * workers:
                yield first_done()
        while waiting:
            yield first_done()
    finally:
        executor.shutdown(wait=False, cancel_futures=True)


def _spoken() -> str:
    """Give the language for processes beside; one that is no catalogue's stays here."""
    return language() if language() in languages() else ENGLISH


def _pool(key: Key, workers: int) -> ProcessPoolExecutor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # Started anew rather than copied: a copy of a process with threads may wait for ever.
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_begin, initargs=(key, _spoken()))


def _alone(item: _Item | Refusal, key: Key) -> _Read:
    """Read one answer in a process of its own."""
    from concurrent.futures.process import BrokenProcessPool

    with _pool(key, 1) as executor:
        try:
            return executor.submit(_one_beside, item).result()
        except BrokenProcessPool:
            name = item.file if isinstance(item, Refusal) else item[0]
            return Refusal(name, said("brought down the process that read it"))


def _on_cluster(items: Iterator[_Item | Refusal], key: Key, address: str) -> Iterator[Any]:
    """Read on the workers of a running cluster; they need this program installed."""
    try:
        from distributed import CancelledError, Client, KilledWorker
    except ImportError:
        raise GatherError(
            said('needs the optional part "dask"; install clepsydra[dask], or leave --dask out'),
            where=address,
        ) from None
    try:
        cluster: Any = Client
        client = cluster(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        told = str(error).splitlines()[0][:120] if str(error) else said("time out")
        words = said("no cluster answers there ({told}); give the address of its scheduler", told=told)
        raise GatherError(words, where=address) from None
    try:
        shared = client.scatter(key, broadcast=True)
        futures = [(item, client.submit(_one, item, shared, _spoken(), pure=False)) for item in items]
        for item, future in futures:
            try:
                yield future.result()
            except KilledWorker:
                name = item.file if isinstance(item, Refusal) else item[0]
                yield Refusal(name, said("brought down the process that read it"))
            future.release()
    except (OSError, TimeoutError, CancelledError) as error:
        words = said("the cluster was lost ({name}); nothing was written", name=type(error).__name__)
        raise GatherError(words, where=address) from None
    finally:
        client.close()
