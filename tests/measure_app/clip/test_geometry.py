"""What is shown is what is measured: turns, mirrors and pixel aspect."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure_app.clip import PlaneGeometry, open_clip, write_clip

ASPECTS = [Fraction(1), Fraction(4, 3), Fraction(128, 117), Fraction(3, 4), Fraction(10, 11)]
geometries = st.builds(
    PlaneGeometry,
    st.integers(2, 4000),
    st.integers(2, 4000),
    st.sampled_from(ASPECTS),
    st.integers(0, 3),
    st.booleans(),
)
positions = st.floats(-5000, 5000)


@given(geometries, positions, positions)
def test_there_and_back_again(geometry: PlaneGeometry, x: float, y: float) -> None:
    there = geometry.to_coded(np.array([[x, y]]))
    assert there.shape == (1, 2)
    assert np.abs(geometry.to_displayed(there) - [[x, y]]).max() < 1e-9


@given(geometries)
def test_corners_land_on_corners(geometry: PlaneGeometry) -> None:
    # the outer edges of the picture, half a pixel outside the centres of the outermost pixels
    w, h = geometry.coded_width, geometry.coded_height
    edges = np.array([[-0.5, -0.5], [w - 0.5, h - 0.5]])
    shown = geometry.to_displayed(edges)
    exact_width = w * float(geometry.sample_aspect)
    sizes = np.sort(np.abs(shown[1] - shown[0]))
    assert np.allclose(sizes, np.sort([exact_width, h]), atol=1e-9)
    assert abs(geometry.stretched_width - exact_width) <= 0.5 or geometry.stretched_width == 1


@given(
    st.integers(0, 3),
    st.booleans(),
    st.integers(2, 12),
    st.integers(2, 12),
    st.data(),
)
def test_a_single_bright_pixel_is_shown_where_the_mapping_says(
    turns: int, mirrored: bool, width: int, height: int, data: st.DataObject
) -> None:
    geometry = PlaneGeometry(width, height, Fraction(1), turns, mirrored)
    x, y = data.draw(st.integers(0, width - 1)), data.draw(st.integers(0, height - 1))
    coded = np.zeros((height, width), np.uint8)
    coded[y, x] = 255
    shown = geometry.shown(coded)
    assert shown.shape == (geometry.displayed_height, geometry.displayed_width)
    assert shown.flags.c_contiguous
    row, column = np.argwhere(shown)[0]
    assert geometry.to_displayed(np.array([[x, y]], float)).tolist() == [[column, row]]


def test_an_upright_square_film_is_shown_without_a_copy() -> None:
    coded = np.zeros((4, 6), np.uint8)
    assert PlaneGeometry(6, 4).shown(coded) is coded


def blob(width: int, height: int, x: float, y: float) -> np.ndarray:
    rows, columns = np.mgrid[:height, :width]
    return (30 + 200 * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * 4.0**2))).astype(np.uint8)


def centroid(grey: np.ndarray) -> tuple[float, float]:
    weight = np.clip(grey.astype(float) - 60, 0, None)
    rows, columns = np.mgrid[: grey.shape[0], : grey.shape[1]]
    return float((weight * columns).sum() / weight.sum()), float((weight * rows).sum() / weight.sum())


@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("aspect", [None, Fraction(4, 3), Fraction(128, 117)])
def test_a_dot_in_the_film_is_painted_where_the_geometry_maps_it(
    rotation: int, mirrored: bool, aspect: Fraction | None, tmp_path: Path
) -> None:
    x, y = 41.0, 66.0
    write_clip(
        tmp_path / "dot.mp4",
        [blob(144, 100, x, y)] * 3,
        rotation=rotation,
        mirrored=mirrored,
        sample_aspect=aspect,
        crf=1,
    )
    with open_clip(tmp_path / "dot.mp4") as clip:
        geometry, frame = clip.info.geometry, clip.frame(1)
    assert (clip.info.rotation, geometry.mirrored) == (rotation, mirrored)
    assert clip.info.sample_aspect == (aspect or 1)
    wide = round(144 * float(aspect or 1))
    assert (clip.info.width, clip.info.height) == ((100, wide) if rotation % 180 else (wide, 100))
    assert clip.info.coded_size == (144, 100)
    coded = centroid(frame.plane)
    expected = geometry.to_displayed(np.array([coded]))[0]
    for shown in (frame.luma(), frame.bgra()[:, :, 1], frame.bgr()[:, :, 0]):
        assert shown.shape == (clip.info.height, clip.info.width)
        assert np.hypot(*(np.array(centroid(shown)) - expected)) < 0.03
    assert (frame.bgra()[:, :, 3] == 255).all()
    told = " ".join(clip.info.remarks)
    assert ("turned" in told) == (rotation != 0)
    assert ("mirrored" in told) == mirrored
    assert ("not square" in told) == (aspect is not None)


@pytest.mark.parametrize("rotation", [90, 180, 270])
def test_an_upright_picture_filmed_with_a_turned_camera_is_shown_upright(
    rotation: int, tmp_path: Path
) -> None:
    upright = blob(90, 160, 20.0, 130.0)
    coded = np.rot90(upright, -(rotation // 90))
    write_clip(tmp_path / "phone.mp4", [np.ascontiguousarray(coded)] * 2, rotation=rotation, crf=1)
    with open_clip(tmp_path / "phone.mp4") as clip:
        assert np.abs(clip.frame(0).luma().astype(int) - upright).max() <= 4


def test_colours_and_ranges_come_out_as_they_went_in(tmp_path: Path) -> None:
    blue_green_red = np.zeros((64, 96, 3), np.uint8)
    blue_green_red[:, :48] = (200, 60, 30)
    blue_green_red[:, 48:] = (40, 90, 220)
    for name, codec in (
        ("a.mp4", "libx264"),
        ("b.avi", "mjpeg"),
        ("c.webm", "libvpx-vp9"),
        ("d.mp4", "libx265"),
    ):
        write_clip(tmp_path / name, [blue_green_red] * 2, codec=codec, crf=4)
        with open_clip(tmp_path / name) as clip:
            shown = clip.frame(0).bgra()
            assert clip.info.full_range == (codec == "mjpeg")
        for half in (np.s_[10:50, 8:40], np.s_[10:50, 56:88]):
            assert np.abs(shown[half][:, :, :3].astype(int) - blue_green_red[half]).mean() < 4, name
