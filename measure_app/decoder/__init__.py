"""Films decoded in a process of their own: a decoder that a film brings down takes nothing else with it.

Knows nothing of decoding itself: only `serving`, in the other process, opens films. `DecodedFilm` has the
face of a film (`measure_app.clip.FrameSource`).
"""

from measure_app.decoder.film import DecodedFilm, DecodedFrame, open_film
from measure_app.decoder.process import SERVE, Decoder, GivenUp

__all__ = ["DecodedFilm", "DecodedFrame", "Decoder", "GivenUp", "SERVE", "open_film"]
