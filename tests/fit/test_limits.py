"""The fit tables against the publications they come from."""

import pytest

from nesting.tables.limits import bend_radius, cut_tolerance, fit_limit, pierce_limit, thickness_over

INCH = 25.4


@pytest.mark.parametrize("thickness", [3.0, 6.0, 6.35, 12.7])
def test_a_plasma_hole_is_one_and_a_half_thicknesses(thickness: float):
    """newayprecision.com, plasma cutting design table: hole at least 1.5 x thickness, and as much between holes."""
    for kind in ("hole", "hole distance"):
        limit = fit_limit(kind, "plasma", thickness_mm=thickness, kerf_mm=None)  # type: ignore[arg-type]
        assert limit is not None and limit.value_mm == pytest.approx(1.5 * thickness)
        assert "newayprecision.com" in limit.source


def test_plasma_webs_corners_and_texts():
    """newayprecision.com, same table: web 2 mm, inside radius 1 to 2 mm, text 15 mm."""
    asked = {"web": 2.0, "corner": 1.0, "text": 15.0}
    for kind, value in asked.items():
        limit = fit_limit(kind, "plasma", thickness_mm=6.0, kerf_mm=1.6)  # type: ignore[arg-type]
        assert limit is not None and limit.value_mm == value


def test_a_wide_kerf_goes_above_the_published_web_and_corner():
    """Geometry: a web under the kerf does not stand, a corner keeps half the kerf."""
    web = fit_limit("web", "plasma", thickness_mm=25.0, kerf_mm=3.02)
    corner = fit_limit("corner", "plasma", thickness_mm=25.0, kerf_mm=3.02)
    assert web is not None and web.value_mm == 3.02
    assert corner is not None and corner.value_mm == 1.51


def test_what_the_table_needs_and_nobody_knows_gives_no_limit():
    assert fit_limit("hole", "plasma", thickness_mm=None, kerf_mm=1.6) is None
    assert fit_limit("corner", "laser", thickness_mm=6.0, kerf_mm=None) is None
    assert fit_limit("hole distance", "waterjet", thickness_mm=6.0, kerf_mm=1.0) is None


@pytest.mark.parametrize(
    ("thickness", "size", "tolerance"),
    [
        (3.0, 6.0, 0.6), (3.15, 20.0, 0.7), (6.0, 2.0, 0.7), (6.0, 8.0, 0.8), (6.3, 35.0, 0.9),
        (10.0, 10.0, 1.0), (10.0, 12.0, 1.1),
    ],
)  # fmt: skip
def test_cut_tolerances_are_those_of_iso_9013_class_2(thickness: float, size: float, tolerance: float):
    """modulusmetal.com, ISO 9013 dimensional tolerances, class 2 (as for plasma and oxy-fuel)."""
    for process in ("plasma", "oxy-fuel"):
        limit = cut_tolerance(process, thickness, size)
        assert limit is not None and limit.value_mm == tolerance


def test_plate_may_be_thicker_than_ordered():
    """A6 annex A1.1 (scribd.com/document/192590226): 0.8 mm over, 5 to 20 mm; bbnsteelplate.com: 0.03 in under 1 in.

    Cragin Metals gauge chart: hot-rolled 10 ga 0.1345 in, up to 0.1425; 16 ga 0.0598 in, up to 0.0658.
    """
    six, ten_gauge, sixteen_gauge = (thickness_over(t) for t in (6.0, 0.1345 * INCH, 0.0598 * INCH))
    assert six is not None and six.value_mm == 0.8 == pytest.approx(0.03 * INCH, abs=0.04)
    assert ten_gauge is not None and ten_gauge.value_mm == pytest.approx((0.1425 - 0.1345) * INCH, abs=0.001)
    assert sixteen_gauge is not None and sixteen_gauge.value_mm == pytest.approx((0.0658 - 0.0598) * INCH, abs=0.001)


@pytest.mark.parametrize(("amps", "limit"), [(45.0, 12.7), (65.0, 12.7), (80.0, 16.0), (85.0, 16.0), (105.0, 22.0)])
def test_pierce_limits_by_machine_class(amps: float, limit: float):
    """Operator manual 809240 (45 A: 12 mm or 1/2 in); equipment dealer's pages for the 65, 85 and 105 A classes."""
    found = pierce_limit("plasma", amps)
    assert found is not None and found.value_mm == limit


def test_a_pierce_limit_nobody_prints_is_none():
    assert pierce_limit("plasma", 200.0) is None
    assert pierce_limit("laser", None) is None
    unknown = pierce_limit("plasma", None)
    assert unknown is not None and unknown.value_mm == 22.0 and "not known" in unknown.source


def test_a36_bends_at_one_and_a_half_thicknesses_and_half_as_much_again_along_the_grain():
    """ASTM A6 appendix X4, group A, excerpt at scribd.com/document/178096402."""
    least = bend_radius("mild steel")
    assert least is not None
    assert (least.across_thicknesses, least.along_thicknesses) == (1.5, 1.5 * 1.5)
    assert bend_radius("aluminium") is None
