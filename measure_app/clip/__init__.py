"""Films: exact frames, exact times, luma planes for the strips, and a writer of small clips.

The only home of PyAV. Everything else in the application sees a film as a `FrameSource`.
"""

from measure_app.clip.film import CACHE_BYTES, Clip, open_clip
from measure_app.clip.geometry import PlaneGeometry
from measure_app.clip.opening import sha256_of
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
