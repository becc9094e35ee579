"""Packs: one file that a class can be given, opened safely wherever it comes from."""

from measure_app.packs.content import SETUP_PARTS, PackPlan, load_questions
from measure_app.packs.design import Shares, shares_of
from measure_app.packs.errors import PackError
from measure_app.packs.manifest import PACK_ENDING, Manifest, PackMark, pack_mark_of
from measure_app.packs.packing import Packed, pack
from measure_app.packs.rescaling import Rescaling, rescaled, scaled_back
from measure_app.packs.unpacking import Unpacked, looks_like_pack, manifest_of, unpack

__all__ = [
    "Manifest",
    "PACK_ENDING",
    "PackError",
    "PackMark",
    "PackPlan",
    "Packed",
    "Rescaling",
    "SETUP_PARTS",
    "Shares",
    "Unpacked",
    "load_questions",
    "looks_like_pack",
    "manifest_of",
    "pack",
    "pack_mark_of",
    "rescaled",
    "scaled_back",
    "shares_of",
    "unpack",
]
