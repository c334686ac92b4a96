"""The form over whole columns of each function that has one, by the function's name.

Apart from the table of functions, since these need numpy, and a single question is answered without it.
"""

from collections.abc import Callable, Mapping
from typing import Final

from fitsvc.language.forms import geometry_columns as geometry
from fitsvc.language.forms import interval_columns as intervals
from fitsvc.language.forms.interval_columns import Ends

COLUMN_FORMS: Final[Mapping[str, Callable[..., Ends]]] = {
    "min": intervals.least,
    "max": intervals.greatest,
    "abs": intervals.magnitude,
    "span": intervals.span,
    "rear_axle_share": intervals.rear_axle_share,
    "front_axle_relief": intervals.front_axle_relief,
    "scaled_tongue_weight": geometry.scaled_tongue_weight,
    "d_value": geometry.d_value,
    "departure_angle": geometry.departure_angle,
    "angle_of_grade": geometry.angle_of_grade,
    "grade_of_angle": geometry.grade_of_angle,
    "touching_rise": geometry.touching_rise,
    "clearance_on_grade": geometry.clearance_on_grade,
    "swing_clearance": geometry.swing_clearance,
    "swing_reach": geometry.swing_reach,
    "drop_clearance": geometry.drop_clearance,
    "turning_angle": geometry.turning_angle,
}
