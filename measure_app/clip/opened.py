"""What every film that is open does alike, wherever it is decoded."""

from __future__ import annotations

from collections.abc import Callable
from types import TracebackType
from typing import Self

from measure_app.clip.source import ClipInfo
from measure_app.clip.stamps import Stamps
from measure_app.errors import ClipClosed, ClipError, Stopped
from measure_app.words import said


class OpenedSource:
    """A film that is open: what is known of it, what may be asked of it, and its end.

    Who derives from it sets `_name`, `_info` and `_stamps`, and says in `close` what is let go of.
    """

    _name: str
    """What errors call it."""
    _info: ClipInfo
    _stamps: Stamps
    _closed = False

    @property
    def info(self) -> ClipInfo:
        """What is known of the film."""
        return self._info

    @property
    def stamps(self) -> Stamps:
        """Times of all frames, or places in an order without a clock; good after the film is closed."""
        return self._stamps

    def rest(self) -> None:
        """Let go of what only single frames need, until the next one is asked for; frames kept stay."""

    def close(self) -> None:
        """Let go of the film; frames handed out stay good."""
        self._closed = True

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the film."""
        self.close()

    def _check_open(self) -> None:
        if self._closed:
            raise ClipClosed(said("the clip was closed; open it again"), where=self._name)

    def _check_index(self, index: int) -> None:
        if not 0 <= index < self._info.n_frames:
            words = said(
                "there is no such frame; the film has frames 0 to {count}", count=self._info.n_frames - 1
            )
            raise ClipError(words, where=self._where(index))

    def _asked(self, start: int, stop: int | None, step: int) -> range:
        """Frames start, start + step … below stop, if the film has them."""
        count = self._info.n_frames
        end = count if stop is None else stop
        if step < 1 or not 0 <= start <= end <= count:
            words = said(
                "frames {start} to {end} by {step} are not in the film, which has {count}",
                start=start,
                end=end,
                step=step,
                count=count,
            )
            raise ClipError(words, where=self._info.path.name)
        return range(start, end, step)

    def _go_on(self, stop_requested: Callable[[], bool] | None) -> None:
        """Asked now and then by a reading: raises where it is to stop, or the film was closed.

        Stopping comes first: who stops a reading, and then closes its film, has not been failed by it.
        """
        if stop_requested is not None and stop_requested():
            raise Stopped(said("the reading of the film was stopped"))
        self._check_open()

    def _where(self, index: int) -> str:
        return said("{path}, frame {index}", path=self._name, index=index)
