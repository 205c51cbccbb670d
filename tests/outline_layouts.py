"""A layout of four rings on an odd plate, for tests of what is left of it."""

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import KeepOut, Plate

KERF = 2.0
RING = Part(
    id="ring",
    name="ring",
    outer=Contour(curves=(circle((0.0, 0.0), 90.0),)),
    holes=(Contour(curves=(circle((0.0, 0.0), 40.0),)),),
)
PLATE = Plate(
    name="odd",
    outer=Contour.of_points([(0, 0), (1600, 0), (1500, 700), (300, 760), (0, 500)]),
    keep_outs=(KeepOut(contour=Contour.of_points([(1300, 100), (1350, 100), (1350, 150)]), reason="rust"),),
    thickness_mm=8.0,
    grade="S235JR",
    heat="H1",
    grain_deg=90.0,
    uncertainty_mm=2.5,
)
LAYOUT = Layout(
    plate=PLATE,
    clearances=Clearances(kerf_mm=KERF, gap_mm=8.0, margin_mm=10.0, lead_in_mm=6.0),
    demands=(Demand(part=RING, quantity=4),),
    placements=tuple(
        Placement(number=k, part_id="ring", pose=Pose(x_mm=x, y_mm=y))
        for k, (x, y) in enumerate([(110, 110), (310, 110), (110, 310), (310, 310)], start=1)
    ),
    id="abc",
)
