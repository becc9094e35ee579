"""Films: exact frames, exact times, luma planes for the strips, and a writer of small clips.

The only home of PyAV. Everything else in the application sees a film as a `FrameSource`. Each name comes when
it is first asked for: who only needs to know what a film is, such as the window, never loads a decoder.
"""

from typing import TYPE_CHECKING

from measure_app.front_door import names_later as _names_later

if TYPE_CHECKING:
    from measure_app.clip.film import CACHE_BYTES, Clip, open_clip
    from measure_app.clip.geometry import PlaneGeometry
    from measure_app.clip.local_file import sha256_of
    from measure_app.clip.opened import OpenedSource
    from measure_app.clip.picture import Frame
    from measure_app.clip.source import ClipInfo, FrameSource, LumaPlane, Picture, Plane
    from measure_app.clip.stamps import FrameStamp, Stamps
    from measure_app.clip.stills import Still, Stills, open_source
    from measure_app.clip.writer import write_clip

__all__ = [
    "CACHE_BYTES",
    "Clip",
    "ClipInfo",
    "Frame",
    "FrameSource",
    "FrameStamp",
    "LumaPlane",
    "OpenedSource",
    "Picture",
    "Plane",
    "PlaneGeometry",
    "Stamps",
    "Still",
    "Stills",
    "open_clip",
    "open_source",
    "sha256_of",
    "write_clip",
]

_LATER = {
    "CACHE_BYTES": "film",
    "Clip": "film",
    "ClipInfo": "source",
    "Frame": "picture",
    "FrameSource": "source",
    "FrameStamp": "stamps",
    "LumaPlane": "source",
    "OpenedSource": "opened",
    "Picture": "source",
    "Plane": "source",
    "PlaneGeometry": "geometry",
    "Stamps": "stamps",
    "Still": "stills",
    "Stills": "stills",
    "open_clip": "film",
    "open_source": "stills",
    "sha256_of": "local_file",
    "write_clip": "writer",
}

__getattr__ = _names_later(__name__, _LATER)
