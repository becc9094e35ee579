"""Films decoded in processes of their own: a decoder that a film brings down takes nothing else with it.

Each process does one thing at a time, so that it is plain what brought it down. Only `serving`, which runs
there, opens films; a `DecodedFilm` has the face of a film (`measure_app.clip.FrameSource`) in this process.
Each name comes when it is first asked for: the first process is started before anything else is loaded.
"""

from typing import TYPE_CHECKING

from measure_app.front_door import names_later as _names_later

if TYPE_CHECKING:
    from measure_app.decoder.film import DecodedFilm, DecodedFrame, open_film
    from measure_app.decoder.process import Decoder
    from measure_app.decoder.starting import command_of_decoder, started

__all__ = ["DecodedFilm", "DecodedFrame", "Decoder", "command_of_decoder", "open_film", "started"]

_LATER = {
    "DecodedFilm": "film",
    "DecodedFrame": "film",
    "Decoder": "process",
    "command_of_decoder": "starting",
    "open_film": "film",
    "started": "starting",
}

__getattr__ = _names_later(__name__, _LATER)
