"""Plain bodies, plates, weights and relations: symmetries, scaling, conservation and messages."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import growth, plates
from simulator.forms import form, form_names
from simulator.scattering import (
    Solid,
    cylinder_hf,
    elastic_sphere,
    ellipsoid_hf,
    finite_cylinder,
    foote_1987,
    is_measured,
    love_1971_dorsal,
    prolate_spheroid_soft_hf,
    published_band,
    regression_lines,
    sphere,
    sphere_hf,
    strength_label,
    vendace_2004,
)
from simulator.targets import SOLIDS

SPEED = 1482.38
GAS: dict[str, Any] = {"kind": "fluid", "inside_sound_speed": 345.0, "inside_density": 1.24}
HARD: dict[str, Any] = {"kind": "fluid", "inside_sound_speed": 2500.0, "inside_density": 1200.0}
INSIDES: list[dict[str, Any]] = [{"kind": "rigid"}, {"kind": "soft"}, GAS, HARD]

frequencies = st.floats(20e3, 800e3)
radii = st.floats(1e-3, 0.1)
angles = st.floats(1.0, 179.0)
scales = st.floats(0.2, 5.0)
insides = st.sampled_from(INSIDES)
axes = st.tuples(*[st.floats(0.02, 3.0)] * 3)
ways = st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda n: np.linalg.norm(n) > 0.01)


@settings(deadline=None, max_examples=25)
@given(radius=radii, frequency=frequencies, scale=scales, material=st.sampled_from([*SOLIDS]))
def test_spheres_scale(radius: float, frequency: float, scale: float, material: str) -> None:
    """A body k times as large at f/k: the length is k times as long, in phase."""
    for one, two in (
        (
            elastic_sphere(radius, frequency, material, complex=True),
            elastic_sphere(radius * scale, frequency / scale, material, complex=True),
        ),
        (
            sphere(radius, frequency, **HARD, complex=True),
            sphere(radius * scale, frequency / scale, **HARD, complex=True),
        ),
    ):
        assert abs(two / scale - one) < 1e-6 * radius


@settings(deadline=None, max_examples=25)
@given(
    radius=radii, slim=st.floats(2.0, 20.0), frequency=frequencies, angle=angles, scale=scales,
    inside=insides,
)  # fmt: skip
def test_cylinders_scale(
    radius: float, slim: float, frequency: float, angle: float, scale: float, inside: Any
) -> None:
    def at(size: float) -> Any:
        return finite_cylinder(
            radius * size, radius * slim * size, frequency / size, angle, **inside, complex=True
        )

    assert abs(at(scale) / scale - at(1.0)) < 1e-6 * radius * slim


@settings(deadline=None, max_examples=25)
@given(radius=radii, frequency=frequencies, angle=angles, inside=insides)
def test_cylinder_ends_are_alike(
    radius: float, frequency: float, angle: float, inside: Any
) -> None:
    one, two = finite_cylinder(
        radius, 0.4, frequency, [angle, 180.0 - angle], **inside, complex=True
    )
    assert abs(one - two) < 1e-9


@settings(deadline=None, max_examples=25)
@given(semi=axes, way=ways, scale=scales)
def test_ellipsoid_scales_and_looks_alike_from_opposite_sides(
    semi: tuple[float, ...], way: tuple[float, ...], scale: float
) -> None:
    one = ellipsoid_hf(semi, way)
    assert ellipsoid_hf(np.multiply(semi, scale), way) == pytest.approx(one + 20 * np.log10(scale))
    assert ellipsoid_hf(semi, np.negative(way)) == pytest.approx(one)
    assert ellipsoid_hf(semi, np.multiply(way, (1, -1, 1))) == pytest.approx(one)
    assert ellipsoid_hf(semi, np.multiply(way, 7.0)) == pytest.approx(one)
    turned = np.roll(semi, 1), np.roll(way, 1)
    assert ellipsoid_hf(*turned) == pytest.approx(one)


@settings(deadline=None, max_examples=40)
@given(semi=axes, u=st.floats(0.3, 2.8), v=st.floats(-3.0, 3.0))
def test_ellipsoid_by_the_curvature_of_its_surface(
    semi: tuple[float, ...], u: float, v: float
) -> None:
    """Independent: both fundamental forms of the parametrised surface, |f| = 1/(2 sqrt K)."""
    a, b, c = semi
    along_u = np.array([a * np.cos(u) * np.cos(v), b * np.cos(u) * np.sin(v), -c * np.sin(u)])
    along_v = np.array([-a * np.sin(u) * np.sin(v), b * np.sin(u) * np.cos(v), 0.0])
    point = np.array([a * np.sin(u) * np.cos(v), b * np.sin(u) * np.sin(v), c * np.cos(u)])
    uv = np.array([-a * np.cos(u) * np.sin(v), b * np.cos(u) * np.cos(v), 0.0])
    vv = np.array([-a * np.sin(u) * np.cos(v), -b * np.sin(u) * np.sin(v), 0.0])
    normal = np.cross(along_u, along_v)
    unit = normal / np.linalg.norm(normal)
    first = (along_u @ along_u) * (along_v @ along_v) - (along_u @ along_v) ** 2
    second = (-point @ unit) * (vv @ unit) - (uv @ unit) ** 2
    size = 0.5 / np.sqrt(second / first)
    assert ellipsoid_hf(semi, unit) == pytest.approx(20.0 * np.log10(size), abs=1e-6)
    length = ellipsoid_hf(semi, unit, 120e3, complex=True)
    phase = np.exp(2j * 2.0 * np.pi * 120e3 / SPEED * (point @ unit))  # the point's own distance
    assert length / size == pytest.approx(phase, abs=1e-6)


def test_ellipsoid_shapes_and_reflection() -> None:
    rocks, ways_to = np.full((4, 1, 3), 0.3), np.ones((5, 3))
    assert ellipsoid_hf(rocks, ways_to).shape == (4, 5)
    f = np.full((2, 1, 1), 2e5)
    assert ellipsoid_hf(rocks, ways_to, f, complex=True).shape == (2, 4, 5)
    assert ellipsoid_hf(rocks, ways_to, f).shape == (2, 4, 5)
    half = ellipsoid_hf((0.3, 0.2, 0.1), (0, 0, 1), reflection=0.5)
    assert half == pytest.approx(20.0 * np.log10(0.5 * 0.3 * 0.2 / (2.0 * 0.1)))


@given(angle=st.floats(-360.0, 360.0))
def test_spheroid_is_the_ellipsoid_seen_at_an_angle(angle: float) -> None:
    way = (np.cos(np.radians(angle)), 0.0, np.sin(np.radians(angle)))
    ours = prolate_spheroid_soft_hf(0.07, 0.01, 2e5, angle, complex=True)
    other = ellipsoid_hf((0.07, 0.01, 0.01), way, 2e5, -1.0, complex=True)
    assert ours == pytest.approx(other)
    assert prolate_spheroid_soft_hf(0.07, 0.01, angle=angle) == pytest.approx(
        prolate_spheroid_soft_hf(0.07, 0.01, angle=180.0 - angle)
    )


def test_spheroid_end_on_is_faint() -> None:
    """b^2/(2 a): 34 dB under broadside for seven to one."""
    assert prolate_spheroid_soft_hf(0.07, 0.01, angle=0.0) == pytest.approx(
        20.0 * np.log10(0.01**2 / (2.0 * 0.07))
    )


@settings(deadline=None, max_examples=100)
@given(
    plate=st.one_of(
        st.sampled_from(plates.material_names()),
        st.tuples(st.floats(100.0, 2e4), st.floats(300.0, 1e4)),
    ),
    thickness=st.floats(1e-4, 2.0),
    frequency=frequencies,
    angle=st.floats(-89.5, 89.5),
)
def test_plates_keep_energy(plate: Any, thickness: float, frequency: float, angle: float) -> None:
    through = plates.transmission(plate, thickness, frequency, angle)
    back = plates.reflection(plate, thickness, frequency, angle)
    assert abs(through) ** 2 + abs(back) ** 2 == pytest.approx(1.0, abs=1e-9)
    loss = plates.transmission_loss(plate, thickness, frequency, angle)
    assert loss >= 0.0
    assert 10.0 ** (-loss / 20.0) == pytest.approx(abs(through), rel=1e-6, abs=1e-9)
    other = plates.transmission_loss(plate, thickness, frequency, -angle)
    assert other == pytest.approx(loss)


@pytest.mark.parametrize("angle", [0.0, 40.0, 70.0])
def test_a_plate_of_water_is_not_there(angle: float) -> None:
    """Phase: later by k d cos(angle), so more negative."""
    water = (998.2, SPEED)
    kd = 2.0 * np.pi * 120e3 / SPEED * 0.004 * np.cos(np.radians(angle))
    assert plates.transmission(water, 0.004, 120e3, angle) == pytest.approx(np.exp(-1j * kd))
    assert abs(plates.reflection(water, 0.004, 120e3, angle)) < 1e-12
    assert plates.transmission_loss(water, 0.004, 120e3, angle) == pytest.approx(0.0, abs=1e-12)


def test_plate_in_limits() -> None:
    """Half a wavelength passes everything; a heavy stiff wall throws back with R = 1, gas -1."""
    assert plates.transmission_loss("steel", 5900.0 / 200e3 / 2.0, 200e3) < 1e-9
    assert plates.reflection((1e8, 5900.0), 0.01, 130e3) == pytest.approx(1.0, abs=1e-3)
    assert plates.reflection((1.2, 340.0), 0.003, 200e3) == pytest.approx(-1.0, abs=2e-3)


def test_plate_past_the_critical_angle_loses_more_the_thicker_it_is() -> None:
    critical = np.degrees(np.arcsin(SPEED / 5900.0))
    assert np.isfinite(plates.transmission_loss("steel", 0.01, 200e3, critical))
    thick = plates.transmission_loss("steel", np.array([0.05, 0.1, 5.0]), 200e3, 60.0)
    assert np.all(np.isfinite(thick))
    assert thick[1] > thick[0] + 30.0
    decay = 2.0 * np.pi * 200e3 * np.sqrt((np.sin(np.pi / 3) / SPEED) ** 2 - 5900.0**-2)
    fallen = thick[2] - thick[1]
    assert fallen == pytest.approx(4.9 * decay * 20.0 / np.log(10.0), rel=1e-6)
    assert abs(plates.reflection("steel", 5.0, 200e3, 60.0)) == pytest.approx(1.0)


def test_plate_shapes() -> None:
    for ask in (plates.transmission, plates.reflection, plates.transmission_loss):
        assert ask("HDPE", np.ones((4, 1)) * 0.003, np.ones(5) * 2e5).shape == (4, 5)
        assert np.ndim(ask("HDPE", 0.003, 2e5)) == 0


@settings(deadline=None)
@given(
    species=st.sampled_from(growth.species_with_relation()),
    shares=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
)
def test_longer_fish_weigh_more(species: str, shares: tuple[float, float]) -> None:
    row = growth.relation(species)
    longest = row.longest or 1.5
    lengths = row.shortest + np.sort(shares) * (longest - row.shortest)
    found = growth.weight(species, lengths)
    assert found.kg.shape == (2,)
    assert np.all(np.diff(found.kg) >= 0.0)
    assert np.all((found.low < found.kg) & (found.kg < found.high))


def test_our_forms_weigh_what_their_species_does() -> None:
    for name, species in (
        ("perch", "European perch"), ("carp", "common carp"), ("trout", "rainbow trout"),
        ("pike", "northern pike"),
    ):  # fmt: skip
        assert growth.weight(name, 0.4) == growth.weight(species.upper(), 0.4)
        assert "average fish weighs less" in growth.weight(name, 0.4).note
        assert "assumed, no source" in growth.weight(name, 0.4).note
    for name in form_names():
        if name not in ("perch", "carp", "trout", "pike"):
            with pytest.raises(ValueError, match=r"Of our forms .*perch.* have one"):
                growth.weight(name, 0.4)


def test_regression_lines_are_the_relations() -> None:
    lengths, f = np.array([[0.1], [0.3]]), np.array([50e3, 120e3, 200e3])
    lines = regression_lines(lengths, f)
    assert len(lines) == 4
    assert all(level.shape == (2, 3) and note for level, note in lines.values())
    flat = np.ones(3)
    for name, expected, note in (
        ("Love 1971", love_1971_dorsal(lengths, f), "follows frequency"),
        ("Foote 1987, closed bladder", foote_1987(lengths) * flat, "38 kHz"),
        ("Foote 1987, herring kind", foote_1987(lengths, "clupeoid") * flat, "38 kHz"),
        ("vendace 2004", vendace_2004(lengths) * flat, "120 kHz"),
    ):
        np.testing.assert_allclose(lines[name][0], expected)
        assert note in lines[name][1]
    low, high = published_band(lengths, f)
    assert low.shape == high.shape == (2, 3)
    assert np.ndim(regression_lines(0.3, 120e3)["Love 1971"][0]) == 0


@pytest.mark.parametrize("name", form_names())
def test_no_form_is_measured_and_its_label_says_so(name: str) -> None:
    assert not is_measured(name)
    assert strength_label(name) == "modelled, not measured"


def test_the_label_follows_the_field() -> None:
    from dataclasses import replace

    held = replace(form("perch"), measured=True)
    assert is_measured(held)
    assert strength_label(held) == "measured relation"


CYLINDER: dict[str, Any] = {"radius": 0.01, "length": 0.07, "frequency": 38e3}


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: finite_cylinder(**{**CYLINDER, "radius": -1.0}),
            "Cylinder radius must be above 0",
        ),
        (lambda: finite_cylinder(**CYLINDER, angle=0.5), "from 1 to 179 degrees.*you gave 0.5"),
        (lambda: finite_cylinder(**CYLINDER, kind="elastic"), "rigid, soft or fluid; you gave"),
        (lambda: finite_cylinder(**CYLINDER, kind="fluid"), "must be given inside_sound_speed"),
        (
            lambda: elastic_sphere(0.02, 38e3, "brass"),
            "material must be tungsten carbide or copper",
        ),
        (lambda: elastic_sphere(0.02, 38e3, (8000.0, 4000.0, 3900.0)), "below 0.866.*you gave"),
        (lambda: elastic_sphere(0.02, 0.0), "Frequency must be above 0; you gave 0"),
        (lambda: Solid(-1.0, 2.0, 1.0), "Solid's density must be above 0; you gave -1"),
        (lambda: ellipsoid_hf((1.0, 2.0), (0, 0, 1)), r"must be three numbers.*shape \(2,\)"),
        (lambda: ellipsoid_hf((1.0, 2.0, 0.0), (0, 0, 1)), "semi-axes must be above 0; you gave 0"),
        (lambda: ellipsoid_hf((1, 1, 1), (0, 0, 0)), "Direction must not be 0; you gave 0"),
        (lambda: ellipsoid_hf((1, 1, 1), (0, 0, 1), complex=True), "Frequency must be given"),
        (lambda: prolate_spheroid_soft_hf(0.01, 0.07), "at least its short one.*you gave 0.01"),
        (lambda: sphere_hf(0.0), "Sphere radius must be above 0; you gave 0"),
        (lambda: cylinder_hf(0.01, -0.1, 38e3), "Cylinder length must be above 0; you gave -0.1"),
        (lambda: plates.transmission_loss("cheese", 0.01, 2e5), "must be one of HDPE.*'cheese'"),
        (
            lambda: plates.transmission_loss("HDPE", 0.0, 2e5),
            "thickness must be above 0; you gave 0",
        ),
        (lambda: plates.transmission("HDPE", 0.01, 2e5, 90.0), "between -90 and 90.*you gave 90"),
        (lambda: plates.reflection((0.0, 1500.0), 0.01, 2e5), "Plate density must be above 0"),
        (lambda: growth.weight("shark", 0.4), "Species must be one with.*you gave 'shark'"),
        (lambda: growth.weight("perch", 0.5), "at most 0.46 m, where.*ends; you gave 0.5"),
        (lambda: growth.weight("carp", [0.3, 0.1]), "at least 0.2 m.*begins; you gave 0.1"),
        (lambda: growth.weight("perch", -0.5), "Fish length must be above 0; you gave -0.5"),
        (lambda: regression_lines(0.0, 120e3), "Fish length must be above 0; you gave 0"),
        (lambda: strength_label("shark"), "Fish form must be one of perch"),
    ],
)
def test_messages(call: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
