"""Films: exact frames, exact times, luma planes for the strips, and a writer of small clips.

The only home of PyAV. Everything else in the application sees a film as a `FrameSource`.
"""

from measure_app.clip.writer import write_clip

__all__ = ["write_clip"]
