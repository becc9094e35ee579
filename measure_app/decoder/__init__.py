"""Films decoded in processes of their own: a decoder that a film brings down takes nothing else with it.

Each process does one thing at a time, so that it is plain what brought it down. Only `serving`, which runs
there, opens films; a `DecodedFilm` has the face of a film (`measure_app.clip.FrameSource`) in this process.
"""

from measure_app.decoder.film import DecodedFilm, DecodedFrame, open_film
from measure_app.decoder.process import Decoder

__all__ = ["DecodedFilm", "DecodedFrame", "Decoder", "open_film"]
